package outbox

import (
	"context"
	"fmt"
	"strings"
	"time"

	"calx/cmd/calx/config"
	"calx/controller/tidings"
	"calx/storage/record"
)

// State is the object behind `calx tell --json` and GET /api/tell. It holds no
// address.
type State struct {
	Waiting      int           `json:"waiting"` // messages that some destination has yet to be told of
	Unanswered   int           `json:"unacknowledged"`
	Sent         uint64        `json:"sent"`   // letters since calx started
	Failures     uint64        `json:"failed"` // attempts since calx started
	Destinations []Destination `json:"destinations"`
	Messages     []Message     `json:"messages"` // oldest first
}

// Destination is one entry of tell in a State.
type Destination struct {
	Name     string     `json:"name"`
	Service  string     `json:"service"`
	From     string     `json:"from"`
	Kinds    []string   `json:"kinds"` // empty: all
	Quiet    string     `json:"quiet"` // "" = never
	Waiting  int        `json:"waiting"`
	LastSent *time.Time `json:"last_sent"` // null: not since calx started
	Failed   int        `json:"failed_in_a_row"`
	Error    string     `json:"error"` // of the last attempt; "" = it went well
}

// Message is one message in a State.
type Message struct {
	ID       uint64     `json:"id"` // 0: not in the log yet
	At       time.Time  `json:"at"`
	Kind     string     `json:"kind"`
	Severity string     `json:"severity"`
	Firing   uint64     `json:"firing"` // 0: of none
	Subject  string     `json:"subject"`
	Body     string     `json:"body"`
	Repeats  bool       `json:"repeats"` // until it is acknowledged
	Acked    *time.Time `json:"acknowledged"`
	To       []Progress `json:"to"` // destinations that want it
}

// Progress is how far a message has come at a destination.
type Progress struct {
	Name  string     `json:"name"`
	Times uint32     `json:"times"`
	Last  *time.Time `json:"last"`
	State string     `json:"state"` // "done", "now", "later" or "quiet hours"
}

var verdicts = map[tidings.Verdict]string{tidings.Done: "done", tidings.Send: "now", tidings.Later: "later", tidings.Hushed: "quiet hours"}

var severities = [...]string{"info", "warn", "alarm"}

// State is a copy of how things stand.
func (b *Outbox) State() State {
	local := b.local()
	b.mu.Lock()
	defer b.mu.Unlock()
	st := State{Sent: b.sent, Failures: b.failed, Destinations: []Destination{}, Messages: []Message{}}
	for _, d := range b.dests {
		st.Destinations = append(st.Destinations, d.state())
	}
	for _, e := range b.entries {
		m := messageOf(&e.m)
		waits := false
		for i, d := range b.dests {
			if !d.rule.Wants(&e.m) {
				continue
			}
			v := b.judge(d, e, local)
			s := e.m.To(d.name)
			m.To = append(m.To, Progress{d.name, s.Times, stamp(s.Last), verdicts[v]})
			if s.Times == 0 {
				waits = true
				st.Destinations[i].Waiting++
			}
		}
		if waits {
			st.Waiting++
		}
		if m.Repeats && m.Acked == nil {
			st.Unanswered++
		}
		st.Messages = append(st.Messages, m)
	}
	return st
}

func (d *destination) state() Destination {
	x := Destination{Name: d.name, Service: d.service, From: severities[min(d.rule.From, 2)], Kinds: []string{}, Quiet: d.rule.Quiet.String(), Failed: d.failed, LastSent: stamp(d.lastSent)}
	for _, k := range d.rule.Kinds {
		x.Kinds = append(x.Kinds, string(k))
	}
	switch {
	case d.broken != nil:
		x.Error = d.broken.Error()
	case d.err != nil:
		x.Error = d.err.Error()
	}
	return x
}

func messageOf(m *record.Message) Message {
	return Message{
		ID: m.ID, At: m.At, Kind: m.Kind, Severity: severities[min(m.Severity, 2)], Firing: m.Firing, Subject: m.Subject, Body: m.Body,
		Repeats: tidings.Repeats(m), Acked: stamp(m.Acked), To: []Progress{},
	}
}

// stamp is nil for no time.
func stamp(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}

// Answer is what one destination answered to a test.
type Answer struct {
	Name    string  `json:"name"`
	Service string  `json:"service"`
	OK      bool    `json:"ok"`
	Error   string  `json:"error"` // "" when it took the message
	TookS   float64 `json:"took_s"`
}

// Try sends a test message to the destination of that name, or to all for "",
// now, whatever their rules, and says what each answered. It needs no Outbox.
// The error says that there is none of that name.
func Try(ctx context.Context, cfg *config.Config, name, kiln string, now time.Time) ([]Answer, error) {
	var names []string
	var chosen []*destination
	for _, d := range cfg.Tell {
		names = append(names, d.Name)
		if name == "" || d.Name == name {
			chosen = append(chosen, open(cfg, d))
		}
	}
	switch {
	case len(names) == 0:
		return nil, fmt.Errorf("calx.yaml names nobody under tell, so nobody can be told")
	case len(chosen) == 0:
		return nil, fmt.Errorf("calx.yaml names no destination %q; there are %s", name, strings.Join(names, ", "))
	}
	l := letter{
		id: fmt.Sprintf("calx.test.%d", now.UnixNano()), at: now,
		subject: "test from calx", body: fmt.Sprintf("A test message for 3 am: kiln %s, sent %s. Nothing is wrong.", kiln, now.Format("Mon 2 Jan 15:04")),
	}
	out := make([]Answer, len(chosen))
	done := make(chan struct{})
	for i, d := range chosen {
		go func() {
			out[i] = d.answer(ctx, l)
			done <- struct{}{}
		}()
	}
	for range chosen {
		<-done
	}
	return out, nil
}

func (d *destination) answer(ctx context.Context, l letter) Answer {
	ctx, cancel := context.WithTimeout(ctx, sendWithin)
	defer cancel()
	begin := time.Now()
	err := d.broken
	if err == nil {
		err = d.attempt(ctx, l)
	}
	a := Answer{Name: d.name, Service: d.service, OK: err == nil, TookS: time.Since(begin).Seconds()}
	if err != nil {
		a.Error = err.Error()
	}
	return a
}

// Line says in words what a destination wants and how it stands.
func (d Destination) Line() string {
	parts := []string{d.Service + ", from " + d.From}
	if d.Service == "" {
		parts[0] = "not reachable, from " + d.From
	}
	if len(d.Kinds) > 0 {
		parts = append(parts, strings.Join(d.Kinds, ", "))
	}
	if d.Quiet != "" {
		parts = append(parts, "quiet "+d.Quiet)
	}
	if d.Waiting > 0 {
		parts = append(parts, fmt.Sprintf("%d waiting", d.Waiting))
	}
	if d.LastSent != nil {
		parts = append(parts, "last told "+d.LastSent.Local().Format("Mon 15:04"))
	}
	if d.Failed > 0 {
		parts = append(parts, fmt.Sprintf("%d attempts failed", d.Failed))
	}
	return strings.Join(parts, "; ")
}

// Fate says in words whom a message has reached.
func (m Message) Fate() string {
	var parts []string
	for _, p := range m.To {
		switch {
		case p.Times == 0:
			why := p.State
			if why == verdicts[tidings.Send] {
				why = "being sent"
			}
			parts = append(parts, fmt.Sprintf("%s waits (%s)", p.Name, why))
		case p.Times == 1:
			parts = append(parts, p.Name+" told")
		default:
			parts = append(parts, fmt.Sprintf("%s told %d times", p.Name, p.Times))
		}
	}
	switch {
	case len(m.To) == 0:
		parts = append(parts, "nobody wants it")
	case m.Acked != nil:
		parts = append(parts, "acknowledged "+m.Acked.Local().Format("Mon 15:04"))
	case m.Repeats:
		parts = append(parts, "not acknowledged")
	}
	return strings.Join(parts, "; ")
}

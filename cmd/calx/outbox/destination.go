package outbox

import (
	"context"
	"errors"
	"fmt"
	"time"

	"calx/cmd/calx/config"
	"calx/controller/tidings"
	"calx/storage/record"
)

// sendWithin is how long one attempt may take.
const sendWithin = 30 * time.Second

// destination is one entry of tell. One goroutine sends to it, so that one
// that hangs keeps no other waiting.
type destination struct {
	name    string
	rule    tidings.Rule
	sender  sender
	service string
	broken  error // why it can never be reached as configured
	wake    chan struct{}

	// What follows is guarded by the mutex of the Outbox.
	failed   int       // attempts in a row
	tried    time.Time // the last of these
	err      error     // why it failed; nil after one that did not
	lastSent time.Time // clock on the wall
}

func open(cfg *config.Config, d config.Destination) *destination {
	x := &destination{name: d.Name, rule: d.Rule(), wake: make(chan struct{}, 1)}
	address, err := cfg.Address(d)
	if err == nil {
		x.sender, x.service, err = dial(address)
	}
	x.broken = err
	return x
}

func (d *destination) stir() {
	select {
	case d.wake <- struct{}{}:
	default:
	}
}

// run sends what is due until ctx ends.
func (d *destination) run(ctx context.Context, b *Outbox) {
	if d.broken != nil {
		return
	}
	for {
		select {
		case <-d.wake:
			for d.once(ctx, b) {
			}
		case <-ctx.Done():
			return
		}
	}
}

// once sends one bundle; false when there was nothing to send or it failed.
func (d *destination) once(ctx context.Context, b *Outbox) bool {
	if ctx.Err() != nil {
		return false
	}
	due := b.due(d)
	if len(due) == 0 {
		return false
	}
	l, local := b.letter(d, due)
	try, cancel := context.WithTimeout(ctx, sendWithin)
	err := d.attempt(try, l)
	cancel()
	var some partly
	reached := err == nil || errors.As(err, &some)
	if !reached && ctx.Err() != nil {
		return false // the daemon ends: that is no failure of theirs
	}
	b.settle(d, due, reached, err, local)
	return reached
}

func (d *destination) attempt(ctx context.Context, l letter) (err error) {
	defer recovered(&err)
	return d.sender.send(ctx, l)
}

// judge says what is to be done with e at d. b.mu is held.
func (b *Outbox) judge(d *destination, e *entry, local time.Time) tidings.Verdict {
	s := e.m.To(d.name)
	p := tidings.Progress{Times: int(s.Times), Failed: d.failed, SinceTry: time.Since(d.tried)}
	if at, ok := e.sentAt[d.name]; ok {
		p.SinceSent = time.Since(at)
	} else if s.Times > 0 {
		p.SinceSent = max(0, local.Sub(s.Last)) // by another process: only the wall knows
	}
	return d.rule.Judge(&e.m, p, local)
}

// due are the messages for d that go out now, as one.
func (b *Outbox) due(d *destination) []*entry {
	local := b.local()
	b.mu.Lock()
	defer b.mu.Unlock()
	var out []*entry
	for _, e := range b.entries {
		if b.judge(d, e, local) == tidings.Send {
			if out = append(out, e); len(out) == tidings.MostAtOnce {
				break
			}
		}
	}
	return out
}

func (b *Outbox) local() time.Time { return b.o.Wall().In(b.o.Zone) }

// letter words what is sent.
func (b *Outbox) letter(d *destination, es []*entry) (letter, time.Time) {
	local := b.local()
	b.mu.Lock()
	ms := make([]record.Message, len(es))
	l := letter{at: local}
	for i, e := range es {
		ms[i] = e.m
		l.urgent = l.urgent || e.m.Severity == record.Alarm
	}
	b.mu.Unlock()
	again := int(ms[0].To(d.name).Times)
	l.id = fmt.Sprintf("calx.%d.%d.%d.%d", ms[0].At.UnixMilli(), ms[0].ID, len(ms), again)
	l.subject, l.body = tidings.Bundle(ms, again, local)
	return l, local
}

// settle notes how an attempt went.
func (b *Outbox) settle(d *destination, es []*entry, reached bool, err error, local time.Time) {
	type mark struct {
		id uint64
		s  record.Sent
	}
	var marks []mark
	b.mu.Lock()
	d.err, d.tried = err, time.Now()
	if !reached {
		d.failed++
		b.failed++
		b.mu.Unlock()
		return
	}
	if d.failed > 0 {
		b.o.Logf("tell: %s is reached again", d.name)
	}
	d.failed, d.lastSent = 0, local
	b.sent++
	for _, e := range es {
		s := e.m.To(d.name)
		s.Times++
		s.Last = local.UTC()
		e.mark(s)
		if e.stored {
			marks = append(marks, mark{e.m.ID, s})
		}
	}
	b.mu.Unlock()
	for _, m := range marks {
		// On failure it may be told twice after a restart, which is better than never.
		if err := b.o.Log.Told(m.id, m.s); err != nil {
			b.o.Logf("tell: message %d: %v", m.id, err)
		}
	}
}

func (e *entry) mark(s record.Sent) {
	if e.sentAt == nil {
		e.sentAt = map[string]time.Time{}
	}
	e.sentAt[s.To] = time.Now()
	list := append([]record.Sent(nil), e.m.Sent...) // a copy may be in use elsewhere
	for i := range list {
		if list[i].To == s.To {
			list[i] = s
			e.m.Sent = list
			return
		}
	}
	e.m.Sent = append(list, s)
}

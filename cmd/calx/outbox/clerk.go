package outbox

import (
	"math"
	"slices"
	"time"

	"calx/cmd/calx/station"
	"calx/controller/notice"
	"calx/controller/tidings"
	"calx/profile"
	"calx/storage/record"
)

// clerk turns what the loop left into messages. Only the goroutine of Run uses
// it.
type clerk struct {
	box     *Outbox
	follow  tidings.Follower
	firing  uint64 // whose head this is:
	head    record.Firing
	profile *profile.Profile
	looked  time.Duration // time of the firing at the last look
	asked   time.Duration // and at the last question for predictions
	ahead   *station.Inside
	stored  time.Time // when messages in memory were last tried on the log
}

const (
	lookEvery  = 15 * time.Second // of the firing's time
	askEvery   = 5 * time.Minute  // predictions cost the board a second or so
	storeEvery = time.Minute
)

func (c *clerk) turn() {
	b := c.box
	b.in.Lock()
	ticks, last, idle, missed := b.in.ticks, b.in.last, b.in.idle, b.in.missed
	b.in.ticks, b.in.missed = nil, 0
	b.in.Unlock()
	for _, t := range ticks {
		c.hear(t)
	}
	if missed > 0 {
		b.o.Logf("tell: %d turns with events came too fast to be told", missed)
	}
	if last.firing != 0 {
		c.look(last)
	}
	if idle {
		c.cleared()
	}
	c.retryStore()
}

// present are events that say that a person is there.
var present = []string{notice.Started, notice.ResumedByHand, notice.StoppedByHand, notice.SteppedOn, notice.PausedByHand}

// hear makes messages of the events of a turn. Where a person pressed
// something, what rang before it may rest.
func (c *clerk) hear(t tick) {
	c.take(t.firing)
	for _, e := range t.events {
		if slices.Contains(present, e.Code) {
			_, err := c.box.acknowledge(func(m *record.Message) bool { return m.Event <= e.Seq || m.Firing != t.firing })
			c.complain(err)
		}
	}
	for _, m := range c.follow.Events(c.facts(t), t.events) {
		c.box.post(m)
	}
}

func (c *clerk) complain(err error) {
	if err != nil {
		c.box.o.Logf("tell: %v", err)
	}
}

// look makes messages of what has changed without an event.
func (c *clerk) look(t tick) {
	c.take(t.firing)
	since := t.record.Since
	if since-c.looked < lookEvery {
		return
	}
	c.looked = since
	if t.record.Moulds() > 0 && (since-c.asked >= askEvery || c.ahead == nil) {
		c.asked = since
		if st := c.box.o.Status(); st.Firing != nil && st.Firing.ID == t.firing {
			c.ahead = st.Inside
		}
	}
	for _, m := range c.follow.Look(c.facts(t)) {
		c.box.post(m)
	}
}

// take reads the head of a firing that is new.
func (c *clerk) take(firing uint64) {
	if c.firing == firing {
		return
	}
	c.firing, c.head, c.profile, c.ahead = firing, record.Firing{}, nil, nil
	c.looked, c.asked = 0, 0
	head, err := c.box.o.Log.Firing(firing)
	if err != nil {
		c.complain(err) // it is told without its name
		return
	}
	c.head = head
	if p, err := profile.Parse(head.Profile); err == nil {
		c.profile = p
	}
}

// facts is what is known of a turn.
func (c *clerk) facts(t tick) tidings.Facts {
	r := &t.record
	x := tidings.Facts{
		Wall: r.Wall, Zone: c.box.o.Zone, Fahrenheit: c.box.o.Config.Fahrenheit(), Firing: t.firing, Name: c.head.Name,
		Since: r.Since, Step: int(r.Step), Phase: r.Phase, ChamberC: math.NaN(), SetpointC: r.SetpointC, Profile: c.profile,
	}
	if len(r.Channels) > 0 && r.Channels[0].Fault == 0 {
		x.ChamberC = r.Channels[0].HotC
	}
	if c.profile != nil {
		if x.Steps = len(c.profile.Steps); x.Step < x.Steps {
			x.Sentence = c.profile.Sentence(x.Step)
		}
	}
	if n := r.Moulds(); n > 0 {
		in := &tidings.Inside{Chance: r.ClearChance(), WantAtS: -1, EndS: -1}
		for i := range n {
			in.CoreC = append(in.CoreC, r.Mould(i).CoreC)
		}
		if a := c.ahead; a != nil {
			in.Want, in.Foresaw = a.Want, a.ForeseenS != nil
			in.WantAtS, in.EndS = orNever(a.WantAtS), orNever(a.EndS)
		}
		x.Inside = in
	}
	return x
}

func orNever(s *float64) float64 {
	if s == nil {
		return -1
	}
	return *s
}

// cleared lets trips rest that a person has cleared at the kiln.
func (c *clerk) cleared() {
	open := false
	c.box.mu.Lock()
	for _, e := range c.box.entries {
		open = open || e.m.Kind == string(tidings.Trip) && e.m.Acked.IsZero()
	}
	c.box.mu.Unlock()
	if !open {
		return
	}
	if _, latched, err := c.box.o.Log.Trip(); err == nil && !latched {
		_, err := c.box.acknowledge(func(m *record.Message) bool { return m.Kind == string(tidings.Trip) })
		c.complain(err)
	}
}

// retryStore puts into the log what it did not take before.
func (c *clerk) retryStore() {
	if time.Since(c.stored) < storeEvery {
		return
	}
	c.stored = time.Now()
	var waiting []*entry
	c.box.mu.Lock()
	for _, e := range c.box.entries {
		if !e.stored {
			waiting = append(waiting, e)
		}
	}
	c.box.mu.Unlock()
	for _, e := range waiting {
		c.box.store(e)
	}
}

// catchUp tells of the events of the newest firing that the log has and the
// outbox has not: the daemon was killed between the two. What was told before
// is followed in silence, so that it is not told again.
func (c *clerk) catchUp(ms []record.Message) {
	l := c.box.o.Log
	heads, _ := l.Firings() // what cannot be read cannot be told
	if len(heads) == 0 {
		return
	}
	id, told := heads[len(heads)-1].ID, uint64(0)
	known := false
	for _, m := range ms {
		if m.Firing == id {
			known, told = true, max(told, m.Event)
		}
	}
	if !known {
		return // a firing of before there was anybody to tell
	}
	events, err := l.Events(id)
	c.complain(err)
	c.take(id)
	c.follow.Recall(id, ms)
	for i := 0; i < len(events); {
		n := i + 1
		for n < len(events) && events[n].Since == events[i].Since {
			n++ // those of one turn
		}
		t := tick{firing: id, events: events[i:n]}
		err := l.Readings(id, events[i].Since, events[i].Since+time.Millisecond, func(r *record.Reading) error {
			if len(t.record.Channels) == 0 {
				t.record = *r
			}
			return nil
		})
		c.complain(err)
		if t.record.Wall.IsZero() {
			t.record.Wall, t.record.Since, t.record.Step = events[i].Wall, events[i].Since, events[i].Step
		}
		for _, m := range c.follow.Events(c.facts(t), t.events) {
			if m.Event > told {
				c.box.post(m)
			}
		}
		i = n
	}
}

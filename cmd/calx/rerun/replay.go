package rerun

import (
	"fmt"
	"time"

	"calx/controller"
	"calx/controller/notice"
	"calx/storage/record"
)

// Replay carries a firing along its recorded readings. Hand it every reading
// in order.
type Replay struct {
	c      *controller.Controller
	state  controller.State
	events []record.Event
	next   int // first event not yet passed
}

// New begins a replay with the firing's events, in order; nil leaves out what
// people and the shell did, as is right for readings after a snapshot. state is
// where it begins: the zero value, or a snapshot.
func New(c *controller.Controller, events []record.Event, state controller.State) *Replay {
	r := &Replay{c: c, state: state, events: events}
	for r.next < len(events) && events[r.next].Seq < state.EventSeq {
		r.next++
	}
	return r
}

// State is the firing after the last reading.
func (r *Replay) State() controller.State { return r.state }

// Step is the tick that left a reading behind. recorded are the events that it
// left in the log.
func (r *Replay) Step(rd *record.Reading) (out controller.Output, recorded []record.Event, err error) {
	// An event of the station comes before those of the tick that resumes; the
	// moment in it was worked out just before that tick.
	for r.next < len(r.events) && Outside(r.events[r.next]) && r.events[r.next].Since <= rd.Since {
		if err := r.outside(r.events[r.next]); err != nil {
			return out, nil, err
		}
		r.next++
	}
	from := r.next
	for r.next < len(r.events) && r.events[r.next].Since <= rd.Since && !Outside(r.events[r.next]) {
		r.next++
	}
	recorded = r.events[from:r.next]
	in := Input(rd)
	told(&in, recorded)
	r.state, out = r.c.Step(r.state, in)
	return out, recorded, nil
}

// outside does what the station did when it said so.
func (r *Replay) outside(e record.Event) error {
	snapshot, err := r.state.Snapshot()
	if err != nil {
		return fmt.Errorf("the interruption at %v cannot be replayed: %w", e.Since.Round(time.Second), err)
	}
	if r.state, err = controller.Restore(snapshot); err != nil {
		return err
	}
	if e.Code == notice.WaitsForPerson {
		r.state.Asks = e.Text
	}
	r.state.EventSeq = e.Seq + 1
	return nil
}

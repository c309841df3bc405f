package station

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"calx/cmd/calx/rerun"
	"calx/controller"
	"calx/controller/notice"
	"calx/storage"
	"calx/storage/record"
)

// broken is a firing as the interruption left it.
type broken struct {
	job
	lastC  float64 // last temperature of the chamber that was believed, °C; NaN for none
	event  uint64  // number of the next event
	reason string  // text of the last event
	damage string  // what of the record was left out; "" for nothing
}

// rebuild derives the state after the last reading from the newest snapshot
// and the readings since: Step is a function of them alone. Nobody pressed
// anything meanwhile, since a command leaves an event, and an event brings a
// snapshot.
func (s *Station) rebuild(head record.Firing) (*broken, error) {
	if head.Kiln != s.parts.KilnText {
		return nil, errors.New("the kiln file is not the one it began with")
	}
	snapshot, err := s.parts.Log.State(head.ID)
	if err != nil {
		return nil, err
	}
	if snapshot == nil {
		return nil, errors.New("nothing had been recorded yet")
	}
	events, err := s.parts.Log.Events(head.ID)
	if err != nil {
		return nil, err
	}
	j, err := s.prepare(Request{Profile: head.Profile, Moulds: head.Moulds}, head.Started, recall(head))
	if err != nil {
		return nil, err
	}
	b := &broken{job: *j}
	b.head = head
	last, damage, err := s.replay(&b.job, snapshot, events)
	if err != nil {
		return nil, err
	}
	b.damage, b.lastC = text(damage), math.NaN()
	switch {
	case last.History.Seen:
		b.lastC = last.History.HotC
	case last.Gap != nil:
		b.lastC = last.Gap.FromC // it was cut again before a reading was believed
	}
	again, err := last.Snapshot()
	if err != nil {
		return nil, err
	}
	if b.state, err = controller.Restore(again); err != nil {
		return nil, err
	}
	if n := len(events); n > 0 {
		b.event, b.reason = events[n-1].Seq+1, events[n-1].Text
	}
	return b, nil
}

// replay carries a snapshot over the readings that follow it. The inside of
// moulds is not in the snapshot: it is followed from the first reading on.
// damage is what it had to leave out: the moulds were followed across it on a
// straight line, which is better than to let a mould cool that can be saved.
func (s *Station) replay(j *job, snapshot []byte, events []record.Event) (st controller.State, damage, err error) {
	if err := json.Unmarshal(snapshot, &st); err != nil {
		return st, nil, err
	}
	if err := j.control.Fits(st); err != nil {
		return st, nil, err
	}
	from, kept := st.Now, st.Seq
	var past follower
	if j.moulds.model != nil {
		from, past = 0, follower{c: j.control, resumed: resumptions(events)}
	}
	err = s.parts.Log.Readings(j.head.ID, from, 0, func(r *record.Reading) error {
		if len(r.Channels) != len(s.parts.Channels) {
			return fmt.Errorf("it was recorded with %d thermocouples, now there are %d", len(r.Channels), len(s.parts.Channels))
		}
		switch {
		case r.Seq >= st.Seq:
			st, _ = j.control.Step(past.into(st), rerun.Input(r))
			st.Seq = r.Seq + 1
		case past.c != nil:
			past.follow(r)
		}
		return nil
	})
	if before(err, kept) {
		damage, err = err, nil
	}
	return past.into(st), damage, err
}

// before reports whether err only tells of readings before one that cannot be
// read.
func before(err error, seq uint64) bool {
	switch e := err.(type) {
	case *storage.DamageError:
		return !e.Events && e.Last < seq
	case interface{ Unwrap() []error }:
		for _, one := range e.Unwrap() {
			if !before(one, seq) {
				return false
			}
		}
		return true
	}
	return false
}

// follower follows the inside of moulds through readings, whatever people
// pressed meanwhile.
type follower struct {
	c       *controller.Controller // nil: nothing to follow, or all of it done
	state   controller.State
	resumed []time.Duration // first moments after interruptions still to come
}

func (f *follower) follow(r *record.Reading) {
	if len(f.resumed) > 0 && r.Since >= f.resumed[0] {
		f.state, f.resumed = controller.Interrupt(f.state), f.resumed[1:]
	}
	f.state = f.c.Retrace(f.state, rerun.Input(r), r)
}

// into hands over what was followed, once.
func (f *follower) into(st controller.State) controller.State {
	if f.c != nil {
		st.Inside, f.c = f.state.Inside, nil
	}
	return st
}

// resumptions are the moments at which a firing was taken up again.
func resumptions(events []record.Event) (at []time.Duration) {
	for _, e := range events {
		if e.Code == notice.Interrupted || e.Code == notice.WaitsForPerson {
			at = append(at, e.Since)
		}
	}
	return at
}

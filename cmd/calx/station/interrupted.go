package station

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"calx/controller"
	"calx/controller/notice"
	"calx/sensor"
	"calx/storage"
	"calx/storage/record"
)

const (
	// patience is how long a first valid reading, and a wall clock that is not
	// behind the log, are waited for: a small board sets its clock by the
	// network a while after it has started.
	patience = 90 * time.Second
	// mostFallC is how far the chamber may have cooled during an interruption
	// after which a firing goes on by itself, °C. A small kiln loses that in
	// half an hour; a mould that has lost more may have cracked (common
	// practice, no source).
	mostFallC = 60.0
)

// Interrupted deals with a firing that the log holds without its end: the
// process or the power was cut. The firing goes on when it was interrupted for
// no longer than within, by a clock that can be believed, and the chamber is
// still warm enough; otherwise its record is closed as "interrupted". within 0
// never goes on. Run must be running, since its readings are looked at.
//
// It returns in words what was found and done, "" when there was nothing to
// do.
func (s *Station) Interrupted(ctx context.Context, within time.Duration) (string, error) {
	id, ok := s.parts.Log.Unfinished()
	if !ok {
		return "", nil
	}
	head, err := s.parts.Log.Firing(id)
	if err != nil {
		return "", err
	}
	broken, err := s.rebuild(head)
	if err != nil {
		return s.giveUp(head, fmt.Sprintf("calx was interrupted, and what it had recorded does not allow to go on: %v", err))
	}
	if o := broken.state.Outcome(); o != "" {
		// It was cut between the end of the firing and the end of its record.
		return s.conclude(head, o, broken.reason)
	}
	v, err := s.await(ctx, broken, within)
	if err != nil {
		return "", err
	}
	if !v.goOn {
		return s.giveUp(head, v.text+"; the firing was ended, the heat is off")
	}
	return s.goOn(broken, v)
}

// broken is a firing as the interruption left it.
type broken struct {
	job
	lastC  float64 // last valid temperature of the chamber, °C
	event  uint64  // number of the next event
	reason string  // text of the last event
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
	last, err := s.replay(&b.job, snapshot, events)
	if err != nil {
		return nil, err
	}
	b.lastC = last.History.HotC
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
func (s *Station) replay(j *job, snapshot []byte, events []record.Event) (st controller.State, err error) {
	if err := json.Unmarshal(snapshot, &st); err != nil {
		return st, err
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
			st, _ = j.control.Step(past.into(st), inputOf(r))
			st.Seq = r.Seq + 1
		case past.c != nil:
			past.follow(r)
		}
		return nil
	})
	if before(err, kept) {
		// The moulds were followed across it on a straight line: better than to
		// let a mould cool that can still be saved.
		err = nil
	}
	return past.into(st), err
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

// inputOf is what a tick saw, as far as it was recorded.
func inputOf(r *record.Reading) controller.Input {
	in := controller.Input{Now: r.Since, Wall: r.Wall, Chamber: reading(r.Since, r.Channels[0])}
	for _, o := range r.Channels[1:] {
		in.Others = append(in.Others, reading(r.Since, o))
	}
	return in
}

// follower follows the inside of moulds through readings. The rest of its
// state means nothing, since nobody's commands are in the log; but what the
// moulds saw, chamber, air and witnesses, is.
type follower struct {
	c       *controller.Controller // nil: nothing to follow, or all of it done
	state   controller.State
	resumed []time.Duration // first moments after interruptions still to come
}

func (f *follower) follow(r *record.Reading) {
	if len(f.resumed) > 0 && r.Since >= f.resumed[0] {
		f.state.History, f.resumed = f.state.History.Interrupted(), f.resumed[1:] // as Restore does
	}
	f.state, _ = f.c.Step(f.state, inputOf(r))
	f.state.Air = r.Air
}

// into hands over what was followed, once.
func (f *follower) into(st controller.State) controller.State {
	if f.c != nil {
		st.Inside, f.c = f.state.Inside, nil
	}
	return st
}

// resumptions are the moments at which a firing went on after an interruption.
func resumptions(events []record.Event) (at []time.Duration) {
	for _, e := range events {
		if e.Code == notice.Interrupted {
			at = append(at, e.Since)
		}
	}
	return at
}

// reading is a sample as it was read.
func reading(at time.Duration, c record.Sample) sensor.Reading {
	return sensor.Reading{At: at, HotC: c.HotC, ColdC: c.ColdC, HotCode: c.HotCode, ColdCode: c.ColdCode, Fault: sensor.Fault(c.Fault)}
}

// verdict is what is to become of an interrupted firing.
type verdict struct {
	goOn, wait bool
	gap        time.Duration
	chamberC   float64
	text       string // why
}

// judge looks at an interrupted firing: state is as of its last reading,
// lastC the last valid temperature in it; chamberC, NaN for none, and wall are
// of now.
func judge(lastC float64, last time.Time, within time.Duration, chamberC float64, wall time.Time) verdict {
	gap := wall.Sub(last).Round(time.Second)
	v := verdict{gap: max(gap, 0), chamberC: chamberC}
	was := "calx was interrupted for " + span(gap)
	switch {
	case within <= 0:
		v.text = was + ", and resume_within in calx.yaml does not say that a firing goes on by itself"
	case gap < 0:
		v.wait = true
		v.text = fmt.Sprintf("calx was interrupted, nobody knows how long: the clock shows %s, the last reading is from %s", wall.Format(time.DateTime), last.In(wall.Location()).Format(time.DateTime))
	case gap > within:
		v.text = fmt.Sprintf("%s, longer than resume_within, which is %s", was, span(within))
	case math.IsNaN(chamberC):
		v.wait = true
		v.text = was + ", and there is no valid temperature to go on from"
	case lastC-chamberC > mostFallC:
		v.text = fmt.Sprintf("%s, and the chamber fell from %.0f °C to %.0f °C, more than %.0f °C", was, lastC, chamberC, mostFallC)
	default:
		v.goOn = true
		v.text = fmt.Sprintf("%s; the chamber went from %.0f °C to %.0f °C", was, lastC, chamberC)
	}
	return v
}

// span words a duration: 40 s, 4 min, 3 h 27 min.
func span(d time.Duration) string {
	m := int(d.Round(time.Minute) / time.Minute)
	switch {
	case d < 90*time.Second:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case m < 60:
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %02d min", m/60, m%60)
}

// await judges at each reading until the verdict stands or patience is over.
func (s *Station) await(ctx context.Context, b *broken, within time.Duration) (verdict, error) {
	woken, stop := s.Watch()
	defer stop()
	until := s.parts.Clock.Mono() + patience
	for {
		st := s.Status()
		chamberC := math.NaN()
		if st.ChamberC != nil {
			chamberC = *st.ChamberC
		}
		if !st.Wall.IsZero() || within <= 0 {
			v := judge(b.lastC, time.UnixMilli(b.state.WallMS), within, chamberC, s.wall())
			if !v.wait || s.parts.Clock.Mono() >= until {
				return v, nil
			}
		}
		select {
		case <-woken:
		case <-ctx.Done():
			return verdict{}, ctx.Err()
		}
	}
}

// wall is the clock on the wall, as the people of the house read it.
func (s *Station) wall() time.Time {
	if s.parts.Zone == nil {
		return s.parts.Clock.Wall()
	}
	return s.parts.Clock.Wall().In(s.parts.Zone)
}

// goOn starts the firing where it stood.
func (s *Station) goOn(b *broken, v verdict) (string, error) {
	if s.dead() {
		return s.giveUp(b.head, v.text+", but "+ErrDead.Error())
	}
	if err := s.claim(); err != nil {
		return "", err
	}
	step := "its end"
	if i := b.state.Plan.Step; i < len(b.prof.Steps) {
		step = fmt.Sprintf("step %d, %q", i+1, b.prof.Sentence(i))
	}
	text := fmt.Sprintf("%s. The firing goes on in %s", v.text, step)
	n := notice.For(notice.Interrupted)
	b.first = []record.Event{{
		// The tick that resumes is a new one.
		Seq: b.event, Since: b.state.Now + max(v.gap, s.parts.Period), Wall: s.parts.Clock.Wall().UTC().Truncate(time.Millisecond),
		Code: n.Code, Severity: record.Severity(n.Severity), Step: uint16(b.state.Plan.Step), Text: text, Hint: n.Do,
	}}
	b.state.EventSeq = b.event + 1
	// The loop adds a period of its own to the gap.
	b.gap = max(v.gap-s.parts.Period, 0)
	s.start <- &b.job
	return fmt.Sprintf("firing %d: %s", b.head.ID, text), nil
}

// giveUp closes the record of a firing that does not go on.
func (s *Station) giveUp(head record.Firing, reason string) (string, error) {
	return s.conclude(head, "interrupted", reason)
}

func (s *Station) conclude(head record.Firing, outcome, reason string) (string, error) {
	if err := s.parts.Log.End(head.ID, outcome, reason, s.parts.Clock.Wall().UTC().Truncate(time.Millisecond)); err != nil {
		return "", err
	}
	s.update(func(st *Status) {
		if st.Firing == nil {
			st.Last = &Firing{ID: head.ID, Name: head.Name, Outcome: outcome, Reason: reason, Events: []Event{}}
		}
	})
	return fmt.Sprintf("firing %d: %s", head.ID, reason), nil
}

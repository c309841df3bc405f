package station

import (
	"context"
	"fmt"
	"math"
	"time"

	"calx/controller/notice"
	"calx/controller/resume"
	"calx/sensor"
	"calx/storage/record"
)

// patience is how long a first valid reading, and a wall clock that can be
// believed, are waited for: a small board sets its clock by the network a while
// after it has started.
const patience = 90 * time.Second

// Interrupted deals with a firing that the log holds without its end: the
// process or the power was cut. By what its person wanted and package resume
// judges, it goes on, or is taken up without heat until a person says what
// next, or its record is closed. within is the longest interruption after which
// it goes on by itself, 0 for any. Run must be running, since its readings are
// looked at.
//
// It returns in words what was found and done, "" when there was nothing to
// do.
func (s *Station) Interrupted(ctx context.Context, within time.Duration) (string, error) {
	woken, stop := s.Watch()
	defer stop()
	return s.mend(within, func() error {
		select {
		case <-woken:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	})
}

// InterruptedOne is Interrupted for a bench, where nobody runs Run and time
// stands still while calx thinks: it reads by itself. goesOn says that RunOne
// has a firing to take up.
func (s *Station) InterruptedOne(ctx context.Context, within time.Duration) (said string, goesOn bool, err error) {
	said, err = s.mend(within, func() error { return s.idle(ctx) })
	return said, len(s.start) > 0, err
}

// mend looks at the interrupted firing; next waits for a reading.
func (s *Station) mend(within time.Duration, next func() error) (string, error) {
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
		return s.conclude(head, interrupted, fmt.Sprintf("calx was interrupted, and what it had recorded does not allow to go on: %v", err))
	}
	if o := broken.state.Outcome(); o != "" {
		// It was cut between the end of the firing and the end of its record.
		return s.conclude(head, o, broken.reason)
	}
	v, gap, err := s.await(broken, within, next)
	switch {
	case err != nil:
		return "", err
	case v.Do == resume.Over:
		return s.conclude(head, interrupted, v.Why+"; the firing was ended, the heat is off")
	case s.dead():
		return fmt.Sprintf("firing %d is left as it is: %v", id, ErrDead), nil
	}
	return s.takeUp(broken, v, gap)
}

// interrupted is the outcome of a firing that did not go on.
const interrupted = "interrupted"

// await judges at each reading until the verdict stands or patience is over.
func (s *Station) await(b *broken, within time.Duration, next func() error) (resume.Verdict, resume.Gap, error) {
	until := s.parts.Clock.Mono() + patience
	for {
		if st := s.Status(); !st.Wall.IsZero() {
			c := s.caseOf(b, st, within)
			v := resume.Judge(c)
			if !v.Passing || s.parts.Clock.Mono() >= until {
				return v, c.Gap, nil
			}
		}
		if err := next(); err != nil {
			return resume.Verdict{}, resume.Gap{}, err
		}
	}
}

// caseOf is a firing and the kiln as they stand.
func (s *Station) caseOf(b *broken, st Status, within time.Duration) resume.Case {
	// A policy that a newer calx wrote is not known here: ask.
	policy, err := resume.ParsePolicy(b.head.AfterCut)
	switch {
	case err != nil:
		policy = resume.Ask
	case b.head.AfterCut == "":
		policy = s.parts.AfterCut
	}
	needC, wet, steam := b.control.Standing(b.state)
	c := resume.Case{
		Policy: policy, MostGap: within, BeforeC: b.lastC, NowC: math.NaN(), NeedC: needC,
		DoorOpen: s.parts.Doorway != nil && s.parts.Doorway.Door() == sensor.DoorOpen,
		Moulds:   b.moulds.model != nil, Wet: wet, Steam: steam, Damage: b.damage, Waited: b.state.Asks, InF: b.prof.Fahrenheit,
	}
	if st.ChamberC != nil {
		c.NowC = *st.ChamberC
	}
	c.Gap = resume.Measure(resume.Clocks{Up: s.up(b), LastWall: time.UnixMilli(b.state.WallMS), Wall: s.wall(), Cooling: cooling(b, c.NowC)})
	return c
}

// up is how long ago the last reading was by the clock of the board; 0 when it
// was switched off meanwhile, or keeps none.
func (s *Station) up(b *broken) time.Duration {
	n := len(b.head.Runs)
	if n == 0 || s.parts.Uptime == nil || s.parts.Boot == "" {
		return 0
	}
	r := b.head.Runs[n-1]
	if r.Boot != s.parts.Boot || r.Uptime == 0 {
		return 0
	}
	return max(s.parts.Uptime()-(r.Uptime+b.state.Now-r.Since), 0)
}

// cooling is what the fall of the chamber to nowC says of the time. Near the
// room a degree more is an hour more: three fifths of the fall are sure, and
// what lies a seventh beyond it bounds it above.
func cooling(b *broken, nowC float64) resume.Cooling {
	const horizon, leastC, sure, beyond = 24 * time.Hour, 5, 0.6, 0.15
	fellC := math.Max(b.lastC-nowC, 0)
	if math.IsNaN(fellC) || !b.state.Law.Ready {
		return resume.Cooling{}
	}
	to := func(fallC float64, never time.Duration) time.Duration {
		d, ok := b.control.FallTime(b.state, b.lastC-fallC, horizon)
		if !ok {
			return never
		}
		return d
	}
	c := resume.Cooling{Known: true, Most: to((1+beyond)*fellC+leastC, -1)}
	if fellC >= leastC {
		// Where the model would never come there, all that is sure is that it was
		// long.
		c.Least, c.Likely = to(sure*fellC, horizon/2), to(fellC, horizon)
	}
	return c
}

// wall is the clock on the wall, as the people of the house read it.
func (s *Station) wall() time.Time {
	if s.parts.Zone == nil {
		return s.parts.Clock.Wall()
	}
	return s.parts.Clock.Wall().In(s.parts.Zone)
}

// takeUp runs the firing again from where it stood: with heat, or without until
// a person says what next.
func (s *Station) takeUp(b *broken, v resume.Verdict, gap resume.Gap) (string, error) {
	if err := s.claim(); err != nil {
		return "", err
	}
	step := "its end"
	if i := b.state.Plan.Step; i < len(b.prof.Steps) {
		step = fmt.Sprintf("step %d, %q", i+1, b.prof.Sentence(i))
	}
	n, words := notice.For(notice.Interrupted), fmt.Sprintf("%s. The firing goes on in %s", v.Why, step)
	if v.Do == resume.Wait {
		n, words = notice.For(notice.WaitsForPerson), v.Why
		if b.state.Asks == "" {
			words = fmt.Sprintf("%s. The firing waits in %s, without heat, until somebody says what next", v.Why, step)
		}
		b.state.Asks = words
	}
	// The tick that resumes is a new one.
	lost := gap.Likely.Round(time.Second)
	since := b.state.Now + max(lost, s.parts.Period)
	b.first = []record.Event{{
		Seq: b.event, Since: since, Wall: s.parts.Clock.Wall().UTC().Truncate(time.Millisecond),
		Code: n.Code, Severity: record.Severity(n.Severity), Step: uint16(b.state.Plan.Step), Text: words, Hint: n.Do,
	}}
	b.state.EventSeq = b.event + 1
	// The loop adds a period of its own to the gap.
	b.gap = max(lost-s.parts.Period, 0)
	// A turn that cannot be written costs an exact clock at the next
	// interruption, and is no reason to let the kiln cool.
	_ = s.parts.Log.TakenUp(b.head.ID, s.turn(since))
	s.start <- &b.job
	return fmt.Sprintf("firing %d: %s", b.head.ID, words), nil
}

// turn is a turn at a firing that begins now.
func (s *Station) turn(since time.Duration) record.Run {
	r := record.Run{Boot: s.parts.Boot, Since: since}
	if s.parts.Uptime != nil {
		r.Uptime = s.parts.Uptime()
	}
	return r
}

// conclude closes the record of a firing.
func (s *Station) conclude(head record.Firing, outcome, reason string) (string, error) {
	if err := s.parts.Log.End(head.ID, outcome, reason, s.parts.Clock.Wall().UTC().Truncate(time.Millisecond)); err != nil {
		return "", err
	}
	s.update(func(st *Status) {
		if st.Firing == nil {
			st.Last = &Firing{ID: head.ID, Name: head.Name, Outcome: outcome, Reason: reason, Events: []Event{}}
		}
	})
	s.latch()
	return fmt.Sprintf("firing %d: %s", head.ID, reason), nil
}

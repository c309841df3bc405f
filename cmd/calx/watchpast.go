package main

import (
	"context"
	"errors"
	"math"
	"time"

	"calx/cmd/calx/chart"
	"calx/cmd/calx/station"
	"calx/profile"
	"calx/storage/record"
)

// past is what is known of the firing that is watched: from the log, fetched
// once, and from then on from what was seen.
type past struct {
	id     uint64
	prof   *profile.Profile // nil while the log could not be had
	plan   *profile.Timeline
	curve  chart.Firing
	fresh  []chart.Point // of the present bucket, not yet thinned
	step   int           // from 1; 0 = unknown
	stepAt time.Duration // when it began
}

// bucket is how long a stretch of the curve is kept as its lowest and highest
// point: a column of a sketch is as a rule several times as long.
const bucket = 20 * time.Second

// newPast fetches the log for what happened before. Without it the past begins
// now; a view of the present must not depend on it.
func newPast(ctx context.Context, c *client, id uint64) *past {
	p := &past{id: id}
	l, err := c.fetchLog(ctx)
	if err != nil {
		return p
	}
	f, err := readFiring(l.Log, p.id)
	if err = errors.Join(err, l.Close()); err != nil && f == nil {
		return p
	}
	p.prof, p.plan = f.prof, f.plan
	c2 := f.chart(false)
	p.curve.CeilingC, p.curve.Start, p.curve.Extra = c2.CeilingC, c2.Start, cores(c2.Extra)
	for _, q := range c2.Points {
		p.add(q)
	}
	for i, r := range f.readings {
		if s := int(r.Step) + 1; i == 0 || s != p.step {
			p.step, p.stepAt = s, r.Since
		}
	}
	return p
}

// see adds what a status shows.
func (p *past) see(st station.Status) {
	f := st.Firing
	if f == nil || f.ID != p.id || f.Phase == "" {
		return
	}
	since := seconds(f.SinceS)
	if n := len(p.fresh); n > 0 && since <= p.fresh[n-1].Since {
		return
	}
	p.add(chart.Point{Since: since, HotC: orNaN(st.ChamberC), SetpointC: orNaN(st.SetpointC), Duty: st.Duty})
	p.seeInside(since, st.Inside)
	p.curve.Now = since
	p.curve.Start = st.Wall.Add(-since).Local()
	if f.Step != p.step {
		if p.step != 0 {
			p.stepAt = since
		}
		p.step = f.Step
	}
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// add appends a point and thins the bucket before it to its lowest and highest.
// Missing values stay: a gap must be seen.
func (p *past) add(q chart.Point) {
	if n := len(p.fresh); n > 0 && p.fresh[0].Since/bucket != q.Since/bucket {
		lo, hi := 0, 0
		for i, f := range p.fresh {
			switch {
			case math.IsNaN(f.HotC):
				p.curve.Points = append(p.curve.Points, f)
				lo, hi = max(lo, min(i+1, n-1)), max(hi, min(i+1, n-1))
			case f.HotC < p.fresh[lo].HotC:
				lo = i
			case f.HotC > p.fresh[hi].HotC:
				hi = i
			}
		}
		p.curve.Points = append(p.curve.Points, p.fresh[min(lo, hi)])
		if lo != hi {
			p.curve.Points = append(p.curve.Points, p.fresh[max(lo, hi)])
		}
		p.fresh = p.fresh[:0]
	}
	p.fresh = append(p.fresh, q)
}

// chart is the curve so far, and the plan from here on.
func (p *past) chart(st station.Status, fahrenheit bool) chart.Firing {
	c := p.curve
	c.Points = append(c.Points[:len(c.Points):len(c.Points)], p.fresh...)
	c.Fahrenheit = fahrenheit
	c.Plan = p.ahead(st)
	return c
}

// ahead is the plan from now on: what remains of this step, then the others,
// however late they are.
func (p *past) ahead(st station.Status) []chart.PlanPoint {
	l := p.left(st)
	if !l.ok || st.SetpointC == nil {
		return nil
	}
	at := seconds(st.Firing.SinceS)
	out := []chart.PlanPoint{{Since: at, C: *st.SetpointC}}
	at += l.step
	rest := p.plan.Segments[st.Firing.Step-1:]
	out = append(out, chart.PlanPoint{Since: at, C: rest[0].ToC})
	for _, s := range rest[1:] {
		for _, q := range s.Points {
			out = append(out, chart.PlanPoint{Since: at + q.At - s.From, C: q.PlanC})
		}
		at += s.ExpectedTo - s.ExpectedFrom
		out = append(out, chart.PlanPoint{Since: at, C: s.ToC})
	}
	return out
}

// at is when something happened, by the wall clock where it is known.
func (p *past) at(sinceS float64) string {
	if p == nil || p.curve.Start.IsZero() {
		return "+" + hoursMinutes(sinceS)
	}
	return p.curve.Start.Add(seconds(sinceS)).Format("15:04")
}

// slopeOver is how far back a rate is taken from.
const slopeOver = 10 * time.Minute

// slope is how fast the chamber has moved lately, °C/h.
func (p *past) slope() (cPerH float64, ok bool) {
	c := append(p.curve.Points[:len(p.curve.Points):len(p.curve.Points)], p.fresh...)
	if len(c) < 2 || math.IsNaN(c[len(c)-1].HotC) {
		return 0, false
	}
	last := c[len(c)-1]
	i := len(c) - 1
	for i > 0 && last.Since-c[i-1].Since <= slopeOver && !math.IsNaN(c[i-1].HotC) {
		i--
	}
	d := last.Since - c[i].Since
	if d < slopeOver/3 {
		return 0, false
	}
	return (last.HotC - c[i].HotC) / d.Hours(), true
}

// left is what remains by plan. bound says that the step ends at the latest
// then, on an observation or a person.
type left struct {
	step, firing time.Duration
	bound        bool
	open         bool // a later step does so: the end is a guess
	ok           bool // the plan is known
}

func (p *past) left(st station.Status) left {
	f := st.Firing
	if p == nil || p.plan == nil || f == nil || over(f) || f.Step < 1 || f.Step > len(p.plan.Segments) {
		return left{}
	}
	out := left{ok: true}
	out.step, out.bound = p.stepLeft(st)
	out.open = out.bound
	if d, ok := foreseen(st, p.prof.Steps[f.Step-1]); ok {
		out.step, out.bound = d, false
	}
	out.firing = out.step
	for _, s := range p.plan.Segments[f.Step:] {
		out.firing += s.ExpectedTo - s.ExpectedFrom
		out.open = out.open || s.Open
	}
	return out
}

// over reports whether nothing more will be heated in f, even if it still cools
// under the eyes of calx.
func over(f *station.Firing) bool {
	switch f.Phase {
	case record.Done.String(), record.Stopped.String(), record.Tripped.String():
		return true
	}
	return false
}

func (p *past) stepLeft(st station.Status) (d time.Duration, bound bool) {
	f := st.Firing
	s, seg := p.prof.Steps[f.Step-1], p.plan.Segments[f.Step-1]
	held := seconds(f.HeldS)
	switch {
	case s.Kind == profile.Hold && s.Until == profile.Elapsed:
		return max(s.For-held, 0), false
	case s.Kind == profile.Hold && s.Until == profile.ClockTime:
		now := st.Wall.Local()
		return profile.NextClock(now, s.Hour, s.Minute).Sub(now), false
	case s.Kind == profile.Hold:
		return max(s.AtMost-held, 0), true
	case seg.Points != nil && st.ChamberC != nil:
		return seg.To - when(seg, *st.ChamberC), false
	case st.SetpointC == nil || seg.ToC == seg.FromC:
		return 0, false
	}
	share := (s.TargetC - *st.SetpointC) / (seg.ToC - seg.FromC)
	return time.Duration(min(max(share, 0), 1) * float64(seg.ExpectedTo-seg.ExpectedFrom)), false
}

// when is the time at which a curve passes a temperature.
func when(s profile.Segment, c float64) time.Duration {
	rising := s.ToC > s.FromC
	for _, q := range s.Points {
		if rising == (q.PlanC >= c) {
			return q.At
		}
	}
	return s.To
}

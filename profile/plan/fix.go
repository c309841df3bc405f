package plan

import (
	"fmt"
	"time"
)

// fix sets the plan in time: from the pour time back, or from now on.
func (k *maker) fix(p *Plan) error {
	in := k.in
	if in.PourAt.IsZero() {
		p.Start = in.Now
	} else {
		p.Start = in.PourAt.Add(-p.Total)
	}
	if p.Start.IsZero() {
		return nil
	}
	p.Ready = p.Start.Add(p.Total)
	if in.Now.IsZero() || !p.Start.Before(in.Now) {
		return nil
	}
	return k.tooEarly(p)
}

// tooEarly refuses a pour time and names the earliest, with air on as well if
// that is sooner.
func (k *maker) tooEarly(p *Plan) error {
	in := k.in
	r := &Refusal{Field: "pour time", Got: clock(in.PourAt, in.Now), Earliest: roundUpTo(in.Now.Add(p.Total), earliestTick)}
	aim := "clear"
	if in.PourC > 0 {
		aim = "clear and at " + words{in.Fahrenheit}.temp(in.PourC)
	}
	if list, _ := bound(p); len(list) > 0 {
		r.Limit = list[0]
	}
	r.Want = fmt.Sprintf("no profile that keeps every limit is %s by then; the earliest is %s", aim, clock(r.Earliest, in.Now))
	if !in.AirOn && in.Kiln.Air.Vent > 0 && k.burns() {
		in.AirOn, in.PourAt = true, time.Time{}
		if q, err := Make(in); err == nil {
			if r.WithAir = roundUpTo(in.Now.Add(q.Total), earliestTick); r.WithAir.Before(r.Earliest) {
				r.Want += fmt.Sprintf("; with air on, %s", clock(r.WithAir, in.Now))
			}
		}
	}
	r.Want += fmt.Sprintf("; what takes longest is %s", p.Binding)
	return r
}

const earliestTick = 5 * time.Minute

// roundUpTo rounds a moment up to the tick of its own clock's hour.
func roundUpTo(t time.Time, tick time.Duration) time.Time {
	if r := t.Truncate(tick); r.Before(t) {
		return r.Add(tick)
	}
	return t
}

package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"calx/profile"
	"calx/profile/plan"
)

// drainTime is between two firings, for washing out and for draining: the
// mould is to stand a day (common practice, no source).
const drainTime = 24 * time.Hour

// washedOut plans both firings of a mould that is washed out: the burnout with
// the cooling down to the hand, and the one that dries, heats and is poured.
// The pour time is that of the second.
func washedOut(in plan.Input) ([]*planned, error) {
	burn, again := in, in
	burn.PourC, burn.LeastC, burn.PourAt, burn.Now = 0, 0, time.Time{}, time.Time{}
	again.PourAt, again.Now = time.Time{}, time.Time{}
	title := mouldTitle(in.Moulds)
	p := &planned{in: burn, title: title, which: ", to be washed out", end: "cold enough to wash out"}
	q := &planned{in: again, title: title, which: ", washed out", end: "to pour at " + wholeTemperature(in.PourC, in.Fahrenheit), wash: true}
	var err error
	if p.Plan, err = plan.Make(burn); err != nil {
		return nil, err
	}
	if q.Plan, err = plan.WashOut(again); err != nil {
		return nil, fmt.Errorf("after the wash-out: %w", err)
	}
	alone := *p.Plan
	p.alone = &alone
	p.goOn(q.Cooldown)
	p.Start = in.Now
	if !in.PourAt.IsZero() {
		p.Start = in.PourAt.Add(-(q.latest() + drainTime + p.Total))
		if p.Start.Before(in.Now) {
			return nil, tooSoon(in, p, q)
		}
	}
	p.Ready = p.Start.Add(p.Total)
	q.Start = p.Ready.Add(drainTime)
	q.Ready = q.Start.Add(q.latest())
	return []*planned{p, q}, nil
}

// goOn puts a cool-down behind the plan, into the same firing.
func (p *planned) goOn(down *plan.Plan) {
	first, after := *p.Profile, len(p.Profile.Steps)
	first.Steps = append(append([]profile.Step{}, first.Steps...), down.Profile.Steps...)
	p.Profile = &first
	for _, r := range down.Reasons {
		r.From, r.To = r.From+p.Total, r.To+p.Total
		p.Reasons = append(p.Reasons, r)
	}
	for _, s := range down.Curve {
		s.Since, s.Step = s.Since+p.Total, s.Step+after
		p.Curve = append(p.Curve, s)
	}
	p.Total += down.Total
}

// The notes of package plan that are not true of two firings planned together,
// or stand elsewhere.
var otherNotes = []string{"calx is not the safety device", "no pour temperature was given", "it is taken as soaked through"}

// notes are those worth reading here.
func (p *planned) notes() []string {
	out := []string{}
	for _, n := range p.Notes {
		told := slices.ContainsFunc(otherNotes, func(s string) bool { return strings.HasPrefix(n, s) })
		alone := p.which == "" && !strings.HasPrefix(n, otherNotes[0])
		if !told || alone {
			out = append(out, n)
		}
	}
	return out
}

// latest is how long it takes when every hold lasts its most.
func (p *planned) latest() time.Duration {
	d := p.Total
	for i, s := range p.Profile.Steps {
		if s.Kind == profile.Hold && s.AtMost > 0 && s.Until != profile.UntilStopped {
			d += s.AtMost - (p.Reasons[i].To - p.Reasons[i].From)
		}
	}
	return d
}

// tooSoon refuses a pour time that two firings do not reach.
func tooSoon(in plan.Input, p, q *planned) error {
	all := p.Total + drainTime + q.latest()
	earliest := in.Now.Add(all + time.Minute - 1).Truncate(time.Minute)
	return &plan.Refusal{
		Field: "pour time", Got: day(in.PourAt), Earliest: earliest,
		Want: fmt.Sprintf("with a wash-out it takes %s: %s to burn out and cool, a day to wash and drain, up to %s to dry and heat again; the earliest is %s",
			hours(all), hours(p.Total), hours(q.latest()), day(earliest)),
	}
}

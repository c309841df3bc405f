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
	again.Beliefs = nil // nothing is left that burns
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
	q.byTheClock()
	p.Start = in.Now
	if !in.PourAt.IsZero() {
		p.Start = in.PourAt.Add(-(q.Total + drainTime + p.Total))
		if p.Start.Before(in.Now) {
			return nil, tooSoon(in, p, q)
		}
	}
	p.Ready = p.Start.Add(p.Total)
	q.Start = p.Ready.Add(drainTime)
	q.Ready = q.Start.Add(q.Total)
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

// byTheClock replaces the holds that end on the model by the most they may
// last: the controller follows fresh moulds only, which hold another water and
// dry otherwise, and refuses such holds without a mould. What happens within is
// taken to be as much slower.
func (p *planned) byTheClock() {
	prof := *p.Profile
	prof.Steps = slices.Clone(prof.Steps)
	p.Profile, p.Reasons, p.Curve = &prof, slices.Clone(p.Reasons), slices.Clone(p.Curve)
	for i := range prof.Steps {
		s := &prof.Steps[i]
		if s.Until != profile.UntilDry && s.Until != profile.UntilCore {
			continue
		}
		*s = profile.Step{Kind: profile.Hold, Until: profile.Elapsed, For: s.AtMost}
		r := &p.Reasons[i]
		r.Text += fmt.Sprintf("; given %s to be sure", hours(s.For))
		p.EnergyKWh += p.in.Kiln.Balance(p.chamberC(r.To), p.in.AmbientC).PowerW / 1e3 * (s.For - (r.To - r.From)).Hours()
		p.stretch(r.From, r.To, r.From+s.For)
	}
	p.Cost = p.EnergyKWh * p.in.PricePerKWh
	p.Binding = ""
}

// chamberC is the chamber at the first sample from then on, °C.
func (p *planned) chamberC(at time.Duration) float64 {
	i := slices.IndexFunc(p.Curve, func(s plan.Sample) bool { return s.Since >= at })
	if i < 0 {
		i = len(p.Curve) - 1
	}
	return p.Curve[i].ChamberC
}

// stretch makes what lies between from and was last until to, and all behind it
// come later.
func (p *planned) stretch(from, was, to time.Duration) {
	late := func(t time.Duration) time.Duration {
		switch {
		case t <= from:
			return t
		case t >= was:
			return t + to - was
		}
		return from + time.Duration(float64(t-from)*float64(to-from)/float64(was-from))
	}
	for i := range p.Reasons {
		r := &p.Reasons[i]
		r.From, r.To = late(r.From), late(r.To)
	}
	for i := range p.Curve {
		p.Curve[i].Since = late(p.Curve[i].Since)
	}
	p.DryAt, p.Total = late(p.DryAt), late(p.Total)
}

const (
	noteSafety  = "calx is not the safety device" // stands under the cautions
	noteNoPour  = "no pour temperature was given"
	noteSoaked  = "it is taken as soaked through"
	noteModel   = "the holds end on the model"
	noteByClock = "calx cannot follow a washed-out mould yet: the holds go by the clock and last the most that the plan allows; fire it without --mould"
)

// notes are those of package plan that are true here and not said elsewhere.
func (p *planned) notes() []string {
	untrue := []string{noteSafety}
	switch {
	case p.wash:
		untrue = append(untrue, noteSoaked, noteModel)
	case p.which != "":
		untrue = append(untrue, noteNoPour)
	}
	out := []string{}
	for _, n := range p.Notes {
		if !slices.ContainsFunc(untrue, func(s string) bool { return strings.HasPrefix(n, s) }) {
			out = append(out, n)
		}
	}
	if p.wash {
		return append(out, noteByClock)
	}
	return append(out, "when it is clear rests on "+p.evidence())
}

// evidence is what the time until clear rests on; "" where nothing burns.
func (p *planned) evidence() string {
	if p.wash {
		return ""
	}
	return p.basis
}

// tooSoon refuses a pour time that two firings do not reach.
func tooSoon(in plan.Input, p, q *planned) error {
	all := p.Total + drainTime + q.Total
	earliest := in.Now.Add(all + time.Minute - 1).Truncate(time.Minute)
	return &plan.Refusal{
		Field: "pour time", Got: day(in.PourAt), Earliest: earliest,
		Want: fmt.Sprintf("with a wash-out it takes %s: %s to burn out and cool, a day to wash and drain, %s to dry and heat again; the earliest is %s",
			hours(all), hours(p.Total), hours(q.Total), day(earliest)),
	}
}

package controller

import (
	"fmt"
	"math"
	"time"

	"calx/controller/law"
	"calx/storage/record"
)

// Bounds of what a firing can come to; wide, since they only have to keep a
// damaged or forged snapshot from being believed.
const (
	leastStateC, mostStateC = -200.0, 3000.0
	mostStateS              = 366 * 24 * 3600.0
	mostStateJ              = 1e12
	mostLaw                 = 1e5 // any figure of the estimate
)

// Fits tells why a stored state cannot be one of this firing; nil when it can.
// What passes can be stepped on without a panic and asks for no temperature
// above those that profile and kiln allow. Ask it of every state that comes
// from bytes.
func (c *Controller) Fits(s State) error {
	wrong := func(what string, v any, want string, a ...any) error {
		return fmt.Errorf("controller: the stored firing has %s %v; it must be %s", what, v, fmt.Sprintf(want, a...))
	}
	steps := len(c.cfg.Profile.Steps)
	p := s.Plan
	switch {
	case p.Step < 0 || p.Step > steps:
		return wrong("step", p.Step, "from 0 to %d", steps)
	case p.Step == steps && s.Phase < record.Done:
		return wrong("step", p.Step, "below %d while it runs", steps)
	case s.Phase > record.Tripped:
		return wrong("phase", uint8(s.Phase), "at most %d", record.Tripped)
	case s.Now < 0 || s.Now > time.Duration(mostStateS)*time.Second:
		return wrong("time", s.Now, "from 0 to a year")
	case s.History.TrailN < 0:
		return wrong("number of remembered temperatures", s.History.TrailN, "0 or more")
	}
	mostC := c.allowed(mostStateC)
	for _, v := range []struct {
		what    string
		v       float64
		low, hi float64
	}{
		{"setpoint", p.SetC, leastStateC, mostC}, {"first setpoint of the step", p.FromC, leastStateC, mostC},
		{"setpoint to go back to", p.BackToC, leastStateC, mostC},
		{"time held", p.HeldS, 0, mostStateS}, {"time adrift", p.StrayS, 0, mostStateS},
		{"time waited", s.WaitS, 0, mostStateS}, {"time moved", s.FlowS, 0, mostStateS},
		{"energy", s.EnergyJ, 0, mostStateJ},
	} {
		if !(v.v >= v.low && v.v <= v.hi) {
			return wrong(v.what, v.v, "from %g to %g", v.low, v.hi)
		}
	}
	if err := lawFits(s.Law); err != nil {
		return err
	}
	if g := s.Gap; g != nil {
		if !(g.LostS >= 0 && g.LostS <= mostStateS) || !(g.FromC >= leastStateC && g.FromC <= mostStateC) {
			return wrong("gap", fmt.Sprintf("of %g s from %g °C", g.LostS, g.FromC), "of 0 to a year, from %g to %g °C", leastStateC, mostStateC)
		}
		if err := lawFits(g.Law); err != nil {
			return err
		}
	}
	return c.insideFits(s.Inside)
}

func lawFits(l law.State) error {
	sum := math.Abs(l.Extra) + math.Abs(l.Duty)
	for i := range l.Mean {
		sum += math.Abs(l.Mean[i]) + math.Abs(l.Ripple[i])
	}
	if !(sum <= mostLaw) || !(l.Duty >= 0 && l.Duty <= 1) {
		return fmt.Errorf("controller: the stored firing holds an estimate of the kiln that cannot be: duty %g, figures of up to %g", l.Duty, sum)
	}
	return nil
}

// insideFits refuses the inside of other moulds.
func (c *Controller) insideFits(o Observed) error {
	m := c.cfg.Mould
	if m == nil || !o.Begun {
		return nil // it is not looked at
	}
	kinds := len(m.Model.Params())
	for _, l := range [][]float64{o.CoreC, o.SurfaceC, o.WaterLeft, o.CharLeft, o.Clear} {
		if len(l) != kinds {
			return fmt.Errorf("controller: the stored firing holds figures of %d kinds of mould; there are %d", len(l), kinds)
		}
	}
	if len(o.DoseMin) != len(m.Clear) {
		return fmt.Errorf("controller: the stored firing holds doses of %d pieces; there are %d", len(o.DoseMin), len(m.Clear))
	}
	if !(o.WaitS >= 0 && o.WaitS <= mostStateS) {
		return fmt.Errorf("controller: the stored firing has not followed its moulds for %g s; it must be from 0 to a year", o.WaitS)
	}
	return m.Model.CheckState(&o.State)
}

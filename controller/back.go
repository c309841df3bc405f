package controller

import (
	"fmt"
	"math"
	"time"

	"calx/profile"
)

// steamC is where free water boils, °C: a wet mould below it has stopped
// steaming.
const steamC = 100.0

// steamHoldC is the highest hold that can be meant for drying, °C: above it
// lies the cristobalite inversion.
const steamHoldC = 200.0

// wet reports whether there is free water in the moulds. Of a firing without
// any it is not known: it counts as wet until the plan has been above every
// steam hold.
func (c *Controller) wet(s State) bool {
	if c.cfg.Mould != nil && s.Inside.Begun {
		return !s.Inside.Dry
	}
	for _, leg := range c.legs(s.Plan.Step) {
		if leg.toC > steamHoldC && (leg.step < s.Plan.Step || s.Plan.SetC > steamHoldC) {
			return false
		}
	}
	return true
}

// leg is one change of the setpoint by plan.
type leg struct {
	step       int
	fromC, toC float64
	cPerH      float64 // of a rise whose pace the profile gives; else 0
}

// legs are the changes of the setpoint up to and with a step, in order.
func (c *Controller) legs(step int) []leg {
	var out []leg
	atC := c.cfg.Plant.AmbientC
	for i, s := range c.cfg.Profile.Steps {
		if i > step {
			break
		}
		if s.Kind != profile.Heat && s.Kind != profile.Cool && s.Kind != profile.Wait {
			continue
		}
		l := leg{step: i, fromC: atC, toC: s.TargetC}
		switch {
		case s.Kind != profile.Heat:
		case s.Pace == profile.ByRate:
			l.cPerH = s.RateCPerH
		case s.Pace == profile.InTime && s.For > 0:
			l.cPerH = (s.TargetC - atC) / s.For.Hours()
		}
		out = append(out, l)
		atC = s.TargetC
	}
	return out
}

// holdC is the temperature of the hold at a step by plan, °C.
func (c *Controller) holdC(step int) float64 {
	if l := c.legs(step); len(l) > 0 {
		return l[len(l)-1].toC
	}
	return c.cfg.Plant.AmbientC
}

// backPace is the pace, °C/s, at which the plan climbs back through tC: the
// slowest at which the profile has passed it, through steam and inversions as
// slowly as the first time. Where the profile gives none it is 100 °C/h.
func (c *Controller) backPace(step int, tC float64) float64 {
	const usual = 100.0
	slowest := math.Inf(1)
	for _, l := range c.legs(step) {
		if l.cPerH > 0 && tC >= l.fromC-waitBandC && tC < l.toC {
			slowest = math.Min(slowest, l.cPerH)
		}
	}
	if math.IsInf(slowest, 1) {
		slowest = usual
	}
	return slowest / 3600
}

// Standing is what is to be known of a firing before it goes on: the
// temperature that its plan needs at the least, °C, NaN when it needs no heat;
// whether there is free water in the moulds; and whether its profile has a hold
// in which they can be steamed again.
func (c *Controller) Standing(s State) (needC float64, wet, steam bool) {
	_, steam = c.steamHold(s.Plan.Step)
	return c.needC(s.Plan), c.wet(s), steam
}

// needC is the temperature that the plan needs, °C: where it was, or the target
// of a cooling step; NaN when it needs none.
func (c *Controller) needC(p Cursor) float64 {
	if p.Step >= len(c.cfg.Profile.Steps) {
		return math.NaN()
	}
	switch s := c.cfg.Profile.Steps[p.Step]; {
	case s.Kind == profile.Wait || !p.Entered && p.Step == 0:
		return math.NaN()
	case !p.Entered:
		return p.SetC
	case s.Kind == profile.Cool:
		return s.TargetC
	}
	return math.Max(p.SetC, p.BackToC)
}

// goBack lets the plan begin again from where an interrupted kiln has cooled
// to, at the pace of the profile: full power to catch up would crack a mould.
// A wet mould that has stopped steaming is given its steam hold once more.
// what says in words which way the plan takes; "" when it simply goes on.
func (c *Controller) goBack(s State, yC float64, wall time.Time) (p Cursor, what string) {
	p = s.Plan
	step, toC := c.cfg.Profile.Steps[p.Step], c.needC(p)
	if !p.Entered {
		p.SetC = math.Min(p.SetC, yC) // the step will begin from here
		return p, ""
	}
	if math.IsNaN(toC) || step.Kind == profile.Cool && yC >= toC {
		if step.Kind == profile.Cool && !p.Unheated {
			p.SetC = math.Min(p.SetC, yC) // it has cooled ahead of the plan
		}
		return p, ""
	}
	if yC >= toC-waitBandC {
		return p, ""
	}
	if k, ok := c.steamHold(p.Step); ok && yC < steamC && toC >= steamC && c.wet(s) {
		holdC := c.allowed(c.holdC(k))
		p = Cursor{Step: k, Entered: true, SetC: yC, FromC: yC, BackToC: holdC, UntilMS: c.untilMS(c.cfg.Profile.Steps[k], wall)}
		return p, fmt.Sprintf("the mould is wet and was below %s: the steam hold at %s begins anew", c.temp(steamC), c.temp(holdC))
	}
	p.BackToC, p.SetC, p.Unheated = toC, yC, false
	return p, fmt.Sprintf("the plan climbs from %s back to %s at the pace of the profile", c.temp(yC), c.temp(toC))
}

// steamHold is the last hold, at or before a step, that can be meant for
// drying.
func (c *Controller) steamHold(step int) (k int, ok bool) {
	const least = 90
	for k := min(step, len(c.cfg.Profile.Steps)-1); k >= 0; k-- {
		if c.cfg.Profile.Steps[k].Kind != profile.Hold {
			continue
		}
		if holdC := c.holdC(k); holdC >= least && holdC <= steamHoldC {
			return k, true
		}
	}
	return 0, false
}

// airAt is what the air relay is by plan when a step begins.
func (c *Controller) airAt(step int) bool {
	on := false
	for _, s := range c.cfg.Profile.Steps[:step] {
		if s.Kind == profile.Air {
			on = s.On
		}
	}
	return on
}

// climb carries a plan dtS on that is on its way back. waits says that the
// kiln did not follow.
func (c *Controller) climb(p Cursor, dtS, yC float64) (q Cursor, waits bool) {
	want := math.Min(p.SetC+c.backPace(p.Step, p.SetC)*dtS, p.BackToC)
	p.SetC = math.Min(want, math.Max(p.SetC, yC+waitBandC))
	if p.SetC >= p.BackToC {
		p.BackToC, p.Arrived = 0, false
	}
	return p, p.SetC < want
}

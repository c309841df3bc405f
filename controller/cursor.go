package controller

import (
	"math"
	"time"

	"calx/profile"
)

// ramp is the pace of a step in °C/s; 0 for a step that is not a ramp under
// control. fullCPerS is what the kiln can do at the setpoint.
func (c *Controller) ramp(s profile.Step, from Cursor) float64 {
	switch {
	case s.Kind != profile.Heat && s.Kind != profile.Cool:
		return 0
	case s.Pace == profile.ByRate:
		return s.RateCPerH / 3600
	case s.Pace == profile.InTime && s.For > 0:
		return math.Abs(s.TargetC-from.FromC) / s.For.Seconds()
	case s.Pace == profile.Fastest && s.Kind == profile.Heat:
		return c.quickest(from.SetC)
	}
	return math.Inf(1)
}

// quickest is a pace, °C/s, a little beyond what the kiln can do at tC, so
// that full power is asked for while the plan ahead still shows the corner in
// time.
func (c *Controller) quickest(tC float64) float64 {
	const beyond = 1.2
	r := c.cfg.Guard.Response
	if len(r) == 0 {
		return 1
	}
	i := 0
	for i < len(r)-1 && tC >= r[i+1].TempC {
		i++
	}
	return math.Max(beyond*r[i].FullCPerH, 20) / 3600
}

// enter begins the step under the cursor. yC is the chamber.
func (c *Controller) enter(p Cursor, yC float64, wall time.Time) Cursor {
	s := c.cfg.Profile.Steps[p.Step]
	if p.Unheated || p.Step == 0 {
		p.SetC = c.allowed(yC)
	}
	p = Cursor{Step: p.Step, Entered: true, SetC: p.SetC, FromC: p.SetC}
	p.Unheated = s.Kind == profile.Wait || s.Kind == profile.Cool && (s.Pace == profile.Unpowered || s.Pace == profile.Fastest)
	p.UntilMS = c.untilMS(s, wall)
	return p
}

// allowed is a setpoint no higher than profile and kiln allow: the chamber of a
// kiln that was hot before may be above both.
func (c *Controller) allowed(setC float64) float64 {
	if c.cfg.Profile.CeilingC != 0 {
		setC = math.Min(setC, c.cfg.Profile.CeilingC)
	}
	return math.Min(setC, c.cfg.Guard.MaxC)
}

// untilMS is the wall clock that ends a step, ms since 1970; 0 for all but a
// hold until a time of day.
func (c *Controller) untilMS(s profile.Step, wall time.Time) int64 {
	if s.Kind != profile.Hold || s.Until != profile.ClockTime {
		return 0
	}
	return profile.NextClock(wall.In(c.cfg.Zone), s.Hour, s.Minute).UnixMilli()
}

// move carries the cursor dtS on, with the chamber at yC and the moulds as o. It
// reports whether the plan had to wait for the kiln and whether the step is
// over.
func (c *Controller) move(p Cursor, dtS, yC float64, wall time.Time, o Observed) (q Cursor, waits, over bool) {
	s := c.cfg.Profile.Steps[p.Step]
	if p.BackToC > 0 {
		if p, waits = c.climb(p, dtS, yC); p.BackToC > 0 {
			return p, waits, s.Kind == profile.Hold && s.Until == profile.ClockTime && wall.UnixMilli() >= p.UntilMS
		}
	}
	switch s.Kind {
	case profile.Heat:
		if p.SetC >= s.TargetC {
			p.SetC = s.TargetC
			return p, false, true
		}
		want := math.Min(p.SetC+c.ramp(s, p)*dtS, s.TargetC)
		may := math.Max(p.SetC, yC+waitBandC)
		p.SetC = math.Min(want, may)
		return p, want > may && s.Pace != profile.Fastest, p.SetC >= s.TargetC
	case profile.Cool:
		if p.Unheated {
			p.SetC = s.TargetC
			return p, false, yC <= s.TargetC
		}
		if p.SetC <= s.TargetC {
			return p, false, true
		}
		want := math.Max(p.SetC-c.ramp(s, p)*dtS, s.TargetC)
		may := math.Min(p.SetC, yC-waitBandC)
		p.SetC = math.Max(want, may)
		return p, want < may, p.SetC <= s.TargetC
	case profile.Hold:
		return c.hold(p, s, dtS, yC, wall, o)
	case profile.Wait:
		return p, false, yC < s.TargetC
	}
	return p, false, true // air and tell take no time
}

// hold counts only the time that the chamber is where it should be.
func (c *Controller) hold(p Cursor, s profile.Step, dtS, yC float64, wall time.Time, o Observed) (q Cursor, waits, over bool) {
	off := math.Abs(yC - p.SetC)
	if !p.Arrived {
		p.Arrived = off <= holdBandC
		waits = !p.Arrived
	} else {
		waits = off > waitBandC
	}
	waits = waits && !p.Adrift
	if !waits {
		p.HeldS += dtS
	}
	switch {
	case s.Until == profile.Elapsed:
		over = p.HeldS >= s.For.Seconds()
	case s.Until == profile.ClockTime:
		over = wall.UnixMilli() >= p.UntilMS
	default:
		if p.Met, _ = o.met(s, p.SetC, c.temp); s.Until == profile.UntilDoor {
			p.Met = p.Door
		}
		p.Met = p.Met && p.Arrived && p.HeldS >= s.AtLeast.Seconds()
		over = p.Met || s.AtMost > 0 && p.HeldS >= s.AtMost.Seconds()
	}
	return p, waits, over
}

// foresee fills the plan of the coming half hour, taking it that the kiln
// follows. Steps that run without heat, and holds whose end nobody knows, are
// foreseen to last.
func (c *Controller) foresee(p Cursor, out []float64) {
	steps := c.cfg.Profile.Steps
	i, fromC, setC, heldS, backToC := p.Step, p.FromC, p.SetC, p.HeldS, p.BackToC
	done := 0.0
	for k, at := range c.aheadS {
		left := at - done
		done = at
		for left > 0 && i < len(steps) {
			s := steps[i]
			var takes float64
			switch {
			case s.Kind == profile.Air || s.Kind == profile.Tell:
			case backToC > setC:
				pace := c.backPace(i, setC)
				if backToC-setC > pace*left {
					setC += pace * left
					left = 0
				} else {
					left -= (backToC - setC) / pace
					setC = backToC
				}
				continue
			case s.Kind == profile.Hold && s.Until == profile.Elapsed:
				takes = s.For.Seconds() - heldS
				if takes > left {
					heldS += left
				}
			case s.Kind == profile.Heat && setC >= s.TargetC:
				setC = s.TargetC
			case s.Kind == profile.Cool && setC <= s.TargetC:
			case s.Kind == profile.Heat, s.Kind == profile.Cool && s.Pace != profile.Unpowered && s.Pace != profile.Fastest:
				pace := c.ramp(s, Cursor{FromC: fromC, SetC: setC})
				takes = math.Abs(s.TargetC-setC) / pace
				if takes <= left {
					setC = s.TargetC
				} else {
					setC += math.Copysign(pace*left, s.TargetC-setC)
				}
			default:
				takes = math.Inf(1)
			}
			if takes > left {
				left = 0
				break
			}
			left -= math.Max(takes, 0)
			i++
			fromC, heldS, backToC = setC, 0, 0
		}
		out[k] = setC
	}
}

package controller

import (
	"fmt"
	"math"
	"time"

	"calx/controller/guard"
	"calx/controller/law"
	"calx/controller/relay"
	"calx/profile"
)

// Config is all that is fixed during a firing.
type Config struct {
	Profile *profile.Profile
	Plant   law.Plant      // what the kiln is like; package identify derives it from a kiln file
	Relay   relay.Config   // what the heat relay can bear
	Guard   guard.Limits   // the ceiling is taken from the profile; NoReadingS is at least three periods
	Period  time.Duration  // between ticks; 0 means 1 s; from 250 ms to 10 s
	NoiseC  float64        // standard deviation of one reading, °C; 0 means 0.25
	Zone    *time.Location // for "hold until 14:00"; nil means UTC
	Mould   *Mould         // what stands in the kiln; nil: nobody said
	// Checks lists which of Input.Others stand in the chamber as well and only
	// check the controlled one.
	Checks     []int
	DoorSwitch bool // there is a switch at the door
}

// The bands of a hold and of the hold-back, °C. The clock of a hold starts
// within holdBandC; a plan never runs further ahead of the kiln than
// waitBandC. The first is wider than the ripple of a contactor on a small
// kiln, the second wide enough not to meddle with a ramp that is followed.
const (
	holdBandC = 3
	waitBandC = 6
)

// Controller runs one firing. It holds no state of the firing and may be
// shared.
type Controller struct {
	cfg     Config
	law     *law.Law
	aheadS  []float64
	periodS float64
}

// New checks the configuration and works out the control law.
func New(c Config) (*Controller, error) {
	if c.Profile == nil || len(c.Profile.Steps) == 0 {
		return nil, fmt.Errorf("controller: the profile has no steps; it needs at least one")
	}
	if c.Period == 0 {
		c.Period = time.Second
	}
	if c.Period < 250*time.Millisecond || c.Period > 10*time.Second {
		return nil, fmt.Errorf("controller: period is %v; it must be from 250 ms to 10 s", c.Period)
	}
	if c.Zone == nil {
		c.Zone = time.UTC
	}
	if err := c.Relay.Check(); err != nil {
		return nil, err
	}
	if !(c.Guard.MaxC > 0) || math.IsInf(c.Guard.MaxC, 0) {
		return nil, fmt.Errorf("controller: the kiln's maximum is %g °C; it must be above 0 °C", c.Guard.MaxC)
	}
	c.Guard.NoReadingS = math.Max(c.Guard.NoReadingS, 3*c.Period.Seconds())
	c.Guard.PeriodS = c.Period.Seconds()
	c.Guard.CeilingC = c.Profile.CeilingC
	c.Guard.Fahrenheit = c.Profile.Fahrenheit
	if c.Mould != nil {
		if err := c.Mould.check(); err != nil {
			return nil, err
		}
	}
	for i, s := range c.Profile.Steps {
		if err := runnable(s, c); err != nil {
			return nil, fmt.Errorf("controller: step %d (line %d): %w", i+1, s.Line, err)
		}
	}
	l, err := law.New(c.Plant, law.Options{PeriodS: c.Period.Seconds(), NoiseC: c.NoiseC})
	if err != nil {
		return nil, err
	}
	a := l.AheadS()
	return &Controller{cfg: c, law: l, aheadS: a[:], periodS: c.Period.Seconds()}, nil
}

// runnable refuses a step that this firing cannot carry out.
func runnable(s profile.Step, c Config) error {
	switch {
	case s.Kind == profile.Heat && s.TargetC > c.Guard.MaxC:
		return fmt.Errorf("heat to %.0f °C is above the kiln's maximum of %.0f °C", s.TargetC, c.Guard.MaxC)
	case s.Kind == profile.Heat && c.Profile.CeilingC != 0 && s.TargetC > c.Profile.CeilingC:
		return fmt.Errorf("heat to %.0f °C is above the ceiling of %.0f °C", s.TargetC, c.Profile.CeilingC)
	case s.Kind == profile.Hold && s.Until == profile.UntilDoor && !c.DoorSwitch:
		return fmt.Errorf("this hold waits for the door, and no switch at it is configured; write \"hold until stopped, at most 4 h\" instead, or fit one")
	case c.Mould == nil && s.Kind == profile.Hold && (s.Until == profile.UntilDry || s.Until == profile.UntilCore || s.Until == profile.UntilClear):
		return fmt.Errorf("this hold needs a mould, and the firing has none; write a time instead, for example \"hold 3 h\"")
	}
	return nil
}

// temp words a temperature in the unit of the profile.
func (c *Controller) temp(tC float64) string {
	if c.cfg.Profile.Fahrenheit {
		return fmt.Sprintf("%.0f °F", tC*9/5+32)
	}
	return fmt.Sprintf("%.0f °C", tC)
}

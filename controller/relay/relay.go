// Package relay turns a duty between 0 and 1 into relay edges: it keeps the
// least on and off times that the relay needs to live, and never loses heat
// that was asked for, it only delays it. Pure.
package relay

import (
	"fmt"
	"math"
)

// Kind is how a relay makes contact.
type Kind uint8

// The two kinds. A solid-state relay may switch at every tick; a contactor
// wears with every cycle.
const (
	SolidState Kind = iota
	Contactor
)

// ParseKind reads "ssr" or "contactor".
func ParseKind(s string) (Kind, error) {
	switch s {
	case "ssr":
		return SolidState, nil
	case "contactor":
		return Contactor, nil
	}
	return 0, fmt.Errorf("relay: kind is %q; it must be ssr or contactor", s)
}

func (k Kind) String() string {
	if k == Contactor {
		return "contactor"
	}
	return "ssr"
}

// Config is what the relay can bear.
type Config struct {
	Kind       Kind
	LeastOnS   float64 // s; a contactor stays closed at least this long
	LeastOffS  float64 // s; and open at least this long
	CyclesPerH float64 // most closures an hour; 0 = no limit
}

// DefaultConfig is a careful choice for the kind: a tick for a solid-state
// relay; 10 s and 85 cycles an hour for a contactor.
func DefaultConfig(k Kind) Config {
	if k == Contactor {
		return Config{Kind: Contactor, LeastOnS: 10, LeastOffS: 10, CyclesPerH: 85}
	}
	return Config{Kind: SolidState}
}

// Check reports the first setting that cannot be right.
func (c Config) Check() error {
	for _, v := range []struct {
		name string
		v    float64
		hi   float64
	}{{"least on time", c.LeastOnS, 600}, {"least off time", c.LeastOffS, 600}, {"cycles per hour", c.CyclesPerH, 3600}} {
		if !(v.v >= 0 && v.v <= v.hi) {
			return fmt.Errorf("relay: %s is %g; it must be from 0 to %g", v.name, v.v, v.hi)
		}
	}
	return nil
}

// State is the relay as commanded. The zero value is open, long since.
type State struct {
	On     bool
	SinceS float64 // s since the last change
	OwedS  float64 // on-time asked for and not yet given, s; negative = given too much
	Cycles uint64  // closures so far
	Aged   bool    // SinceS is known; false: treat the relay as open long enough
}

// Resumed is the state after a restart: open, and only just, because nobody
// knows when it really opened.
func Resumed(s State) State { return State{Cycles: s.Cycles, Aged: true} }

// swing is the on-time that may be owed either way before the relay moves, s.
// A relay that moves at ±swing cycles every 2·swing/(u(1−u)) seconds at duty u;
// the shortest period allowed is the longest of the cycle limit and of the
// least times over their shares of it.
func (c Config) swing(duty, dtS float64) float64 {
	if c.Kind == SolidState {
		return math.Max(math.Max(c.LeastOnS, c.LeastOffS), dtS) / 2
	}
	duty = clamp(duty, 0.01, 0.99)
	period := math.Max(c.LeastOnS/duty, c.LeastOffS/(1-duty))
	if c.CyclesPerH > 0 {
		period = math.Max(period, 3600/c.CyclesPerH)
	}
	return math.Max(period*duty*(1-duty)/2, dtS/2)
}

// most is the on-time that may be owed before the rest is forgotten, s: enough
// for every swing, so that nothing is forgotten while the duty can be met.
func (c Config) most(dtS float64) float64 {
	return 2*math.Max(c.swing(0.5, dtS), math.Max(c.LeastOnS, c.LeastOffS)) + 2*dtS
}

// Update is the relay for the coming tick of dtS seconds. A duty that is not a
// number counts as 0.
func Update(c Config, s State, duty, dtS float64) State {
	if !(duty > 0) {
		duty = 0
	}
	duty = math.Min(duty, 1)
	s.SinceS += dtS
	swing := c.swing(duty, dtS)
	s.OwedS = clamp(s.OwedS+duty*dtS, -c.most(dtS), c.most(dtS))
	on := s.On
	switch {
	case c.Kind == SolidState && c.LeastOnS == 0 && c.LeastOffS == 0:
		on = s.OwedS >= swing
	case s.On && s.OwedS <= -swing, s.On && duty == 0 && s.OwedS <= 0:
		on = s.SinceS < c.LeastOnS
	case !s.On && s.OwedS >= swing, !s.On && duty == 1:
		on = !(s.Aged && s.SinceS < c.LeastOffS)
	}
	s = set(s, on)
	if s.On {
		s.OwedS -= dtS
	}
	return s
}

// Open opens the relay at once, whatever its least times: safety first, wear
// second. What was owed is forgotten.
func Open(s State, dtS float64) State {
	s.SinceS += dtS
	s = set(s, false)
	s.OwedS = 0
	return s
}

func set(s State, on bool) State {
	if on == s.On {
		return s
	}
	if on {
		s.Cycles++
	}
	s.On, s.SinceS, s.Aged = on, 0, true
	return s
}

func clamp(v, lo, hi float64) float64 { return math.Min(math.Max(v, lo), hi) }

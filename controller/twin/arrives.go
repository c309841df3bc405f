package twin

import "math"

// Arrives is how much of the heat that is given arrives, as a share of what the
// kiln file says. It is learned from the windows: slowly enough that a relay
// which does not close is found before it is taken for weak elements.
type Arrives struct {
	Share   float64 // lately, 0.3..1.15
	SureS   float64 // time over which it was as it should be, s
	LowS    float64 // time since it fell, s
	Never   bool    // a lack that was explained went on growing: no more of that
	BeforeC float64 // Open less Closed when it fell, °C
	Trail   [trailLen]float64
	TrailN  int
	TrailS  float64 // since the last was taken, s
}

const (
	learnPart   = 0.3 // of what a window says
	leastGivenC = 2.0 // °C; a window with less of it says nothing
	leastShare  = 0.3
	mostShare   = 1.15 // a pattern that burns is not a stronger element
	low         = 0.9  // of what is usual
	sure        = 0.95
	back        = 1.08
	sureS       = 3600
	// An element that dies and a mains that sags do so at once and stay as they
	// are; a probe that drifts goes on. What was learned follows within 300 s;
	// from then on for settleS it must stay within steady.
	settleS  = 600
	knownS   = 300 + settleS
	steady   = 0.06
	trailS   = 60
	trailLen = settleS/trailS + 1
	// wrongS is how long it may take, s.
	wrongS = 1300
)

// learn takes in a window.
func (s *State) learn(w Window) {
	if s.LossS > 0 || w.GivenC < leastGivenC {
		return
	}
	a := &s.Arrives
	saw := a.Share * (1 - math.Min(math.Max(w.MissingShare(), -1), 1))
	a.Share = math.Min(math.Max(a.Share+learnPart*(saw-a.Share), leastShare), mostShare)
}

// settle lets time pass over what was learned, and takes a lack that came at
// once, and stays, for weaker elements. A lack that was there from the beginning
// is not explained away, and one that goes on growing is none of that kind
// after all.
func (s *State) settle(dtS float64) {
	a := &s.Arrives
	if a.TrailS += dtS; a.TrailS >= trailS {
		a.TrailS -= trailS
		a.Trail[a.TrailN%trailLen] = a.Share
		a.TrailN++
	}
	share := a.Share / s.Power
	if share < low {
		a.LowS += dtS
	} else {
		if a.LowS = math.Max(a.LowS-2*dtS, 0); a.LowS == 0 {
			a.BeforeC = s.Open.JunctionC() - s.Closed.JunctionC()
		}
		if share >= sure {
			a.SureS += dtS
		}
	}
	switch {
	case s.Power < 1 && (share > back || a.LowS >= knownS):
		a.Never = a.Never || share <= back
		s.Power, s.Weak = 1, nil
	case s.Power < 1 || a.Never || a.SureS < sureS || a.LowS < knownS || a.TrailN < trailLen:
	default:
		if was := a.Trail[a.TrailN%trailLen]; math.Abs(a.Share-was) <= steady*was {
			s.Power, a.LowS = a.Share, 0
			s.Weak = s.Open.shifted(a.BeforeC - s.Open.JunctionC() + s.Closed.JunctionC())
		}
	}
}

// MayBeC is what the chamber would be if the probe lied, °C: Open, or with less
// where the elements are known to have become weaker. NaN when nothing is known.
func (s State) MayBeC() float64 {
	if len(s.Weak) > 0 {
		return s.Weak.JunctionC()
	}
	return s.Open.JunctionC()
}

// LowFor is how long less heat has arrived than the kiln file says, by more than
// doubt, a share, without an explanation, s; 0 while there may be one.
//
// A load that has never let heat arrive as it should may be wet to its core;
// that is over when the chamber has long been at dryC.
func (s State) LowFor(doubt float64) float64 {
	const dryC = 600
	if s.Arrives.SureS < sureS && s.Closed.JunctionC() < dryC {
		return 0
	}
	if s.Power <= 0 || s.Arrives.LowS < wrongS || s.Arrives.Share/s.Power > 1-doubt {
		return 0
	}
	return s.Arrives.LowS
}

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
	Least   float64 // the least that a window saw while it fell
	Trail   [trailLen]float64
	TrailN  int
	TrailS  float64 // since the last was taken, s
	Heard   bool    // a window has spoken since
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
	// are; a probe that drifts goes on. What was learned follows within onsetS;
	// from then on for settleS it must stay within steady. A probe that slips
	// reads less at once, and more falls away then than stays away: by stepPart.
	onsetS  = 300
	settleS = 5400
	steady  = 0.06
	// Less than leastWeak is no weak element.
	leastWeak = 0.45
	stepPart  = 0.3
	trailS    = 540
	trailLen  = settleS/trailS + 1
	// A lack that was explained and goes on growing for growsS is none.
	growsS = 900
)

// learn takes in a window.
func (s *State) learn(w Window) {
	if s.LossS > 0 || w.GivenC < leastGivenC {
		return
	}
	a := &s.Arrives
	a.Heard = true
	saw := a.Share * (1 - math.Min(math.Max(w.MissingShare(), -1), 1))
	a.Share = math.Min(math.Max(a.Share+learnPart*(saw-a.Share), leastShare), mostShare)
	if a.LowS < onsetS {
		a.Least = math.Min(a.Least, saw)
	}
}

// settle lets time pass over what was learned, and takes a lack that came at
// once, and stays, for weaker elements. A lack that was there from the beginning
// is not explained away, and one that goes on growing is none of that kind
// after all.
//
// While heat is given as the reading asks for it, a probe that drifts looks like
// weaker elements. When it is limited the one goes on falling, and the other
// does not: so only then is anything explained.
func (s *State) settle(dtS float64, limited bool) {
	a := &s.Arrives
	if a.TrailS += dtS; a.TrailS >= trailS {
		a.TrailS -= trailS
		if !a.Heard || !limited {
			a.TrailN = 0 // what nobody looks at is not steady
		}
		a.Trail[a.TrailN%trailLen] = a.Share
		a.TrailN++
		a.Heard = false
	}
	share := a.Share / s.Power
	if share < low {
		a.LowS += dtS
	} else {
		if a.LowS = math.Max(a.LowS-2*dtS, 0); a.LowS == 0 {
			a.BeforeC, a.Least = s.Open.JunctionC()-s.Closed.JunctionC(), share
		}
		if share >= sure {
			a.SureS += dtS
		}
	}
	switch {
	case s.Power < 1 && share > back:
		s.Open, s.Weak, s.Power = s.Weak, nil, 1 // it was one: Weak knows how hot it is
	case s.Power < 1 && a.LowS >= growsS:
		a.Never = true
		s.Weak, s.Power = nil, 1
	case s.Power < 1 || a.Never || a.Share < leastWeak || a.SureS < sureS || a.LowS < onsetS+settleS || a.Least < a.Share-stepPart:
	case a.isSteady():
		byC := a.BeforeC - s.Open.JunctionC() + s.Closed.JunctionC()
		s.Power, a.LowS = a.Share, 0
		s.Weak, s.Cold = s.Open.shifted(byC), s.Cold.shifted(byC)
	}
}

// isSteady reports whether what arrived in the later half of settleS is what
// arrived in the earlier one.
func (a *Arrives) isSteady() bool {
	const half = trailLen / 2
	if a.TrailN < trailLen {
		return false
	}
	var was, is float64
	for i := range half {
		was += a.Trail[(a.TrailN+i)%trailLen]
		is += a.Trail[(a.TrailN+trailLen-1-i)%trailLen]
	}
	return math.Abs(is-was) <= steady*was
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
// that is over when the chamber, by the heat it was given, is at dryC.
func (s State) LowFor(doubt float64) float64 {
	const dryC = 600
	if s.Arrives.SureS < sureS && s.MayBeC() < dryC {
		return 0
	}
	if s.Power <= 0 || s.Arrives.LowS < onsetS || s.Arrives.Share/s.Power > 1-doubt {
		return 0
	}
	return s.Arrives.LowS
}

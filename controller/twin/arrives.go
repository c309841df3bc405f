package twin

import "math"

// What the elements give is learned from the windows: slowly enough that a relay
// which does not close is found before it is taken for weak elements.
const (
	learnPart   = 0.15 // of what a window says
	leastGivenC = 2.0  // °C; a window with less of it says nothing
	leastArrive = 0.3
	mostArrive  = 1.15 // a pattern that burns is not a stronger element
	slowlyS     = 7200
	settledS    = 1800 // before this the slow mean is not yet one
)

// learn takes from a window how much of the heat that is given arrives, as a
// share of what the kiln file says.
func (s *State) learn(w Window) {
	if s.LossS > 0 || w.GivenC < leastGivenC {
		return
	}
	saw := s.Arrives * (1 - math.Min(math.Max(w.MissingShare(), -1), 1))
	s.Arrives = math.Min(math.Max(s.Arrives+learnPart*(saw-s.Arrives), leastArrive), mostArrive)
	if s.LearnedS += w.S; s.LearnedS < settledS {
		s.Slowly += (s.Arrives - s.Slowly) * w.S / s.LearnedS
		return
	}
	s.Slowly += (s.Arrives - s.Slowly) * (1 - math.Exp(-w.S/slowlyS))
}

package twin

import "math"

// Window is a stretch of time over which the reading is held against the
// bodies: Plus and Zero are the kiln as it was when the window began, with full
// power on top since and with none.
//
// Two windows overlap, so that whatever happens is inside one of them from its
// beginning: the older one lives until the younger has matured. The older one
// is what the guards look at.
type Window struct {
	Plus, Zero Body
	S          float64 // since it began, s
	FromC      float64 // reading less Closed when it began, °C
	OffC       float64 // reading less Closed now, °C
	SeenC      float64 // how far the reading left Closed in it, °C
	FullC      float64 // how far full power on top would have made it leave, °C
	GivenC     float64 // how much of Closed's rise the heat given in it made, °C
	AsGivenC   float64 // GivenC when all of it was last seen to have come, °C
	N          int     // blocks in it
}

const (
	// A window has matured when full power would have shown by matureC, °C, and
	// after leastS: a hundred times what is left of the noise of a chip after
	// ten readings. When nothing is wrong, half an hour matures it anyway.
	matureC = 8.0
	leastS  = 30
	longS   = 1800
	// mostS is how long a window goes on in which something seems wrong, s.
	mostS = 150
	// follow is the share of what is left by which Closed is moved when a
	// window ends, and beyond farC, °C, it is all of it.
	follow = 0.5
	farC   = 25
)

// SurplusShare is how much of the heat that a relay which never opens would
// have brought on top of what was given, came: 0 for a healthy kiln, 1 for a
// welded relay.
func (w Window) SurplusShare() float64 {
	if !(w.FullC-w.GivenC > 0) {
		return 0
	}
	return w.SeenC / (w.FullC - w.GivenC)
}

// MissingShare is how much of the heat that was given did not come: 0 for a
// healthy kiln, 1 without any heat, more where heat is lost besides.
func (w Window) MissingShare() float64 {
	if !(w.GivenC > 0) {
		return 0
	}
	return -w.SeenC / w.GivenC
}

// suspect reports whether a window should go on until it is sure.
func (w Window) suspect() bool {
	const leastC, part = 2, 0.6
	return w.SurplusShare() >= part && w.FullC-w.GivenC >= leastC || w.MissingShare() >= part && w.GivenC >= leastC
}

// lacks reports whether heat that was given seems not to have come. It may only
// be late, behind a thicker probe than the file says.
func (w Window) lacks() bool {
	const leastC, part = 2, 0.2
	return w.SeenC <= -leastC && w.MissingShare() >= part
}

func (w Window) mature() bool { return w.FullC >= matureC && w.S >= leastS || w.S >= longS }

// anew is a window that begins with a kiln of which the reading is off by so
// much.
func anew(b Body, offC float64) Window {
	return Window{Plus: b, Zero: b, FromC: offC, OffC: offC, N: 1}
}

// junctions are those of the bodies that a window compares, °C.
type junctions struct{ closedC, plusC, zeroC float64 }

func (w Window) at(closed Body) junctions {
	return junctions{closed.JunctionC(), w.Plus.JunctionC(), w.Zero.JunctionC()}
}

// take takes in the mean reading of a block, °C, against the mean of the bodies
// over it.
func (w Window) take(dtS, readC float64, a, b junctions) Window {
	offC := readC - (a.closedC+b.closedC)/2
	w.S += dtS
	w.N++
	meanC := (offC + w.OffC) / 2 // less noise
	if w.N == 2 {
		w.FromC = meanC
	}
	w.OffC = offC
	w.SeenC = meanC - w.FromC
	w.FullC = (a.plusC + b.plusC - a.closedC - b.closedC) / 2
	w.GivenC = (a.closedC + b.closedC - a.zeroC - b.zeroC) / 2
	const fewC = 0.5
	if w.SeenC > -fewC {
		w.AsGivenC = w.GivenC
	}
	return w
}

// moved is the window after Closed was moved by so much.
func (w Window) moved(byC float64) Window {
	w.Plus, w.Zero = w.Plus.shifted(byC), w.Zero.shifted(byC)
	w.FromC -= byC
	w.OffC -= byC
	return w
}

// losses looks for heat that is lost. LossS speaks of a loss that only an open
// door makes: the reading is below that of a kiln to which no heat has come
// since all was as it should be. LackS speaks of any lack. For a while after it
// walls and elements give heat back, and a surplus says nothing.
//
// Where a switch says that the door is shut there is none to blame.
func (s *State) losses(dtS float64, open, shut bool) {
	const leastC, doorPart, lastsS = 2.5, 0.1, 600
	w := s.Older
	if s.LossS > 0 {
		s.LostS += dtS
	} else {
		s.LostS = math.Max(s.LostS-dtS/2, 0)
	}
	if beyondC := -w.SeenC - (w.GivenC - w.AsGivenC); open || !shut && beyondC > leastC && beyondC > doorPart*w.FullC {
		s.LossS = lastsS
	}
	if w.lacks() || open { // how far it is open, no switch says
		s.LackS = lastsS
	}
}

// turn ends the older window when the younger has matured, and moves Closed to
// what was read. A lack of heat in it is taken out of Closed, and a surplus to
// the end put in, so that the bodies are hot in the right places; the rest
// moves the whole.
func (s State) turn() State {
	w := s.Older
	wrong := w.suspect()
	if wrong && w.S < mostS || !wrong && !s.Younger.mature() {
		return s
	}
	s.learn(w)
	left, was := w.OffC, s.Closed
	switch {
	case w.lacks():
		share := math.Min(w.MissingShare(), 1)
		s.Closed = s.Closed.towards(w.Zero, share)
		left += share * w.GivenC
	case wrong:
		share := w.SeenC / w.FullC
		s.Closed = s.Closed.towards(w.Plus, share)
		left -= share * w.FullC
	default:
		by := move(left)
		s.Closed = s.Closed.shifted(by)
		s.Older, s.Younger = s.Younger.moved(by), anew(s.Closed, left-by)
		s.Ended++
		return s.shareLoss(was)
	}
	by := move(left)
	s.Closed = s.Closed.shifted(by)
	s.Ended++
	return s.shareLoss(was).afresh(left - by)
}

// shareLoss lets Open and Cold lose what Closed has lost through a door that
// stood open: it is the same door. Nobody leaves one open for longer than doorS:
// then a probe lies, and they do not follow it.
func (s State) shareLoss(was Body) State {
	const doorS = 1200
	if s.LossS > 0 && s.LostS <= doorS {
		s.Open, s.Cold = s.Open.changed(was, s.Closed), s.Cold.changed(was, s.Closed)
		if len(s.Weak) > 0 {
			s.Weak = s.Weak.changed(was, s.Closed)
		}
	}
	return s
}

// move is how far Closed is moved when it is off by so much.
func move(offC float64) float64 {
	if math.Abs(offC) > farC {
		return offC
	}
	return follow * offC
}

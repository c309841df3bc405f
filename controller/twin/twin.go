// Package twin runs the kiln of the kiln file beside a firing: the same relay,
// the same door of time, but heat that is computed. What the thermocouple shows
// and the twin does not, or the other way about, is what the guards look at. It
// judges nothing: it gives figures. Pure.
//
// The twin is asked two questions, by bodies that run side by side.
//
// Is the heat that was commanded the heat that came, this very minute? Closed
// follows the readings: at the end of every window it is moved to what was
// read. Plus had full power on top of it since the window began, and Zero no
// heat at all. So a reading that leaves Closed towards Plus is heat that nobody
// commanded (a welded relay), one that goes with Zero is heat that did not come
// (a relay, a fuse, an element), and one below Zero is a loss (a door). The
// windows are as long as this kiln needs, as hot as it is, to answer full power
// by a few degrees: a minute or less when hot, some minutes when cold.
//
// How hot would the chamber be if the probe lied? Open gets the heat that was
// given and hears no reading. Cold is the same with everything in doubt at its
// coldest: less heat, more load, and wet. A reading below Cold cannot be true
// of the kiln in the file.
package twin

import (
	"math"
	"sync"

	"calx/sim/kiln"
)

// Twin is one kiln file, ready to run. It holds no state and may be shared.
type Twin struct {
	benches sync.Pool // of *bench: only to make none anew at every step
	params  kiln.Params
	bodyLen int
	waterJ  float64 // that Cold begins with
	roomC   float64
}

// bench is the two kilns in which bodies are stepped. Every step begins by
// putting a body in, so nothing is left of the one before.
type bench struct{ dry, wet *kiln.Kiln }

// What stands in the kiln is not known. Cold takes nearly half as much again as
// the file says, and as much water in it as moulds of gypsum-bonded investment
// hold after pouring: some 0.2 kg in a kilogram of load, free and bound, at 2.6
// MJ a kilogram with what binds it (common practice, no source; the heat of
// evaporation alone is 2.257 MJ/kg at 100 °C, IAPWS).
const (
	moreLoad    = 1.45
	waterShare  = 0.2
	waterJPerKg = 2.6e6
	boilsC      = 100.0
	// boilWPerK is how fast the water takes heat, W for every K above its
	// boiling point and every kg of load: an hour or two until it is gone.
	boilWPerK = 2.0
)

// New prepares the twin of p, in a room that is taken to be at roomC, °C, where
// no cold junction says otherwise.
func New(p kiln.Params, roomC float64) *Twin {
	more := p
	more.Load.Mass *= moreLoad
	t := &Twin{params: p, roomC: roomC, waterJ: waterShare * waterJPerKg * float64(more.Load.Mass)}
	dry, wet := kiln.New(p, roomC), kiln.New(more, roomC)
	t.benches.New = func() any { return &bench{dry.Clone(), wet.Clone()} }
	t.bodyLen = len(bodyOf(dry.State()))
	return t
}

// Tick is what happened since the last one.
type Tick struct {
	DtS      float64 // s, >= 0
	OnS      float64 // of which the heat relay was commanded on, s
	ChamberC float64 // reading, °C; NaN when it is not believed
	ColdC    float64 // cold junction, °C; NaN when there is none
	Air      bool    // the fresh-air relay was on
	Open     bool    // the switch at the door says that it is open
	Shut     bool    // and here that it is shut
	Limited  bool    // heat is limited to what is safe if the reading is too low
	Doubt    float64 // of the heat that the file says a firing needs, as a share, 0..0.6
}

// State is what a twin remembers: plain data. The zero value knows nothing.
type State struct {
	Closed, Open, Cold Body
	Weak               Body    // Open with weaker elements; nil where they are not
	WaterJ             float64 // left in Cold
	RoomC              float64
	ForS               float64 // since it began, s
	Block              Block   // being gathered
	Older, Younger     Window
	Ended              int     // windows that have ended
	LossS              float64 // time left in which an open door still speaks, s
	LostS              float64 // time in which one did, s
	LackS              float64 // time left in which any lack of heat does, s
	Arrives            Arrives
	Power              float64 // share of the heat given that Weak and Cold get
}

// Block gathers a few ticks for one step of the bodies.
type Block struct {
	S, OnS float64
	Sum, N float64 // of readings, °C
}

const (
	blockS = 5    // step of the bodies, s
	gapS   = 12   // a tick longer than this was nobody's, s: the heat was off
	gapAtS = 30   // step through a gap, s
	farS   = 2e5  // the longest gap that is computed, s: two days; then all is cold
	warmC  = 40.0 // above the room, °C: a kiln that starts so warm was fired before
)

func (t *Twin) knows(s State) bool {
	weak := s.Weak
	if len(weak) == 0 {
		weak = s.Open
	}
	for _, b := range []Body{weak, s.Closed, s.Open, s.Cold, s.Older.Plus, s.Older.Zero, s.Younger.Plus, s.Younger.Zero} {
		if len(b) != t.bodyLen {
			return false
		}
		for _, c := range b {
			if !(c > -100 && c < 3000) {
				return false
			}
		}
	}
	return true
}

// After carries the twin on by one tick. The state handed in stays as it was.
func (t *Twin) After(s State, k Tick) State {
	if len(s.Open) != t.bodyLen {
		if math.IsNaN(k.ChamberC) {
			return s
		}
		return t.start(k)
	}
	if k.DtS > gapS {
		return t.gap(s, k)
	}
	s.Block.S += k.DtS
	s.Block.OnS += math.Min(k.OnS, k.DtS)
	if !math.IsNaN(k.ChamberC) {
		s.Block.Sum += k.ChamberC
		s.Block.N++
	}
	if s.Block.S < blockS {
		return s
	}
	b := s.Block
	s.Block = Block{}
	older, younger := s.Older.at(s.Closed), s.Younger.at(s.Closed)
	s = t.advance(s, b.S, b.OnS/b.S, k)
	if !t.knows(s) {
		return State{} // a state that was not ours to begin with
	}
	if b.N == 0 {
		return s.afresh(s.Older.OffC)
	}
	readC := b.Sum / b.N
	s.Older = s.Older.take(b.S, readC, older, s.Older.at(s.Closed))
	s.Younger = s.Younger.take(b.S, readC, younger, s.Younger.at(s.Closed))
	s.losses(b.S, k.Open, k.Shut)
	s.settle(b.S, k.Limited)
	return s.turn()
}

// start begins at the first reading. A cold kiln is taken to be soaked at it.
// Of a warm one nobody knows how it got there: Open and Closed take the wall as
// after a long hold, Cold as if heat had just come in.
func (t *Twin) start(k Tick) State {
	s := State{RoomC: t.roomC, WaterJ: t.waterJ, Arrives: Arrives{Share: 1}, Power: 1}
	if k.ColdC > -20 && k.ColdC < 45 {
		s.RoomC = k.ColdC
	}
	c := math.Min(math.Max(k.ChamberC, -50), t.params.MaxC())
	soaked, cold := kiln.New(t.params, c).State(), kiln.New(t.params, c).State()
	if c > s.RoomC+warmC {
		soaked = t.params.Balance(c, s.RoomC).State
		for i := range cold.WallC {
			cold.WallC[i] = s.RoomC
		}
		cold.ShellC = s.RoomC
	}
	b := bodyOf(soaked)
	s.Closed, s.Open, s.Cold = b, b, bodyOf(cold)
	return s.afresh(0)
}

// afresh begins both windows anew: what was read before is not compared with
// what comes after.
func (s State) afresh(offC float64) State {
	s.Older, s.Younger = anew(s.Closed, offC), anew(s.Closed, offC)
	return s
}

// gap lets everything cool for as long as nobody looked, and then believes the
// reading again.
func (t *Twin) gap(s State, k Tick) State {
	s.Block = Block{}
	onS := math.Min(k.OnS, k.DtS)
	for left := math.Min(k.DtS, farS); left > 0; left -= gapAtS {
		step := math.Min(left, gapAtS)
		on := math.Min(onS, step)
		onS -= on
		s = t.advance(s, step, on/step, k)
	}
	if !t.knows(s) {
		return State{}
	}
	if !math.IsNaN(k.ChamberC) {
		s.Closed = s.Closed.shifted(k.ChamberC - s.Closed.JunctionC())
	}
	return s.afresh(0)
}

// advance steps the bodies by dtS with the relay on for a share of it.
func (t *Twin) advance(s State, dtS, on float64, k Tick) State {
	w := t.benches.Get().(*bench)
	defer t.benches.Put(w)
	dry := w.dry
	door := 0.0
	if k.Open {
		door = 1
	}
	step := func(by *kiln.Kiln, b Body, share, loadW float64) Body {
		if by.Restore(b.state(s.RoomC)) != nil {
			return nil
		}
		by.Step(dtS, kiln.Input{On: 1, MainsRatio: math.Sqrt(math.Max(share, 0)), AirOn: k.Air, DoorOpen: door, AmbientC: s.RoomC, LoadHeatW: loadW})
		after := make(Body, t.bodyLen)
		after.fill(by.StateIn(after[wallAt:]))
		return after
	}
	s.Closed = step(dry, s.Closed, on*s.Arrives.Share, 0)
	for _, each := range []*Window{&s.Older, &s.Younger} {
		each.Plus = step(dry, each.Plus, (on+1)*s.Arrives.Share, 0)
		each.Zero = step(dry, each.Zero, 0, 0)
	}
	s.Open = step(dry, s.Open, on, 0)
	if len(s.Weak) > 0 {
		s.Weak = step(dry, s.Weak, on*s.Power, 0)
	}
	boilW := 0.0
	if above := s.Cold[loadAt] - boilsC; above > 0 && s.WaterJ > 0 {
		boilW = math.Min(boilWPerK*float64(t.params.Load.Mass)*moreLoad*above, s.WaterJ/dtS)
		s.WaterJ -= boilW * dtS
	}
	s.Cold = step(w.wet, s.Cold, on*s.Power*(1-k.Doubt), -boilW)
	s.ForS += dtS
	s.LossS, s.LackS = math.Max(s.LossS-dtS, 0), math.Max(s.LackS-dtS, 0)
	return s
}

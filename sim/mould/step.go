package mould

import "math"

// Steps of the internal clock, s.
const (
	observerS = 20.0 // what Step waits for
	pieceS    = 30.0 // most for a piece within a step of heat
	shortestS = 5.0
	mostGapS  = 7 * 24 * 3600.0
	longestS  = 400.0
)

// Step takes one sample: the chamber was on a straight line from the last
// sample to chamberC in °C during dtS seconds, the air relay on or off. Samples
// are gathered until the internal step, 20 s, is due; State.TimeS tells how far
// the heat is. A chamberC that is no number is taken as no change. Apart from
// the first call, nothing is allocated. A gap of more than a week counts as one.
func (m *Model) Step(s *State, dtS, chamberC float64, airOn bool) {
	if !(dtS > 0) || math.IsInf(dtS, 0) {
		return
	}
	dtS = min(dtS, mostGapS)
	if math.IsNaN(chamberC) || math.IsInf(chamberC, 0) {
		chamberC = s.ChamberC
	}
	for dtS > 0 {
		part := math.Min(dtS, observerS-s.WaitingS)
		next := s.ChamberC + (chamberC-s.ChamberC)*part/dtS
		s.WaitingS += part
		s.WaitingCS += (s.ChamberC + next) / 2 * part
		if airOn {
			s.WaitingOn += part
		}
		s.ChamberC = next
		if dtS -= part; s.WaitingS >= observerS {
			m.flush(s)
		}
	}
}

// flush moves everything on by the samples that wait.
func (m *Model) flush(s *State) {
	if s.WaitingS <= 0 {
		return
	}
	dt := s.WaitingS
	meanC, on := s.WaitingCS/dt, s.WaitingOn/dt
	s.WaitingS, s.WaitingCS, s.WaitingOn = 0, 0, 0
	m.move(s, dt, meanC, on)
}

// move advances heat, pieces and gas by dt with the mean chamber temperature
// and the share of the time with the air relay on. It returns the largest
// change of temperature in a cell and the most turns a curve took.
func (m *Model) move(s *State, dt, meanC, on float64) (moveK float64, turns int) {
	for i := range m.flasks {
		f, fs := &m.flasks[i], &s.Flasks[i]
		w := f.attached(fs)
		for n := range f.pieces {
			w.pieceFrom[n] = f.body.at(f.curveOf(fs), f.pieces[n].cells, fs, w)
		}
		k, t := f.body.advance(f.curveOf(fs), fs, w, dt, meanC, &f.body.film, f.body.base)
		moveK, turns = max(moveK, k), max(turns, t)
		for n := range f.pieces {
			w.pieceTo[n] = f.body.at(f.curveOf(fs), f.pieces[n].cells, fs, w)
		}
		f.book(s.TimeS+dt, dt, meanC, fs, w)
	}
	m.breatheAll(s, dt, meanC, on)
	return moveK, turns
}

// breatheAll moves pieces, gas and the clock on by dt, in short steps.
func (m *Model) breatheAll(s *State, dt, meanC, on float64) {
	parts := math.Ceil(dt/pieceS - 1e-9)
	fromS := s.TimeS
	for n := range int(parts) {
		m.breathe(s, dt/parts, (float64(n)+0.5)/parts, meanC, on)
		s.TimeS = fromS + dt*float64(n+1)/parts
	}
}

// spot is what a piece feels.
type spot struct{ tC, saturation float64 }

// at is the mean over the cells of a piece.
func (b *body) at(c *curve, cells []share, f *FlaskState, w *work) spot {
	var out spot
	for _, e := range cells {
		out.tC += e.weight * w.tC[e.cell]
		out.saturation += e.weight * c.freeShare(f.Highest[e.cell], &w.places[e.cell])
	}
	out.saturation *= c.saturation
	return out
}

// breathe moves the pieces and the kiln's oxygen on by dt; way is how far
// between the two spots of each piece.
func (m *Model) breathe(s *State, dt, way, chamberC, on float64) {
	demand := 0.0 // mol/s of all moulds
	for i := range m.flasks {
		f, fs := &m.flasks[i], &s.Flasks[i]
		for n := range f.pieces {
			e, p := &f.pieces[n], &fs.Pieces[n]
			from, to := fs.work.pieceFrom[n], fs.work.pieceTo[n]
			tC := from.tC + (to.tC-from.tC)*way
			before := e.remaining(p)
			took := e.step(p, dt, tC+zeroK, s.Oxygen, from.saturation+(to.saturation-from.saturation)*way)
			volatiles := took.volatilesKg * e.perVolKg * s.Oxygen / (s.Oxygen + sootX)
			demand += f.count * e.count * (volatiles + took.oxygenMol) / dt
			e.note(p, s.TimeS, dt, tC, before)
		}
	}
	s.SmokeMol += m.env.Air.breathe(&s.Oxygen, dt, chamberC, on, demand)
	s.LeastO2 = min(s.LeastO2, s.Oxygen)
}

// sootX is the mole fraction at which half the volatiles still burn.
const sootX = 0.005

// breathe is a stirred tank: room air comes in, as much gas goes out, demand in
// mol/s is taken. Exact for a step. It returns the oxygen that was wanted and
// not there, mol.
func (a KilnAir) breathe(x *float64, dt, chamberC, on, demand float64) (missing float64) {
	held := pressurePa * a.VolumeM3 / (gasR * (chamberC + zeroK))
	changes := a.ChangesPerH + (a.ChangesOnPerH-a.ChangesPerH)*on
	in := changes * a.VolumeM3 / 3600 * pressurePa / (gasR * (a.RoomC + zeroK))
	if in <= 0 {
		*x -= demand * dt / held
	} else {
		aim := roomOxygen - demand/in
		*x = aim + (*x-aim)*math.Exp(-in*dt/held)
	}
	if *x < 0 {
		missing = -*x * held
		*x = 0
	}
	return missing
}

// clearShare of its char, or volatiles if it has none, is left in a piece that
// counts as clear.
const clearShare = 0.005

// remaining is the share of what has to burn that is left: of the char, formed
// and to come; of the volatiles for a piece that leaves next to none; 0 of one
// that is nothing but ash.
func (e *piece) remaining(s *PieceState) float64 {
	if e.charKg > littleChar*e.dryKg {
		return (s.CharKg + s.UnformedKg) / e.charKg
	}
	return part(s.volatiles(), e.volumeKg)
}

const littleChar = 0.02

// note books when a piece became clear, and how hot it was before.
func (e *piece) note(s *PieceState, timeS, dt, tC, before float64) {
	s.HighC = max(s.HighC, tC)
	if s.ClearS >= 0 {
		return
	}
	s.CarbonC = max(s.CarbonC, tC)
	if after := e.remaining(s); after < clearShare {
		part := 1.0
		if before > after {
			part = max(0, min((before-clearShare)/(before-after), 1))
		}
		s.ClearS = timeS + part*dt
	}
}

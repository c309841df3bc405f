package mould

import "math"

// History tells the chamber at tS seconds of the state's clock: its
// temperature in °C, and whether the air relay is on.
type History func(tS float64) (chamberC float64, airOn bool)

// Steps of a forecast, s: shorter where something happens.
const (
	boilingS = 90.0
	aimK     = 10.0 // change of the fastest cell in a step
)

// pace chooses the steps of a forecast.
type pace struct{ nextS float64 }

// after sets the next step by what the last, of dt, changed.
func (p *pace) after(s *State, dt, moveK float64) {
	most := longestS
	for i := range s.Flasks {
		if left := s.Flasks[i].FreeLeft; left > 0 && left < 1-least {
			most = boilingS
		}
	}
	grow := 2.0
	if moveK*grow > aimK {
		grow = max(0.3, aimK/moveK)
	}
	p.nextS = max(shortestS, min(most, dt*grow))
}

// Forecast runs a copy of s on along history for horizonS seconds and calls fn
// about every stepS with the time and the reading, which is valid during the
// call; fn ends the forecast by returning false. Samples of s that still wait
// are used first. A chamber that is no number stays as it was. The state at the
// end is returned.
func (m *Model) Forecast(s State, history History, horizonS, stepS float64, fn func(tS float64, r *Reading) bool) State {
	s = s.Clone()
	m.flush(&s)
	stepS = max(stepS, shortestS)
	var r Reading
	end := s.TimeS + horizonS
	due := s.TimeS + stepS
	m.run(&s, history, end, func(*State) float64 { return due }, func(s *State) bool {
		if s.TimeS < due-1e-6 && s.TimeS < end-1e-6 {
			return true
		}
		due = s.TimeS + stepS
		m.ReadInto(s, &r)
		return fn(s.TimeS, &r)
	})
	return s
}

// run moves s on to endS with steps of its own choice that stop at stop.
func (m *Model) run(s *State, history History, endS float64, stop func(*State) float64, each func(*State) bool) {
	p := pace{nextS: observerS}
	for s.TimeS < endS-1e-6 {
		to := min(endS, stop(s))
		dt := min(p.nextS, to-s.TimeS)
		if rest := to - s.TimeS - dt; rest > 0 && rest < dt {
			dt = (to - s.TimeS) / 2 // no crumbs
		}
		meanC, on, lastC := history.over(s.TimeS, dt)
		if math.IsNaN(meanC) || math.IsInf(meanC, 0) {
			meanC, lastC = s.ChamberC, s.ChamberC
		}
		moveK, _ := m.move(s, dt, meanC, on)
		s.ChamberC = lastC
		p.after(s, max(dt, p.nextS/2), moveK)
		if !each(s) {
			return
		}
	}
}

// over is the mean chamber temperature, the share with air on and the last
// temperature of an interval, by Simpson's rule.
func (h History) over(fromS, dt float64) (meanC, on, lastC float64) {
	a, airA := h(fromS)
	b, airB := h(fromS + dt/2)
	c, airC := h(fromS + dt)
	share := func(v bool, weight float64) float64 {
		if v {
			return weight
		}
		return 0
	}
	return (a + 4*b + c) / 6, share(airA, 1.0/6) + share(airB, 4.0/6) + share(airC, 1.0/6), c
}

// Track is the course of the temperatures where the pieces are. It can be
// burnt again and again with other figures, [Model.Burn], because what the
// pieces do does not change the heat.
type Track struct {
	start  State
	steps  []trackStep
	spots  []spot // step by step, one per piece of every flask; first the start
	pieces int
}

type trackStep struct{ dt, meanC, on float64 }

// Track runs the heat of a copy of s along history for horizonS seconds.
func (m *Model) Track(s State, history History, horizonS float64) *Track {
	s = s.Clone()
	m.flush(&s)
	t := &Track{start: s.Clone()}
	for i := range m.flasks {
		t.pieces += len(m.flasks[i].pieces)
	}
	t.note(m, &s)
	fromS := s.TimeS
	m.run(&s, history, s.TimeS+horizonS, func(*State) float64 { return math.Inf(1) }, func(s *State) bool {
		meanC, on, _ := history.over(fromS, s.TimeS-fromS)
		t.steps = append(t.steps, trackStep{s.TimeS - fromS, meanC, on})
		fromS = s.TimeS
		t.note(m, s)
		return true
	})
	return t
}

func (t *Track) note(m *Model, s *State) {
	for i := range m.flasks {
		f, fs := &m.flasks[i], &s.Flasks[i]
		w := f.attached(fs)
		for n := range f.pieces {
			t.spots = append(t.spots, f.body.at(f.curveOf(fs), f.pieces[n].cells, fs, w))
		}
	}
}

// Burnt is how the pieces of a track fared.
type Burnt struct {
	// ClearS is when each piece was clear, s since Start, by flask and pattern;
	// -1 if it was not by the end.
	ClearS      [][]float64
	LastClearS  float64 // of them all; -1 if one is not clear, 0 with no pieces
	LeastOxygen float64
	SmokeMol    float64
}

// Burn runs the pieces of this model, which may be a [Model.Vary] of the
// track's, along its temperatures until all are clear. The heat of the track is
// taken as it is: for another conductivity make another track.
func (m *Model) Burn(t *Track) Burnt {
	s := t.start
	s.Flasks = make([]FlaskState, len(m.flasks))
	for i := range m.flasks {
		fs := &s.Flasks[i]
		fs.work = &work{pieceFrom: make([]spot, len(m.flasks[i].pieces)), pieceTo: make([]spot, len(m.flasks[i].pieces))}
		for n := range m.flasks[i].pieces {
			fs.Pieces = append(fs.Pieces, m.flasks[i].pieces[n].resume(&t.start.Flasks[i].Pieces[n]))
		}
	}
	for n, step := range t.steps {
		at := n * t.pieces
		for i := range s.Flasks {
			w := s.Flasks[i].work
			k := len(w.pieceFrom)
			copy(w.pieceFrom, t.spots[at:at+k])
			copy(w.pieceTo, t.spots[at+t.pieces:at+t.pieces+k])
			at += k
		}
		m.breatheAll(&s, step.dt, step.meanC, step.on)
		if s.clear() {
			break
		}
	}
	return s.burnt()
}

// resume is the piece's own start, moved to the shares of another's state.
func (e *piece) resume(from *PieceState) PieceState {
	whole := from.WaterKg + from.SteamKg + from.volatiles() + from.GasKg + from.UnformedKg + from.CharKg + from.BurntKg
	mine := e.wetKg + e.volumeKg + e.charKg
	if whole <= 0 {
		return *from
	}
	s, k := *from, mine/whole
	for _, v := range []*float64{&s.WaterKg, &s.SteamKg, &s.GasKg, &s.UnformedKg, &s.CharKg, &s.BurntKg} {
		*v *= k
	}
	for i := range s.VolatileKg {
		s.VolatileKg[i] *= k
	}
	return s
}

func (s *State) clear() bool {
	for i := range s.Flasks {
		for n := range s.Flasks[i].Pieces {
			if s.Flasks[i].Pieces[n].ClearS < 0 {
				return false
			}
		}
	}
	return true
}

func (s *State) burnt() Burnt {
	b := Burnt{LeastOxygen: s.LeastO2, SmokeMol: s.SmokeMol}
	for i := range s.Flasks {
		var list []float64
		for n := range s.Flasks[i].Pieces {
			clearS := s.Flasks[i].Pieces[n].ClearS
			list = append(list, clearS)
			b.LastClearS = max(b.LastClearS, clearS)
		}
		b.ClearS = append(b.ClearS, list)
	}
	if !s.clear() {
		b.LastClearS = -1
	}
	return b
}

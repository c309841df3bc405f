package inside

import (
	"math"
	"time"

	"calx/controller"
	"calx/profile"
	"calx/sim/mould"
)

// lookS is how often a forecast is looked at, s.
const lookS = 60

// walker carries moulds along a profile.
type walker struct {
	m       *mould.Model
	beliefs []controller.Belief // of every piece; nil while they are being made
	state   mould.State
	air     bool

	doseMin  []float64 // of every piece, equivalent minutes at 700 °C
	clearMin []float64 // the dose at which it was clear; NaN before
	share    []float64 // burnt, 0..1
	coreC    []float64 // by kind of mould
	dryS     float64   // s since the start; NaN before
	clearS   float64
	chanceS  float64 // when the chance first was what the profile asks for
	want     float64
}

func newWalker(m *mould.Model, beliefs []controller.Belief, startC, want float64) *walker {
	w := &walker{m: m, beliefs: beliefs, state: m.Start(startC), dryS: math.NaN(), clearS: math.NaN(), chanceS: math.NaN(), want: want}
	for _, p := range m.Params() {
		w.coreC = append(w.coreC, startC)
		for range p.Patterns {
			w.doseMin = append(w.doseMin, 0)
			w.clearMin = append(w.clearMin, math.NaN())
			w.share = append(w.share, 0)
		}
	}
	return w
}

// run lets time pass, with the chamber at chamberC so many seconds later, until
// it is up or until says so. It returns the time taken, s.
func (w *walker) run(forS float64, chamberC func(afterS float64) float64, until func() bool) float64 {
	if forS <= 0 {
		return 0
	}
	fromS, lastS := w.state.TimeS, w.state.TimeS
	history := func(tS float64) (float64, bool) { return chamberC(tS - fromS), w.air }
	w.state = w.m.Forecast(w.state, history, forS, lookS, func(tS float64, r *mould.Reading) bool {
		w.see(r, tS-lastS)
		lastS = tS
		return until == nil || !until()
	})
	return w.state.TimeS - fromS
}

// see takes in a reading after dtS.
func (w *walker) see(r *mould.Reading, dtS float64) {
	k, dry := 0, true
	for i, f := range r.Flasks {
		w.coreC[i] = f.CoreC
		dry = dry && f.Dry
		for _, p := range f.Pieces {
			perS := controller.Weight(p.TemperatureC, w.energy(k)) / 60
			w.doseMin[k] += perS * dtS
			w.share[k] = p.ClearFraction
			if p.ClearS >= 0 && math.IsNaN(w.clearMin[k]) {
				w.clearMin[k] = w.doseMin[k] - perS*(r.TimeS-p.ClearS)
			}
			k++
		}
	}
	first := func(at *float64, come bool) {
		if come && math.IsNaN(*at) {
			*at = r.TimeS
		}
	}
	first(&w.dryS, dry)
	first(&w.clearS, w.clear())
	first(&w.chanceS, w.beliefs != nil && w.chance() >= w.want)
}

// energy is how the dose of piece k depends on temperature, J/mol.
func (w *walker) energy(k int) float64 {
	if w.beliefs == nil {
		return physicsJPerMol
	}
	return w.beliefs[k].EnergyJPerMol
}

// clear reports whether the model has every piece clear.
func (w *walker) clear() bool {
	for _, c := range w.clearMin {
		if math.IsNaN(c) {
			return false
		}
	}
	return true
}

// chance is that of the least certain piece.
func (w *walker) chance() float64 {
	out := 1.0
	for i, b := range w.beliefs {
		out = min(out, b.Chance(w.doseMin[i]))
	}
	return out
}

// met reports whether what a hold at setC waits for has come.
func (w *walker) met(s profile.Step, setC float64) bool {
	switch s.Until {
	case profile.UntilDry:
		return !math.IsNaN(w.dryS)
	case profile.UntilCore:
		for _, c := range w.coreC {
			if math.Abs(c-setC) > s.WithinC {
				return false
			}
		}
		return true
	case profile.UntilClear:
		if w.beliefs == nil {
			return w.clear()
		}
		return w.chance() >= s.Clear
	}
	return false
}

// step carries the moulds through one step as planned, and returns how long it
// took, s. longestS, if not 0, takes the place of a hold's own bounds.
func (w *walker) step(s profile.Step, g profile.Segment, longestS float64) float64 {
	plan := profile.Timeline{Segments: []profile.Segment{g}}
	at := func(afterS float64) float64 {
		c, _, _ := plan.At(g.From + time.Duration(afterS*float64(time.Second)))
		return c
	}
	flat := func(float64) float64 { return g.ToC }
	switch {
	case s.Kind == profile.Air:
		w.air = s.On
		return 0
	case longestS > 0:
		return w.run(longestS, flat, w.clear)
	case s.Kind == profile.Hold && g.Open && s.Until != profile.UntilStopped && s.Until != profile.UntilDoor:
		took := w.run(s.AtLeast.Seconds(), flat, nil)
		if w.met(s, g.ToC) {
			return took
		}
		return took + w.run((s.AtMost-s.AtLeast).Seconds(), flat, func() bool { return w.met(s, g.ToC) })
	}
	return w.run((g.To - g.From).Seconds(), at, nil)
}

package mould

import "math"

// Correction by a witness. Guesses, no source: left alone the model drifts like
// a random walk of 15 K in an hour, most of it from the conductivity (±30 %) and
// the water, 15²/3600 = 0.0625 K²/s; a witness errs by 3 K and stays wrong for
// about 20 min (place, contact, cold junction), a density of 2·3²·1250 s = 22500
// K²s. The steady gain of a filter for these two (Kalman & Bucy) is the root of
// their ratio, 1/600 s: slower than noise and mishaps, as fast as a core moves
// (20 min to an hour).
const (
	correctionS = 600
	mostAsideK  = 50 // a larger difference counts as this much: the witness may have slipped
	// A core that boils tells nothing of its water: with model and witness both
	// this close to 100 °C, noise must not dry the mould.
	boilingLowC, boilingHighC = freeLow - 4, freeHigh + 4
)

// Correct draws flask i a little towards witnessC in °C, what a thermocouple
// in its core shows; call it after every Step. The pull fades towards the
// surface, where the chamber rules, and can take back water that the model
// boiled off too soon. It returns the innovation, witness less model, K; the
// heat put in is in CorrectedJ. A witnessC that is no number changes nothing.
func (m *Model) Correct(s *State, i int, witnessC float64) (asideK float64) {
	if math.IsNaN(witnessC) || math.IsInf(witnessC, 0) || i < 0 || i >= len(m.flasks) {
		return 0
	}
	f, fs := &m.flasks[i], &s.Flasks[i]
	b, c, w := f.body, f.curveOf(fs), f.attached(fs)
	coreC := b.middle(w.tC, 0)
	asideK = witnessC - coreC
	now := s.TimeS + s.WaitingS
	passed := math.Min(now-fs.LastCorrectionS, correctionS)
	fs.LastCorrectionS = now
	if passed <= 0 || boils(coreC) && boils(witnessC) {
		return asideK
	}
	pull := math.Max(-mostAsideK, math.Min(asideK, mostAsideK)) * -math.Expm1(-passed/correctionS)
	for n := range fs.Heat {
		r := (float64(n/b.layers) + 0.5) / float64(b.rings)
		z := 2*(float64(n%b.layers)+0.5)/float64(b.layers) - 1
		b.shift(c, fs, w, n, pull*(1-r*r)*(1-z*z))
	}
	fs.FreeLeft = b.freeLeft(c, fs.Highest)
	if fs.FreeLeft > dryShare {
		fs.DryS = -1
	}
	return asideK
}

func boils(tC float64) bool { return tC > boilingLowC && tC < boilingHighC }

// shift moves one cell by deltaK along its curve.
func (b *body) shift(c *curve, f *FlaskState, w *work, n int, deltaK float64) {
	h, highest := f.Heat[n], f.Highest[n]
	to := h + deltaK*w.c[n]
	if h >= highest { // as hot as ever: the past was colder, or hotter, than thought
		to = c.heatAt(w.tC[n] + deltaK)
		highest = to
	}
	f.CorrectedJ += (to - h) * b.volume[n/b.layers]
	f.Heat[n], f.Highest[n] = to, max(highest, to)
	w.tC[n], w.c[n], w.k[n] = c.read(to, f.Highest[n], &w.places[n])
}

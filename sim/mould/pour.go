package mould

import "math"

// Window is how long a mould stays hot enough outside the kiln, s; a figure
// equal to the horizon means at least that long.
type Window struct {
	CoreS    float64 // on the axis at mid height
	SurfaceS float64 // the investment at the side, mid height
	PatternS float64 // the cavity of the coolest piece; as the core with no pieces
}

const pourStepS = 10

// PourWindow takes one flask of kind i out of the kiln into still air at roomC
// and tells how long core, surface and cavity stay at or above limitC, all °C,
// looking at most horizonS ahead. A flask that stands on sand or brick loses at
// its base what the Base of its investment says. s is not changed.
func (m *Model) PourWindow(s *State, i int, roomC, limitC, horizonS float64) Window {
	if i < 0 || i >= len(m.flasks) {
		return Window{}
	}
	c := s.Clone()
	m.flush(&c)
	f, fs := &m.flasks[i], &c.Flasks[i]
	b, curve, w := f.body, f.curveOf(fs), f.attached(fs)
	out := film{uprightM: b.heightM, radiant: b.film.radiant, scale: 1}
	var seen Window
	last := f.standing(fs, w, &out, roomC)
	ends := [3]*float64{&seen.CoreS, &seen.SurfaceS, &seen.PatternS}
	var over [3]bool
	for k := range ends {
		over[k] = last[k] < limitC
	}
	for t := 0.0; t < horizonS && !(over[0] && over[1] && over[2]); t += pourStepS {
		dt := math.Min(pourStepS, horizonS-t)
		b.advance(curve, fs, w, dt, roomC, &out, b.base)
		now := f.standing(fs, w, &out, roomC)
		for k, end := range ends {
			switch {
			case over[k]:
			case now[k] < limitC:
				*end, over[k] = t+dt*(last[k]-limitC)/(last[k]-now[k]), true
			default:
				*end = t + dt
			}
		}
		last = now
	}
	return seen
}

// standing are core, surface and coolest piece, °C.
func (f *flask) standing(fs *FlaskState, w *work, out *film, roomC float64) [3]float64 {
	core, surface := f.body.ends(fs, w, out, roomC)
	coolest := math.Inf(1)
	for n := range f.pieces {
		coolest = math.Min(coolest, f.body.at(f.curveOf(fs), f.pieces[n].cells, fs, w).tC)
	}
	if len(f.pieces) == 0 {
		coolest = core
	}
	return [3]float64{core, surface, coolest}
}

// upright is free convection in air at an upright face of the height given, m,
// W/m²/K: Churchill & Chu, Int. J. Heat Mass Transfer 18 (1975) 1323; Incropera
// & DeWitt, equation 9.26, for all Rayleigh numbers. Air: power laws through
// Incropera & DeWitt, table A.4, 300 and 1000 K; within 3 % between.
func upright(heightM, surfaceC, airC float64) float64 {
	const prandtl, gravity = 0.70, 9.80665
	tK := (surfaceC+airC)/2 + zeroK
	nu := 15.89e-6 * math.Pow(tK/300, 1.692)
	k := 0.0263 * math.Pow(tK/300, 0.773)
	rayleigh := gravity / tK * math.Abs(surfaceC-airC) * heightM * heightM * heightM / (nu * nu) * prandtl
	root := 0.825 + 0.387*math.Pow(rayleigh, 1.0/6)/math.Pow(1+math.Pow(0.492/prandtl, 9.0/16), 8.0/27)
	return root * root * k / heightM
}

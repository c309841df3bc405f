package mould

import "math"

// Windows of the silica inversions, °C, and the differences from surface to
// core at which a mould is at risk while any part of it is inside, K: common
// practice, no source, uncertain. Both count heating and cooling.
const (
	cristobalLowC, cristobalHighC = 200, 280
	quartzLowC, quartzHighC       = 550, 600
	cristobalStopK                = 250
	quartzStopK                   = 500.0 / 3 // as much above its warning as the other
	crackWarning                  = 0.6       // 150 K and 100 K
)

// Gas through the wall, for the steam index: viscosity of steam near 100 °C,
// permeability about that of one AFS unit, a factor of 10 either way, and the
// strength of wet set investment; uncertain.
const (
	steamPaS     = 1.3e-5
	steamK       = 373.0
	permeability = 3e-13 // m²
	strengthPa   = 0.4e6
	dryShare     = 0.001
)

// overpressure is the pressure in Pa over the outside that drives the steam of
// rateKgS out through the dry shell; left is the share of free water left.
// Darcy's law for an ideal gas: radially from a bare flask, through the ends of
// a sleeved one. It ranks firings; it is no measured pressure.
func (b *body) overpressure(rateKgS, left float64, ends bool) float64 {
	gone := 1 - left
	if rateKgS <= 0 || gone <= 0 || left <= 0 {
		return 0
	}
	g := rateKgS * steamPaS * gasR * steamK / (waterKg * permeability)
	path := math.Log(1/math.Sqrt(left)) / (math.Pi * b.heightM)
	if ends {
		path = b.heightM * gone / 2 / (math.Pi * b.radiusM * b.radiusM)
	}
	return math.Sqrt(pressurePa*pressurePa+g*path) - pressurePa
}

// middle is the temperature at mid height of ring i, °C.
func (b *body) middle(t []float64, i int) float64 {
	at := i*b.layers + b.layers/2
	if b.layers%2 == 1 {
		return t[at]
	}
	return (t[at-1] + t[at]) / 2
}

// ends are the temperatures in °C of core and surface at mid height, in a
// chamber at airC. A sleeved mould's surface is that of the investment.
func (b *body) ends(f *FlaskState, w *work, out *film, airC float64) (coreC, surfaceC float64) {
	coreC = b.middle(w.tC, 0)
	cell := b.middle(w.tC, b.rings-1)
	half := b.drM / 2 / b.middle(w.k, b.rings-1)
	if b.sleeved {
		sleeve := b.middle(f.SleeveC, 0)
		return coreC, cell + (sleeve-cell)*half/(contactM2KW+half)
	}
	_, surfaceC = out.inside(cell, airC, half)
	return coreC, surfaceC
}

// book keeps the extremes after a step of dt that ended at timeS.
func (f *flask) book(timeS, dt, airC float64, s *FlaskState, w *work) {
	c := f.curveOf(s)
	if s.FreeLeft > 0 {
		left := f.body.freeLeft(c, s.Highest)
		if left < 1e-12 {
			left = 0
		}
		s.SteamKgS = (s.FreeLeft - left) * c.free * f.body.wholeM3() / dt
		s.MostSteam = max(s.MostSteam, f.steamIndex(s.SteamKgS, left))
		if left < dryShare && s.DryS < 0 {
			s.DryS = timeS - dt*(dryShare-left)/(s.FreeLeft-left)
		}
		s.FreeLeft = left
	} else {
		s.SteamKgS = 0
	}
	core, surface := f.body.ends(s, w, &f.body.film, airC)
	low, high := min(core, surface), max(core, surface)
	s.MostK = max(s.MostK, high-low)
	if high > cristobalLowC && low < cristobalHighC {
		s.MostCristobalK = max(s.MostCristobalK, high-low)
	}
	if high > quartzLowC && low < quartzHighC {
		s.MostQuartzK = max(s.MostQuartzK, high-low)
	}
}

func (f *flask) steamIndex(rateKgS, left float64) float64 {
	return f.body.overpressure(rateKgS, left, f.params.Flask.Sleeve == SleeveSteel) / strengthPa
}

package law

import (
	"math"
	"math/cmplx"
)

// Margins say how far the loop is from oscillating around one temperature: a
// frequency response of plant, estimator and law together, opened at the input
// of the plant, in small signals. Definitions as in Åström and Murray, Feedback
// Systems (2008), section 9.3; the delay margin is phase margin over crossover
// frequency, the least over all crossovers.
type Margins struct {
	TempC    float64 // chamber temperature, °C
	GainUp   float64 // the kiln may be stronger than its model by less than this factor, > 1; +Inf: by any
	GainDown float64 // and weaker down to this factor, 0..1; 0: as weak as it may be
	PhaseDeg float64 // further phase lag that is borne, degrees
	DelayS   float64 // further delay that is borne, s
	Peak     float64 // largest |1/(1+L)|, the maximum sensitivity, >= 1: 1.2 is calm, 2 is usual, above that is nervous
}

// Margins of the loop at every temperature of the table, in order. All zero is
// a loop that is not stable in itself, which the design excludes.
func (l *Law) Margins() []Margins {
	out := make([]Margins, len(l.grid))
	for i := range l.grid {
		out[i] = l.marginsAt(i)
	}
	return out
}

func (l *Law) marginsAt(i int) Margins {
	g := &l.grid[i]
	if spectralRadius(closedLoop(g, l.states, g.a, g.b)) >= 1 {
		return Margins{TempC: g.tempC}
	}
	m := marginsOf(newLoop(g, l.states, l.periodS).at, math.Pi/l.periodS)
	m.TempC = g.tempC
	return m
}

// marginsOf reads the margins off a loop that is stable when closed, from its
// frequency response up to topRadPerS. There a sampled loop is real.
func marginsOf(loop func(radPerS float64) complex128, topRadPerS float64) Margins {
	m := Margins{GainUp: math.Inf(1), PhaseDeg: math.Inf(1), DelayS: math.Inf(1)}
	// From a day up, finely enough that no resonance of stores in series, which
	// are damped, hides between two points.
	const slowestRadPerS, points = 2 * math.Pi / 86400, 240
	ratio := math.Pow(topRadPerS/slowestRadPerS, 1.0/points)
	wasW, was := slowestRadPerS, loop(slowestRadPerS)
	for n := 1; n <= points; n++ {
		w := slowestRadPerS * math.Pow(ratio, float64(n))
		if n == points {
			w = topRadPerS
		}
		now := loop(w)
		m.Peak = math.Max(m.Peak, 1/cmplx.Abs(1+now))
		if (imag(was) < 0) != (imag(now) < 0) && real(was)+real(now) < 0 {
			_, v := crossing(loop, wasW, w, func(v complex128) bool { return imag(v) < 0 })
			m.phaseCrossing(real(v))
		}
		if (cmplx.Abs(was) > 1) != (cmplx.Abs(now) > 1) {
			m.gainCrossing(crossing(loop, wasW, w, func(v complex128) bool { return cmplx.Abs(v) > 1 }))
		}
		wasW, was = w, now
	}
	m.phaseCrossing(real(was))
	return m
}

// phaseCrossing takes in a real value of L.
func (m *Margins) phaseCrossing(v float64) {
	switch {
	case v < -1:
		m.GainDown = math.Max(m.GainDown, -1/v)
	case v < 0:
		m.GainUp = math.Min(m.GainUp, -1/v)
	}
}

// gainCrossing takes in a value of L on the unit circle.
func (m *Margins) gainCrossing(radPerS float64, v complex128) {
	lag := math.Mod(cmplx.Phase(v)+3*math.Pi, 2*math.Pi) // that turns v into -1
	m.PhaseDeg = math.Min(m.PhaseDeg, math.Min(lag, 2*math.Pi-lag)*180/math.Pi)
	m.DelayS = math.Min(m.DelayS, lag/radPerS)
}

// crossing bisects for the frequency between two at which side changes.
func crossing(loop func(float64) complex128, low, high float64, side func(complex128) bool) (radPerS float64, v complex128) {
	at := side(loop(low))
	for range 40 {
		mid := math.Sqrt(low * high)
		if v = loop(mid); side(v) == at {
			low = mid
		} else {
			high = mid
		}
	}
	return low, v
}

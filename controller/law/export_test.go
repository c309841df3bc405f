package law

import (
	"math"
	"math/cmplx"
)

// MarginsOf is marginsOf, for loops of another controller on the same plant.
var MarginsOf = marginsOf

// StableAt reports whether this law, at the point of its table, holds a plant
// that is another one's.
func (l *Law) StableAt(point int, truth *Law) bool {
	return spectralRadius(closedLoop(&l.grid[point], l.states, truth.grid[point].a, truth.grid[point].b)) < 1
}

// PlantAt is the frequency response of the sampled plant from duty to junction,
// °C, at the point of the table.
func (l *Law) PlantAt(point int) func(radPerS float64) complex128 {
	p := newLoop(&l.grid[point], l.states, l.periodS)
	return func(w float64) complex128 {
		return p.response(cmplx.Exp(complex(0, w*l.periodS)), p.plant, p.plantB, p.plantC, 0)
	}
}

// TopRadPerS is half the sampling frequency.
func (l *Law) TopRadPerS() float64 { return math.Pi / l.periodS }

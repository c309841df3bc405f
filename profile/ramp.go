package profile

import (
	"math"
	"time"
)

const (
	cellC      = 1.0 // °C, integration step; Simpson's rule within
	stallCPerH = 1.0 // °C/h, below it the chamber stands still
	cellsPoint = 5   // cells between two points of a curve
)

// path is a ramp at a rate that depends on temperature.
type path struct {
	points  []Point // from 0, both ends included
	time    time.Duration
	stalled bool    // it stands still before its end
	stallC  float64 // where
}

// run integrates dt = dT/min(rate, limit(T)) from one temperature to the other
// by Simpson's rule (error per cell of order cellC⁵; Press et al., Numerical
// Recipes, 3rd ed., §4.1). A constant 60 °C/h over 120 °C gives 2 h. A stalled
// path jumps to its end.
func run(fromC, toC, rate float64, limit func(tC float64) float64) path {
	n, step := cells(fromC, toC)
	at := func(i float64) float64 { return fromC + float64(step*i) }
	p := path{points: []Point{{0, fromC}}}
	h := 0.0
	for i := range n {
		x := float64(i)
		a, m, b := limit(at(x)), limit(at(x+0.5)), limit(at(x+1))
		// written so that NaN stalls too: an unknown rate is no rate
		if !(a >= stallCPerH && m >= stallCPerH && b >= stallCPerH) {
			p.stalled, p.stallC = true, at(x)
			break
		}
		h += math.Abs(step) * (1/min(a, rate) + 4/min(m, rate) + 1/min(b, rate)) / 6
		if (i+1)%cellsPoint == 0 && i+1 < n {
			p.points = append(p.points, Point{hours(h), at(x + 1)})
		}
	}
	p.time = hours(h)
	p.points = append(p.points, Point{p.time, toC})
	return p
}

// cells divides a ramp into at least one cell of at most cellC.
func cells(fromC, toC float64) (n int, stepC float64) {
	n = max(1, int(math.Ceil(math.Abs(toC-fromC)/cellC)))
	return n, (toC - fromC) / float64(n)
}

// stretch is a range of temperatures in the order a ramp passes them.
type stretch struct{ fromC, toC float64 }

// shortfall is the range over which limit stays below rate, from the first
// cell to the last. Its ends are those of the ramp, exactly, where the ramp
// starts or ends short.
func shortfall(fromC, toC, rate float64, limit func(tC float64) float64) stretch {
	n, step := cells(fromC, toC)
	first, last := n, -1
	for i := range n {
		if limit(fromC+float64(step*(float64(i)+0.5))) < rate {
			first, last = min(first, i), i
		}
	}
	s := stretch{fromC + float64(step*float64(first)), fromC + float64(step*float64(last+1))}
	if last == n-1 {
		s.toC = toC
	}
	return s
}

func hours(h float64) time.Duration { return time.Duration(math.Round(h * float64(time.Hour))) }

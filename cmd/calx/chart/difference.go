package chart

import (
	"fmt"
	"math"
)

// Measures of the panel of the difference: its height as a share of the sheet.
const (
	differenceShare = 0.13
	differenceGap   = 0.9 // above the duty, in type sizes
)

// deltas is the difference as a curve, in °C.
func (f Firing) deltas() []dot { return f.Difference.dots() }

// span is what the panel reaches either way, °C: the largest difference, rounded
// up.
func (f Firing) span() float64 {
	worst := 0.0
	for _, d := range f.deltas() {
		if !math.IsNaN(d.v) {
			worst = max(worst, math.Abs(d.v))
		}
	}
	for _, c := range spans {
		if worst <= c {
			return c
		}
	}
	return worst
}

// spans are what the panel may reach either way, °C. The least keeps noise of
// a tenth of a degree from filling it.
var spans = []float64{2, 5, 10, 20, 30, 50, 75, 100, 150, 200, 300, 400, 500, 600, 800, 1000}

// delta is a difference in the unit shown: no offset in °F.
func (d degrees) delta(c float64) float64 {
	if d {
		return c * 9 / 5
	}
	return c
}

// difference draws the panel between temperatures and duty.
func (p *picture) difference() {
	if len(p.f.Difference.Samples) == 0 {
		return
	}
	u, b, span := p.u, p.diffBox, p.f.span()
	y := func(c float64) float64 { return (b.y0+b.y1)/2 - c/span*(b.y1-b.y0)/2 }
	for _, c := range []float64{-span, 0, span} {
		at := crisp(y(c))
		p.line(pen{color: rule, width: 1}, xy{b.x0, at}, xy{b.x1, at})
		label := "0"
		if c != 0 {
			label = fmt.Sprintf("%+.0f", p.unit.delta(c))
		}
		if c > 0 {
			label += " " + p.unit.String()
		}
		p.tempLabel(label, at, b.x0, right)
	}
	p.line(pen{color: edge, width: 1}, xy{b.x0, crisp(y(0))}, xy{b.x1, crisp(y(0))})
	p.curveOf(p.f.deltas(), pen{color: madder, width: 0.11 * u}, y)
}

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

// span is the largest difference either way, °C, rounded up to what labels
// well.
func (f Firing) span() float64 {
	worst := 0.0
	for _, d := range f.deltas() {
		if !math.IsNaN(d.v) {
			worst = max(worst, math.Abs(d.v))
		}
	}
	const leastC = 2.0 // noise of a tenth of a degree must not fill the panel
	step := roundStep(max(worst, leastC), 2)
	return math.Ceil(max(worst, leastC)/step) * step
}

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
			label = fmt.Sprintf("%+.3g", p.unit.delta(c))
		}
		if c > 0 {
			label += " " + p.unit.String()
		}
		p.tempLabel(label, at, b.x0, right)
	}
	p.line(pen{color: edge, width: 1}, xy{b.x0, crisp(y(0))}, xy{b.x1, crisp(y(0))})
	p.curveOf(p.f.deltas(), pen{color: madder, width: 0.11 * u}, y)
}

package chart

import (
	"fmt"
	"image/color"
	"math"
)

// swatch is the room for a sample in the key, in type sizes.
const swatch = 2.4

// curveKey is one entry of the key of the curves.
type curveKey struct {
	name  string
	width float64 // px, with the space after it
	draw  func(x, y float64)
}

func (p *picture) measuredPen() pen { return pen{color: deep, width: 0.13 * p.u} }

// setpointPen is wide: it shows on both sides of the measured curve
// where the two agree.
func (p *picture) setpointPen() pen { return pen{color: ochre, width: 0.36 * p.u} }

func (p *picture) planPen() pen {
	return pen{color: reed, width: 0.12 * p.u, dashes: []float64{0.25 * p.u, 0.22 * p.u}}
}

func (p *picture) ceilingPen() pen {
	return pen{color: madder, width: 0.1 * p.u, dashes: []float64{0.7 * p.u, 0.35 * p.u}}
}

func (p *picture) curveKeys() []curveKey {
	var out []curveKey
	add := func(name string, draw func(x, y float64)) {
		out = append(out, curveKey{name, (swatch+1.4)*p.u + p.body().width(name), draw})
	}
	stroke := func(pens ...pen) func(x, y float64) {
		return func(x, y float64) {
			for _, q := range pens {
				p.line(q, xy{x, y}, xy{x + (swatch-0.5)*p.u, y})
			}
		}
	}
	block := func(c color.NRGBA) func(x, y float64) {
		return func(x, y float64) { p.box(c, x, y-0.4*p.u, x+(swatch-0.5)*p.u, y+0.4*p.u) }
	}
	add("measured", stroke(p.measuredPen()))
	add("setpoint", stroke(p.setpointPen()))
	if len(p.f.Plan) > 0 {
		add("plan", stroke(p.planPen()))
	}
	add("duty", block(slate))
	for i, e := range p.f.Extra {
		add(tidy(e.Name), stroke(extraPen(i, p.u)))
	}
	if d := p.f.Difference; len(d.Samples) > 0 {
		add(tidy(d.Name), stroke(pen{color: madder, width: 0.11 * p.u}))
	}
	if p.f.CeilingC > 0 {
		add(fmt.Sprintf("ceiling %.0f %s", p.unit.of(p.f.CeilingC), p.unit), stroke(p.ceilingPen()))
	}
	if len(gaps(p.f.measured(), 0)) > 0 {
		add("no reading", block(blank))
	}
	return out
}

// flow breaks the key into rows.
func (p *picture) flow(keys []curveKey, room float64) [][]curveKey {
	var rows [][]curveKey
	used := math.Inf(1)
	for _, k := range keys {
		if used+k.width-1.4*p.u > room {
			rows = append(rows, nil)
			used = 0
		}
		rows[len(rows)-1] = append(rows[len(rows)-1], k)
		used += k.width
	}
	return rows
}

// gapBands shades where there was no reading, never narrower than can be seen.
func (p *picture) gapBands() {
	const least = 2.5 // px
	for _, g := range gaps(p.f.measured(), p.end/1000) {
		x0, x1 := p.x(g.from), p.x(g.to)
		if x1-x0 < least {
			mid := (x0 + x1) / 2
			x0, x1 = mid-least/2, mid+least/2
		}
		for _, b := range p.panels() {
			p.box(blank, x0, b.y0, x1, b.y1)
		}
	}
}

// duty fills the mean over each column of pixels and shades from the lowest to
// the highest, so that pulsing shows without hiding the trend.
func (p *picture) duty() {
	ls := levels(p.f.duty(), p.end, p.pixels())
	for from := 0; from < len(ls); from++ {
		if math.IsNaN(ls[from].mean) {
			continue
		}
		to := from
		for to < len(ls) && !math.IsNaN(ls[to].mean) {
			to++
		}
		p.area(haze, ls, from, to, func(l level) float64 { return l.high }, func(l level) float64 { return l.low })
		p.area(slate, ls, from, to, func(l level) float64 { return l.mean }, func(level) float64 { return 0 })
		from = to
	}
	for i, e := range p.f.Extra {
		if e.Fraction {
			p.curveOf(e.dots(), extraPen(i, p.u), p.yDuty)
		}
	}
}

// area fills columns from to to between two values.
func (p *picture) area(c color.NRGBA, ls []level, from, to int, upper, lower func(level) float64) {
	x := func(i int) float64 { return p.temp.x0 + float64(i)/float64(len(ls))*(p.temp.x1-p.temp.x0) }
	var pts []xy
	for i := from; i < to; i++ {
		pts = append(pts, xy{x(i), p.yDuty(upper(ls[i]))}, xy{x(i + 1), p.yDuty(upper(ls[i]))})
	}
	for i := to - 1; i >= from; i-- {
		pts = append(pts, xy{x(i + 1), p.yDuty(lower(ls[i]))}, xy{x(i), p.yDuty(lower(ls[i]))})
	}
	p.fill(c, thinned(pts)...)
}

// thinned drops the points in the middle of level stretches.
func thinned(pts []xy) []xy {
	var out []xy
	for _, q := range pts {
		if n := len(out); n >= 2 && out[n-1].y == q.y && out[n-2].y == q.y {
			out[n-1] = q
			continue
		}
		out = append(out, q)
	}
	return out
}

// curves draws the temperatures, the measured one last.
func (p *picture) curves() {
	inUnit := func(c float64) float64 { return p.y(p.unit.of(c)) }
	if p.unit.of(p.f.CeilingC) <= p.hi && p.f.CeilingC > 0 {
		y := crisp(inUnit(p.f.CeilingC))
		p.line(p.ceilingPen(), xy{p.temp.x0, y}, xy{p.temp.x1, y})
	}
	p.curveOf(p.f.plan(), p.planPen(), inUnit)
	p.curveOf(p.f.setpoint(), p.setpointPen(), inUnit)
	for i, e := range p.f.Extra {
		if !e.Fraction {
			p.curveOf(e.dots(), extraPen(i, p.u), inUnit)
		}
	}
	p.curveOf(p.f.measured(), p.measuredPen(), inUnit)
}

// curveOf draws one curve, broken at its gaps; a value alone becomes a spot.
func (p *picture) curveOf(ds []dot, with pen, y func(float64) float64) {
	for _, run := range runs(decimate(ds, p.end, p.pixels())) {
		pts := make([]xy, len(run))
		for i, d := range run {
			pts[i] = xy{p.x(d.t), y(d.v)}
		}
		if len(pts) == 1 {
			p.disc(with.color, pts[0], with.width)
			continue
		}
		p.line(with, pts...)
	}
}

// now marks the present of a firing that still runs.
func (p *picture) now() {
	if p.f.Now <= 0 {
		return
	}
	x := crisp(p.x(p.f.Now))
	p.line(pen{color: pending, width: 0.12 * p.u}, xy{x, p.temp.y0}, xy{x, p.dutyBox.y1})
	st := style{size: smallSize * p.u, bold: true, color: pending}
	a, dx := left, 0.4*p.u
	if x+dx+st.width("now") > p.temp.x1 {
		a, dx = right, -dx
	}
	p.text(st, xy{x + dx, p.temp.y1 - 0.6*p.u}, a, "now")
}

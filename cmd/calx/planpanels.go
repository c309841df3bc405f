package main

import (
	"fmt"
	"image/color"
	"strconv"
	"time"
)

func (d *planPicture) heading() {
	u := d.u
	room := d.w - 2*picMargin*u
	title := lettering{picTitle * u, true, planInk}
	y := (picMargin + 0.8*picTitle) * u
	name := fmt.Sprintf("%s on kiln %s%s", d.p.title, d.p.in.Kiln.Name, d.p.which)
	facts := lettering{u, false, planMuted}
	d.text(title, spot{picMargin * u, y}, 0, title.fit(name, room))
	y += picRow * u
	d.text(facts, spot{picMargin * u, y}, 0, facts.fit(d.facts(), room))
	y += 1.15 * picRow * u
	x := picMargin * u
	key := func(name string, sample func(x, y float64)) {
		sample(x, y-0.35*u)
		d.text(d.body(), spot{x + 2.3*u, y}, 0, name)
		x += 3.9*u + d.body().width(name)
	}
	line := func(c color.Color, width float64, dashes []float64) func(x, y float64) {
		return func(x, y float64) { d.line(c, width, dashes, spot{x, y}, spot{x + 1.9*u, y}) }
	}
	key("chamber", line(planChamber, 0.17*u, nil))
	key("core", line(planCore, 0.17*u, d.coreDashes()))
	key("ceiling "+wholeTemperature(d.p.Profile.CeilingC, d.inF()), line(planCeiling, 0.1*u, []float64{0.6 * u, 0.35 * u}))
	if d.p.ClearBy > 0 {
		key(fmt.Sprintf("clear: line at even odds, band at %.0f %%", d.p.ClearAt.Level*100), func(x, y float64) {
			d.box(planBand, frame{x, y - 0.45*u, x + 1.9*u, y + 0.45*u})
			d.line(planGreen, 0.12*u, nil, spot{x + 0.95*u, y - 0.45*u}, spot{x + 0.95*u, y + 0.45*u})
		})
	}
}

func (d *planPicture) coreDashes() []float64 { return []float64{0.45 * d.u, 0.22 * d.u} }

// timeStep is the distance of time labels: so many fit.
func (d *planPicture) timeStep() time.Duration {
	const room = 4.6 // type sizes a label
	n := (d.temp.x1 - d.temp.x0) / (room * d.u)
	for _, s := range []time.Duration{1, 2, 3, 4, 6, 12, 24} {
		if step := s * time.Hour; float64(d.end)/float64(step) <= n {
			return step
		}
	}
	const day = 24 * time.Hour
	return day * time.Duration(1+float64(d.end)/float64(day)/n)
}

func (d *planPicture) grid() {
	u := d.u
	if d.p.ClearBy > 0 {
		bottom := d.temp.y1
		if n := len(d.strip); n > 0 {
			bottom = d.strip[n-1].y1
		}
		d.box(planBand, frame{d.x(d.p.ClearAt.Low), d.temp.y0, d.x(d.p.ClearAt.High), bottom})
	}
	step := d.tempStep()
	for v := d.lo; v <= d.hi; v += step {
		y := sharp(d.yOf(v))
		d.line(planRule, 1, nil, spot{d.temp.x0, y}, spot{d.temp.x1, y})
		s := strconv.Itoa(int(v))
		if v+step > d.hi {
			s += " " + degree(d.inF())
		}
		d.text(d.small(), spot{d.temp.x0 - 0.5*u, y + 0.3*u}, 1, s)
	}
	d.otherUnit()
	last := d.temp.y1
	if n := len(d.strip); n > 0 {
		last = d.strip[n-1].y1
	}
	every := d.timeStep()
	for t := time.Duration(0); t <= d.end; t += every {
		x := sharp(d.x(t))
		for _, f := range append([]frame{d.temp}, d.strip...) {
			d.line(planRule, 1, nil, spot{x, f.y0}, spot{x, f.y1})
		}
		d.text(d.small(), spot{x, last + 1.25*u}, 0.5, strconv.Itoa(int(t.Hours())))
	}
	d.text(d.small(), spot{picMargin * u, last + 1.25*u}, 0, "hours")
	d.clock(every)
}

// otherUnit labels the right edge in the unit that is not shown at the left.
func (d *planPicture) otherUnit() {
	u, other := d.u, !d.inF()
	toC := func(v float64) float64 {
		if d.inF() {
			return (v - 32) * 5 / 9
		}
		return v
	}
	step := 100.0
	if other {
		step = 200
	}
	high := inUnit(toC(d.hi), other)
	for v := step; v <= high; v += step {
		c := v
		if other {
			c = (v - 32) * 5 / 9
		}
		y := sharp(d.y(c))
		if y > d.temp.y1 {
			continue
		}
		d.line(planEdge, 1, nil, spot{d.temp.x1, y}, spot{d.temp.x1 + 0.35*u, y})
		s := strconv.Itoa(int(v))
		if v+step > high {
			s += " " + degree(other)
		}
		d.text(d.small(), spot{d.temp.x1 + 0.6*u, y + 0.3*u}, 0, s)
	}
}

// clock labels the top edge: round hours of the place, midnight by its day.
func (d *planPicture) clock(every time.Duration) {
	if d.p.Start.IsZero() {
		return
	}
	u, from := d.u, d.p.Start
	y := d.temp.y0 - 2.3*u
	d.text(d.small(), spot{picMargin * u, y}, 0, "clock")
	for day := 0; ; day++ {
		for of := time.Duration(0); of < 24*time.Hour; of += min(every, 24*time.Hour) {
			t := time.Date(from.Year(), from.Month(), from.Day()+day, int(of.Hours()), 0, 0, 0, from.Location())
			since := t.Sub(from)
			if since > d.end {
				return
			}
			if since < 0 {
				continue
			}
			l, s := d.small(), t.Format("15:04")
			if of == 0 {
				l.bold, l.color, s = true, planInk, t.Format("Mon")
			}
			x := d.x(since)
			d.line(planEdge, 1, nil, spot{sharp(x), d.temp.y0 - 0.35*u}, spot{sharp(x), d.temp.y0})
			d.text(l, spot{x, y}, 0.5, s)
		}
	}
}

// fillStrips fills each share from its floor.
func (d *planPicture) fillStrips() {
	colors := map[string]color.Color{"water": planWater, "char": planChar, "clear": planGreen}
	for i, s := range d.strips {
		f := d.strip[i]
		pts := []spot{{f.x0, f.y1}}
		x := f.x0
		for _, v := range d.curve {
			x = d.x(v.Since)
			pts = append(pts, spot{x, f.y1 - min(max(s.of(v), 0), 1)*(f.y1-f.y0)})
		}
		d.fill(colors[s.name], append(pts, spot{x, f.y1})...)
		d.text(d.small(), spot{f.x0 - 0.5*d.u, (f.y0+f.y1)/2 + 0.3*d.u}, 1, s.name)
	}
}

func (d *planPicture) curves() {
	u := d.u
	y := sharp(d.y(d.p.Profile.CeilingC))
	d.line(planCeiling, 0.1*u, []float64{0.6 * u, 0.35 * u}, spot{d.temp.x0, y}, spot{d.temp.x1, y})
	if d.p.ClearBy > 0 {
		x := sharp(d.x(d.p.ClearAt.Median))
		d.line(planGreen, 0.12*u, nil, spot{x, d.temp.y0}, spot{x, d.temp.y1})
	}
	var chamber, core []spot
	for _, s := range d.curve {
		chamber = append(chamber, spot{d.x(s.Since), d.y(s.ChamberC)})
		core = append(core, spot{d.x(s.Since), d.y(s.CoreC)})
	}
	d.line(planChamber, 0.17*u, nil, chamber...)
	d.line(planCore, 0.17*u, d.coreDashes(), core...)
}

func (d *planPicture) frames() {
	for _, f := range append([]frame{d.temp}, d.strip...) {
		x0, y0, x1, y1 := sharp(f.x0), sharp(f.y0), sharp(f.x1), sharp(f.y1)
		d.line(planEdge, 1, nil, spot{x0, y0}, spot{x1, y0}, spot{x1, y1}, spot{x0, y1}, spot{x0, y0})
	}
}

// badges number the steps where they begin; those too near to one another
// stand side by side, none of them past the right edge.
func (d *planPicture) badges() {
	u := d.u
	pitch := 2.2 * picBadge * u
	var at []float64
	next := 0.0
	for _, r := range d.p.Reasons {
		x := d.x(r.From)
		d.line(planEdge, 1, []float64{0.2 * u, 0.25 * u}, spot{sharp(x), d.temp.y0}, spot{sharp(x), d.temp.y1})
		x = max(x, next)
		next = x + pitch
		at = append(at, x)
	}
	last := d.temp.x1
	for i := len(at) - 1; i >= 0; i-- {
		at[i] = min(at[i], last)
		last = at[i] - pitch
		d.badge(spot{at[i], d.temp.y0 - 1.05*u}, i+1)
	}
}

func (d *planPicture) badge(at spot, n int) {
	d.disc(planMuted, at, picBadge*d.u)
	l := lettering{0.82 * d.u, true, planPaper}
	d.text(l, spot{at.x, at.y + 0.29*d.u}, 0.5, strconv.Itoa(n))
}

// steps are the sentences under their numbers.
func (d *planPicture) steps() {
	u := d.u
	rows := (len(d.p.Reasons) + d.cols - 1) / d.cols
	width := (d.w - 2*picMargin*u) / float64(d.cols)
	for i, r := range d.p.Reasons {
		x := picMargin*u + float64(i/rows)*width
		y := d.list + float64(i%rows)*picRow*u
		d.badge(spot{x + picBadge*u, y - 0.3*u}, i+1)
		d.text(d.small(), spot{x + 2*u, y}, 0, d.p.when(r.From))
		l := d.body()
		const from = 7.2 // type sizes, behind the clock
		d.text(l, spot{x + from*u, y}, 0, l.fit(d.p.Profile.Sentence(i), width-(from+0.8)*u))
	}
}

package chart

import (
	"fmt"
	"math"
	"time"
)

// panel is a rectangle of the sheet, px, with its scales.
type panel struct{ x0, y0, x1, y1 float64 }

// picture is one image in the making. From the top: title, facts, key of the
// curves, clock axis, temperatures, badges of the events, duty, hours, key of
// the events.
type picture struct {
	*sheet
	f       Firing
	end     time.Duration
	unit    degrees
	lo, hi  float64 // temperature panel, in unit
	temp    panel
	dutyBox panel
	diffBox panel // of no height without a difference
	kept    []keyed
	left    int
	row     []int     // of each badge
	centre  []float64 // of each badge, px
	oneLine bool      // title and facts share the first line
	keyRows [][]curveKey
	keyTop  float64 // of the key of events
	keyCols int
}

// The measures of the layout, in type sizes.
const (
	margin      = 1.2
	axisRoom    = 4.0 // left and right of the panels, for labels
	titleSize   = 1.4
	smallSize   = 0.9
	rowHeight   = 1.55
	badgeSize   = 1.3
	badgePitch  = 1.45 // from one badge to the next
	badgeRows   = 2
	dutyShare   = 0.12 // of the height
	keyShare    = 0.26 // of the height, at most, for the key of events
	leastShare  = 0.3  // of the height, for the temperatures; the key of events gives way
	keyColumn   = 30   // least width of a column of it
	tickLength  = 0.35
	labelGap    = 0.5 // between a tick and its label
	tempLabels  = 1.9 // least distance of temperature labels, in type sizes
	clockLabels = 4.2 // least distance of time labels
)

func newPicture(s *sheet, f Firing) *picture {
	p := &picture{sheet: s, f: f, end: f.end(), unit: degrees(f.Fahrenheit)}
	u := s.u
	p.keyRows = p.flow(p.curveKeys(), s.w-2*margin*u)
	p.oneLine = p.title().width(p.name())+p.facts().width(f.facts(fullDate))+2*u <= s.w-2*margin*u
	top := (margin+titleSize+0.5)*u + float64(len(p.keyRows))*rowHeight*u
	if !p.oneLine {
		top += rowHeight * u
	}
	top += (smallSize + labelGap + tickLength + 0.4) * u // clock axis
	x0, x1 := margin*u+axisRoom*u, s.w-margin*u-axisRoom*u

	p.keyCols = max(1, int((s.w-2*margin*u)/(keyColumn*u)))
	for rows := int(keyShare * s.h / (rowHeight * u)); rows >= 0; rows-- {
		p.below(top, x0, x1, rows)
		if p.temp.y1-p.temp.y0 >= leastShare*s.h {
			break
		}
	}
	p.scale()
	return p
}

// below lays out everything under the line top, with at most rows lines of
// events in their key.
func (p *picture) below(top, x0, x1 float64, rows int) {
	s, u := p.sheet, p.u
	p.kept, p.left = pick(p.f.Events, rows*p.keyCols)
	used := (len(p.kept) + p.keyCols - 1) / p.keyCols
	if p.left > 0 {
		used++
	}
	p.keyTop = s.h - margin*u - float64(used)*rowHeight*u + 0.3*u
	bottom := p.keyTop - 0.4*u - (tickLength+labelGap+smallSize)*u
	if used > 0 {
		bottom -= 0.7 * u
	}

	at := make([]float64, len(p.kept))
	for i, k := range p.kept {
		at[i] = x0 + float64(k.Since)/float64(p.end)*(x1-x0)
	}
	var lines int
	p.row, p.centre, lines = stagger(at, badgePitch*u, x0-u, x1+u, badgeRows)
	between := (1.3 + badgePitch*float64(lines)) * u
	p.dutyBox = panel{x0, bottom - dutyShare*s.h, x1, bottom}
	p.diffBox = panel{x0, p.dutyBox.y0, x1, p.dutyBox.y0}
	if len(p.f.Difference.Samples) > 0 {
		p.diffBox.y1 -= differenceGap * u
		p.diffBox.y0 = p.diffBox.y1 - differenceShare*s.h
	}
	p.temp = panel{x0, top, x1, p.diffBox.y0 - between}
}

// scale starts the temperature axis on a round number and leaves some air
// above the hottest point.
func (p *picture) scale() {
	loC, hiC := p.f.rangeC()
	lo, hi := p.unit.of(loC), p.unit.of(hiC)
	const air = 0.05
	hi += air * (hi - lo)
	step := roundStep(hi-lo, p.tempTicks())
	p.lo, p.hi = math.Floor(lo/step)*step, hi
}

func (p *picture) tempTicks() int { return int((p.temp.y1 - p.temp.y0) / (tempLabels * p.u)) }

func (p *picture) x(t time.Duration) float64 {
	return p.temp.x0 + float64(t)/float64(p.end)*(p.temp.x1-p.temp.x0)
}

// y is the place of a temperature in the axis's unit.
func (p *picture) y(v float64) float64 {
	return p.temp.y1 - (v-p.lo)/(p.hi-p.lo)*(p.temp.y1-p.temp.y0)
}

// yDuty is the place of a fraction in the duty panel.
func (p *picture) yDuty(v float64) float64 {
	return p.dutyBox.y1 - min(max(v, 0), 1)*(p.dutyBox.y1-p.dutyBox.y0)
}

// panels are those that are drawn, from the top.
func (p *picture) panels() []panel {
	if len(p.f.Difference.Samples) == 0 {
		return []panel{p.temp, p.dutyBox}
	}
	return []panel{p.temp, p.diffBox, p.dutyBox}
}

// pixels is the width of the panels in whole columns.
func (p *picture) pixels() int { return int(p.temp.x1 - p.temp.x0) }

func (p *picture) body() style  { return style{size: p.u, color: ink} }
func (p *picture) title() style { return style{size: titleSize * p.u, bold: true, color: ink} }
func (p *picture) facts() style { return style{size: p.u, color: muted} }
func (p *picture) small() style { return style{size: smallSize * p.u, color: muted} }

func (p *picture) name() string {
	if p.f.Title == "" {
		return "Firing"
	}
	return tidy(p.f.Title)
}

func (p *picture) heading() {
	u := p.u
	room := p.w - 2*margin*u
	y := (margin + titleSize*0.8) * u
	p.text(p.title(), xy{margin * u, y}, left, p.title().fit(p.name(), room))
	if p.oneLine {
		p.text(p.facts(), xy{p.w - margin*u, y}, right, p.f.facts(fullDate))
	} else {
		y += rowHeight * u
		p.text(p.facts(), xy{margin * u, y}, left, p.facts().fit(p.f.facts(fullDate), room))
	}
	y += 0.3 * u
	for _, row := range p.keyRows {
		y += rowHeight * u
		x := margin * u
		for _, k := range row {
			k.draw(x, y-0.33*u)
			p.text(p.body(), xy{x + swatch*u, y}, left, k.name)
			x += k.width
		}
	}
}

// grid draws rules and labels of all four axes; hours below, clock above.
func (p *picture) grid() {
	u := p.u
	n := p.tempTicks()
	other := !p.unit
	for _, t := range withUnit(tempTicks(p.lo, p.hi, n), p.unit) {
		y := crisp(p.y(t.at))
		p.line(pen{color: rule, width: 1}, xy{p.temp.x0, y}, xy{p.temp.x1, y})
		p.tempLabel(t.label, y, p.temp.x0, right)
	}
	for _, t := range withUnit(tempTicks(convert(p.unit, p.lo), convert(p.unit, p.hi), n), other) {
		y := crisp(p.y(convert(other, t.at)))
		p.line(pen{color: edge, width: 1}, xy{p.temp.x1, y}, xy{p.temp.x1 + tickLength*u, y})
		p.tempLabel(t.label, y, p.temp.x1, left)
	}

	most := int((p.temp.x1 - p.temp.x0) / (clockLabels * u))
	hours := hourTicks(p.end, most)
	for _, t := range hours {
		for _, b := range p.panels() {
			x := crisp(p.xSeconds(t.at))
			p.line(pen{color: rule, width: 1}, xy{x, b.y0}, xy{x, b.y1})
		}
	}
	down := p.dutyBox.y1 + (tickLength+labelGap+smallSize*0.7)*u
	p.timeLabels(hours, "hours", p.dutyBox.y1, p.dutyBox.y1+tickLength*u, down)
	clock := wallTicks(p.f.Start, p.end, most)
	p.timeLabels(clock, "clock", p.temp.y0, p.temp.y0-tickLength*u, p.temp.y0-(tickLength+labelGap)*u)

	for _, v := range []float64{0, 0.5, 1} {
		y := crisp(p.yDuty(v))
		p.line(pen{color: rule, width: 1}, xy{p.dutyBox.x0, y}, xy{p.dutyBox.x1, y})
		p.tempLabel(fmt.Sprintf("%.0f%%", 100*v), y, p.dutyBox.x0, right)
	}
}

// convert takes a temperature in the unit from to the other one.
func convert(from degrees, v float64) float64 {
	if from {
		return (v - 32) * 5 / 9
	}
	return degrees(true).of(v)
}

func (p *picture) xSeconds(s float64) float64 {
	return p.temp.x0 + s/p.end.Seconds()*(p.temp.x1-p.temp.x0)
}

// withUnit puts the unit on the topmost label, where it cannot meet another.
func withUnit(ticks []tick, d degrees) []tick {
	if n := len(ticks); n > 0 {
		ticks[n-1].label += " " + d.String()
	}
	return ticks
}

// tempLabel writes a label beside a panel.
func (p *picture) tempLabel(s string, y, x float64, a align) {
	u := p.u
	if a == right {
		x -= labelGap * u
	} else {
		x += (labelGap + 0.15) * u
	}
	p.text(p.small(), xy{x, y + 0.31*u}, a, s)
}

// timeLabels writes one time axis; a label that would touch the one before it
// or leave the sheet is dropped.
func (p *picture) timeLabels(ticks []tick, name string, from, to, baseline float64) {
	if len(ticks) == 0 {
		return
	}
	st := p.small()
	p.text(st, xy{margin * p.u, baseline}, left, name)
	next := p.temp.x0 - 1.4*p.u
	for _, t := range ticks {
		x := p.xSeconds(t.at)
		p.line(pen{color: edge, width: 1}, xy{crisp(x), from}, xy{crisp(x), to})
		st := st
		if t.label[0] > '9' { // a day begins
			st.bold, st.color = true, ink
		}
		w := st.width(t.label)
		if x-w/2 < next || x+w/2 > p.w {
			continue
		}
		p.text(st, xy{x, baseline}, centre, t.label)
		next = x + w/2 + 0.5*p.u
	}
}

func (p *picture) frames() {
	for _, b := range p.panels() {
		x0, y0, x1, y1 := crisp(b.x0), crisp(b.y0), crisp(b.x1), crisp(b.y1)
		p.line(pen{color: edge, width: 1}, xy{x0, y0}, xy{x1, y0}, xy{x1, y1}, xy{x0, y1}, xy{x0, y0})
	}
	if len(p.f.Points) == 0 && len(p.f.Plan) == 0 {
		p.text(style{size: p.u, color: muted}, xy{(p.temp.x0 + p.temp.x1) / 2, (p.temp.y0 + p.temp.y1) / 2}, centre, "no readings yet")
	}
}

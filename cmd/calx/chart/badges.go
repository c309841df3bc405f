package chart

import (
	"cmp"
	"fmt"
	"slices"

	"calx/storage/record"
)

// markLines draws a thin vertical through both panels for every event of the
// key, and joins it to its badge.
func (p *picture) markLines() {
	order := make([]int, len(p.kept))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { // the gravest on top
		return cmp.Compare(p.kept[a].Severity, p.kept[b].Severity)
	})
	for _, i := range order {
		k := p.kept[i]
		x := crisp(p.x(k.Since))
		thin := pen{color: markInk(k.Severity), width: 1, dashes: []float64{1, 2}}
		if k.Severity == record.Alarm {
			thin.dashes = nil
		}
		p.line(thin, xy{x, p.temp.y0}, xy{x, p.temp.y1})
		p.line(thin, xy{x, p.dutyBox.y0}, xy{x, p.dutyBox.y1})
		at := p.badgeAt(i)
		p.line(thin, xy{x, p.temp.y1}, at, xy{x, p.dutyBox.y0})
	}
}

// badgeAt is the centre of a badge, between the panels.
func (p *picture) badgeAt(i int) xy {
	return xy{p.centre[i], p.temp.y1 + (0.65+badgePitch*(float64(p.row[i])+0.5))*p.u}
}

func (p *picture) badges() {
	for i, k := range p.kept {
		p.badge(p.badgeAt(i), k)
	}
}

// badge draws a letter: a ring for information, a square for a warning, a
// filled square for an alarm.
func (p *picture) badge(at xy, k keyed) {
	r := badgeSize / 2 * p.u
	c := markInk(k.Severity)
	st := style{size: smallSize * p.u, bold: true, color: c}
	line := 0.1 * p.u
	switch k.Severity {
	case record.Alarm:
		p.box(c, at.x-r, at.y-r, at.x+r, at.y+r)
		st.color = paper
	case record.Warn:
		p.box(c, at.x-r, at.y-r, at.x+r, at.y+r)
		p.box(paper, at.x-r+line, at.y-r+line, at.x+r-line, at.y+r-line)
	default:
		p.disc(c, at, r)
		p.disc(paper, at, r-line)
	}
	p.text(st, xy{at.x, at.y + 0.31*p.u}, centre, k.letter)
}

// key explains the letters, in columns read downwards.
func (p *picture) key() {
	u := p.u
	rows := (len(p.kept) + p.keyCols - 1) / p.keyCols
	columnW := (p.w - 2*margin*u) / float64(p.keyCols)
	for i, k := range p.kept {
		x := margin*u + float64(i/rows)*columnW
		y := p.keyTop + (float64(i%rows)+0.7)*rowHeight*u
		p.badge(xy{x + badgeSize/2*u, y - 0.31*u}, k)
		x += (badgeSize + 0.6) * u
		x += p.small().width("00.0 h")
		p.text(p.small(), xy{x, y}, right, hoursSince(k.Since))
		x += 0.6 * u
		p.text(p.small(), xy{x, y}, left, p.f.clock(k.Since))
		x += p.small().width("Wed 00:00") + 0.7*u
		st := p.body()
		if k.Severity != record.Info {
			st.color = markInk(k.Severity)
		}
		room := columnW - (x - margin*u - float64(i/rows)*columnW) - u
		p.text(st, xy{x, y}, left, st.fit(k.Label, room))
	}
	if p.left > 0 {
		y := p.keyTop + (float64(rows)+0.7)*rowHeight*u
		note := fmt.Sprintf("and %d more, not drawn", p.left)
		if rows == 0 {
			note = fmt.Sprintf("%d events, not drawn", p.left)
		}
		p.text(p.small(), xy{margin * u, y}, left, note)
	}
}

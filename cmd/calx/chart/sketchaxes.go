package chart

import (
	"fmt"
	"math"
	"strings"
)

// marks writes the letter of every kept mark over its column, side by side
// where several fall together.
func (s *sketch) marks() {
	want := make([]float64, len(s.kept))
	for i, k := range s.kept {
		x, _ := s.at(k.Since, 0)
		want[i] = math.Round(x) + 0.5
	}
	for i, x := range spread(want, 1, 0, float64(s.columns())) {
		_, t := gravity(s.kept[i].Severity)
		s.set(gutter+int(x), s.plotTop-1, rune(s.kept[i].letter[0]), t)
	}
}

// stripRunes are heights from nothing to full.
var (
	stripRunes      = []rune(" ▁▂▃▄▅▆▇█")
	stripRunesASCII = []rune(" .:-=+*%#")
)

// strips draws the duty and every fraction as one line of heights.
func (s *sketch) strips() {
	s.stripOf(s.strip, "duty", s.f.duty(), heat)
	for i, e := range s.fraction {
		s.stripOf(s.strip+1+i, e.Name, e.dots(), extra)
	}
	for _, g := range gaps(s.f.measured(), 0) { // a fault of a second must show as well
		from, _ := s.at(g.from, 0)
		to, _ := s.at(g.to, 0)
		for x := int(math.Round(from)); x <= int(math.Round(to)); x++ {
			s.set(gutter+x, s.strip, '×', grave)
		}
	}
}

func (s *sketch) stripOf(y int, name string, curve []dot, t tone) {
	const nameCells = gutter - 2
	if cellsIn(name) > nameCells {
		name, _, _ = strings.Cut(name, " ")
	}
	name = clip(name, nameCells)
	s.text(nameCells-cellsIn(name), y, gutter, name, quiet)
	s.set(gutter-1, y, '│', quiet)
	heights := stripRunes
	if !s.unicode {
		heights = stripRunesASCII
	}
	for x, l := range levels(curve, s.end, s.columns()) {
		if math.IsNaN(l.mean) {
			continue
		}
		h := int(math.Round(l.mean * float64(len(heights)-1)))
		if l.high > 0 {
			h = max(h, 1) // a single pulse must not vanish
		}
		s.set(gutter+x, y, heights[min(max(h, 0), len(heights)-1)], t)
	}
}

// timeAxes writes hours since the start, and the clock below.
func (s *sketch) timeAxes() {
	for x := gutter; x < s.w; x++ {
		s.set(x, s.axis, '─', quiet)
	}
	s.set(gutter-1, s.axis, '└', quiet)
	const cellsPerLabel = 8
	n := s.columns() / cellsPerLabel
	hours := hourTicks(s.end, n)
	for _, t := range hours {
		s.set(gutter+s.column(t), s.axis, '┴', quiet)
	}
	s.labels(s.axis+1, "hours", hours)
	s.labels(s.axis+2, "clock", wallTicks(s.f.Start, s.end, n))
}

func (s *sketch) column(t tick) int {
	return min(int(t.at/s.end.Seconds()*float64(s.columns())), s.columns()-1)
}

// labels centres each label under its tick and drops one that would touch the
// label before it.
func (s *sketch) labels(y int, name string, ticks []tick) {
	if len(ticks) == 0 {
		return
	}
	s.text(0, y, gutter, name, quiet)
	next := gutter - 1
	for _, t := range ticks {
		n := cellsIn(t.label)
		x := min(gutter+s.column(t)-(n-1)/2, s.w-n)
		if x < next {
			continue
		}
		next = s.text(x, y, s.w, t.label, quiet) + 1
	}
}

// key explains the letters.
func (s *sketch) key() {
	y := s.axis + 3
	if s.f.Start.IsZero() {
		y--
	}
	for _, k := range s.kept {
		flag, t := gravity(k.Severity)
		x := s.text(gutter-2, y, s.w, k.letter, t)
		x = s.text(x+1, y, s.w, fmt.Sprintf("%6s  %-9s", hoursSince(k.Since), s.f.clock(k.Since)), quiet)
		x = s.text(x+1, y, s.w, flag, t)
		s.text(x+1, y, s.w, k.Label, t)
		y++
	}
	if s.left > 0 && y < s.h {
		note := fmt.Sprintf("and %d more", s.left)
		if len(s.kept) == 0 {
			note = fmt.Sprintf("%d events, not shown", s.left)
		}
		s.text(gutter, y, s.w, note, quiet)
	}
}

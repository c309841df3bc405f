package chart

import (
	"fmt"
	"io"
	"math"
	"time"

	"calx/storage/record"
)

// SketchOpts sizes a sketch. Zero sizes mean 80 columns and 24 lines; less than
// 40 × 14 is taken as 40 × 14.
type SketchOpts struct {
	Width, Height int  // columns and lines; neither is ever exceeded
	Color         bool // false under NO_COLOR and where the output is no terminal
	Unicode       bool // false writes seven-bit characters only
}

const (
	defaultColumns, defaultLines = 80, 24
	leastColumns, leastLines     = 40, 14
	gutter                       = 7    // columns left of the curves: label, space, axis
	leastPlot                    = 7    // lines of curves
	plotShare                    = 0.42 // of all lines; the key of events gives way to it
	mostPlot                     = 24
)

// Sketch draws a firing in characters: measured over planned, the duty below,
// both time axes, and the events by letter. Curves are told apart by shape, so
// the sketch loses nothing without colour. Errors are those of w.
func Sketch(w io.Writer, f Firing, o SketchOpts) error {
	s := newSketch(f, o)
	s.heading()
	s.temperatureAxis()
	s.ceiling()
	s.measured()
	s.planned()
	s.extras()
	s.marks()
	s.strips()
	s.timeAxes()
	s.key()
	return s.grid.writeTo(w, o.Color)
}

// sketch is one drawing in the making. Lines from the top: heading (2), letters
// of the marks (1 or 0), plot, strips, axis, hours, clock, key of marks.
type sketch struct {
	*grid
	f        Firing
	end      time.Duration
	unit     degrees
	kept     []keyed
	left     int
	fraction []Series // drawn as strips
	plotTop  int      // first line of the curves
	plotH    int
	strip    int // first strip
	axis     int // line of the time axis
	lo, hi   float64
	perTick  int // lines from one temperature label to the next
	tickStep float64
}

func newSketch(f Firing, o SketchOpts) *sketch {
	if o.Width <= 0 {
		o.Width = defaultColumns
	}
	if o.Height <= 0 {
		o.Height = defaultLines
	}
	o.Width, o.Height = max(o.Width, leastColumns), max(o.Height, leastLines)
	s := &sketch{f: f, end: f.end(), unit: degrees(f.Fahrenheit), plotTop: 2}
	for _, e := range f.Extra {
		if e.Fraction {
			s.fraction = append(s.fraction, e)
		}
	}
	const heading, axes, duty = 2, 3, 1
	s.plotH = max(leastPlot, int(plotShare*float64(o.Height)))
	room := o.Height - heading - axes - duty - s.plotH
	s.fraction = s.fraction[:min(len(s.fraction), max(room, 0))]
	room -= len(s.fraction)
	if room >= 2 && len(f.Events) > 0 {
		s.plotTop++
		lines := min(room-1, len(f.Events))
		n := lines
		if len(f.Events) > lines {
			n-- // the last line says how many are missing
		}
		s.kept, s.left = pick(f.Events, n)
		room -= 1 + lines
	}
	s.plotH = max(s.plotH, min(s.plotH+room, mostPlot))
	s.strip = s.plotTop + s.plotH
	s.axis = s.strip + duty + len(s.fraction)
	lines := s.axis + axes + len(s.kept)
	if f.Start.IsZero() {
		lines-- // no clock
	}
	if s.left > 0 {
		lines++
	}
	s.grid = newGrid(o.Width, lines, o.Unicode)
	s.scale()
	return s
}

// scale chooses the temperature axis so that round numbers fall on whole lines.
func (s *sketch) scale() {
	loC, hiC := s.f.rangeC()
	lo, hi := s.unit.of(loC), s.unit.of(hiC)
	best := math.Inf(1)
	for per := 2; per <= 4; per++ {
		for _, step := range roundSteps {
			base := math.Floor(lo/step) * step
			span := step * float64(s.plotH-1) / float64(per)
			if base+span >= hi && span < best {
				best, s.lo, s.hi, s.perTick, s.tickStep = span, base, base+span, per, step
			}
		}
	}
	if math.IsInf(best, 1) { // beyond any kiln; still draw something
		s.lo, s.hi, s.perTick, s.tickStep = lo, hi, s.plotH, hi-lo
	}
}

// columns is the width of the curves in cells.
func (s *sketch) columns() int { return s.w - gutter }

// at is the fractional column and line of a value; whole numbers are centres.
func (s *sketch) at(t time.Duration, c float64) (x, y float64) {
	x = float64(t)/float64(s.end)*float64(s.columns()) - 0.5
	x = min(max(x, -0.49), float64(s.columns())-0.51)
	y = (s.hi - s.unit.of(c)) / (s.hi - s.lo) * float64(s.plotH-1)
	return x, y
}

func (s *sketch) heading() {
	title := s.f.Title
	if title == "" {
		title = "Firing"
	}
	facts := s.f.facts(quietDate)
	if cellsIn(tidy(title))+3+cellsIn(facts) > s.w {
		facts = s.f.facts("")
	}
	from := s.w - cellsIn(facts)
	s.text(0, 0, from-2, title, plain)
	s.text(from, 0, s.w, facts, quiet)
	x := gutter
	for _, k := range s.legend() {
		if x+cellsIn(k.sample)+1+cellsIn(k.name) > s.w {
			continue
		}
		x = s.text(x, 1, s.w, k.sample, k.tone)
		x = s.text(x+1, 1, s.w, k.name, quiet) + 3
	}
}

// legendEntry is a sample of a curve and its name.
type legendEntry struct {
	sample, name string
	tone         tone
}

func (s *sketch) legend() []legendEntry {
	measured, dashes := "⠤⠒⠉", "···"
	if !s.unicode {
		measured, dashes = "***", "..."
	}
	out := []legendEntry{{measured, "measured", hot}, {dashes, "planned", planned}}
	if len(gaps(s.f.measured(), 0)) > 0 {
		out = append(out, legendEntry{"×", "no reading", grave})
	}
	for i, e := range s.celsius() {
		out = append(out, legendEntry{string([]rune{extraRune(i), extraRune(i)}), e.Name, extra})
	}
	return out
}

func (s *sketch) temperatureAxis() {
	for y := range s.plotH {
		mark := '│'
		if fromBottom := s.plotH - 1 - y; fromBottom%s.perTick == 0 {
			v := s.lo + float64(fromBottom/s.perTick)*s.tickStep
			l := fmt.Sprintf("%.0f", v)
			s.text(gutter-2-len(l), s.plotTop+y, gutter, l, quiet)
			mark = '┤'
		}
		s.set(gutter-1, s.plotTop+y, mark, quiet)
	}
	s.text(gutter-3, 1, gutter, s.unit.String(), quiet)
}

// ceilingLine is the line of the plot the ceiling falls on.
func (s *sketch) ceilingLine() (int, bool) {
	if s.f.CeilingC <= 0 || s.unit.of(s.f.CeilingC) > s.hi {
		return 0, false
	}
	_, y := s.at(0, s.f.CeilingC)
	return int(math.Round(y)), true
}

// ceiling dashes the line and names it near the start, where a kiln is cold.
func (s *sketch) ceiling() {
	y, ok := s.ceilingLine()
	if !ok {
		return
	}
	for x := 0; x < s.columns(); x += 2 {
		s.set(gutter+x, s.plotTop+y, '-', grave)
	}
	s.text(gutter+3, s.plotTop+y, s.w, fmt.Sprintf(" ceiling %.0f %s ", s.unit.of(s.f.CeilingC), s.unit), grave)
}

// braille has two columns and four rows of dots in a cell (Unicode Standard,
// block U+2800); the bits by row and column.
const brailleBase, dotsAcross, dotsDown = 0x2800, 2, 4

var brailleBit = [dotsDown][dotsAcross]rune{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}

func (s *sketch) measured() {
	if !s.unicode {
		s.stroke(s.f.measured(), func(x, y int) { s.set(gutter+x, s.plotTop+y, '*', hot) })
		return
	}
	dotW, dotH := s.columns()*dotsAcross, s.plotH*dotsDown
	for _, run := range runs(decimate(s.f.measured(), s.end, dotW)) {
		var px, py int
		for i, d := range run {
			fx, fy := s.at(d.t, d.v)
			x := min(max(int((fx+0.5)*dotsAcross), 0), dotW-1)
			y := min(max(int((fy+0.5)*dotsDown), 0), dotH-1)
			if i == 0 {
				px, py = x, y
			}
			bresenham(px, py, x, y, s.lightDot)
			px, py = x, y
		}
	}
}

func (s *sketch) lightDot(x, y int) {
	i := (s.plotTop+y/dotsDown)*s.w + gutter + x/dotsAcross
	if s.r[i] < brailleBase || s.r[i] > brailleBase+0xff {
		s.r[i] = brailleBase
	}
	s.r[i] |= brailleBit[y%dotsDown][x%dotsAcross]
	s.t[i] = hot
}

// planned dots the setpoint and the plan wherever they part from what was
// measured by more than a line.
func (s *sketch) planned() {
	mark := '·'
	if !s.unicode {
		mark = '.'
	}
	for _, curve := range [][]dot{s.f.setpoint(), s.f.plan()} {
		s.stroke(curve, func(x, y int) {
			if !s.isMeasured(x, y-1) && !s.isMeasured(x, y+1) {
				s.where(mark, planned)(x, y)
			}
		})
	}
}

func (s *sketch) isMeasured(x, y int) bool {
	return y >= 0 && y < s.plotH && s.t[(s.plotTop+y)*s.w+gutter+x] == hot
}

func (s *sketch) celsius() []Series {
	var out []Series
	for _, e := range s.f.Extra {
		if !e.Fraction {
			out = append(out, e)
		}
	}
	return out
}

func extraRune(i int) rune { return rune("o+x%"[i%4]) }

func (s *sketch) extras() {
	for i, e := range s.celsius() {
		s.stroke(e.dots(), s.where(extraRune(i), extra))
	}
}

// where puts a character only on cells that are still free or only the ceiling's.
func (s *sketch) where(r rune, t tone) func(x, y int) {
	return func(x, y int) {
		i := (s.plotTop+y)*s.w + gutter + x
		if s.r[i] == ' ' || s.r[i] == '-' {
			s.r[i], s.t[i] = r, t
		}
	}
}

// stroke draws a curve in whole cells.
func (s *sketch) stroke(curve []dot, put func(x, y int)) {
	for _, run := range runs(decimate(curve, s.end, s.columns())) {
		var px, py int
		for i, d := range run {
			fx, fy := s.at(d.t, d.v)
			x, y := int(math.Round(fx)), min(max(int(math.Round(fy)), 0), s.plotH-1)
			if i == 0 {
				px, py = x, y
			}
			bresenham(px, py, x, y, put)
			px, py = x, y
		}
	}
}

// bresenham visits the cells of a straight line (Bresenham, IBM Systems Journal
// 4(1), 1965, in its form for all octants).
func bresenham(x0, y0, x1, y1 int, put func(x, y int)) {
	dx, dy := abs(x1-x0), -abs(y1-y0)
	sx, sy := sign(x1-x0), sign(y1-y0)
	for e := dx + dy; ; {
		put(x0, y0)
		if x0 == x1 && y0 == y1 {
			return
		}
		twice := 2 * e
		if twice >= dy {
			e += dy
			x0 += sx
		}
		if twice <= dx {
			e += dx
			y0 += sy
		}
	}
}

func abs(n int) int { return max(n, -n) }

func sign(n int) int { return min(max(n, -1), 1) }

// gravity marks what to look at first; readable without colour.
func gravity(v record.Severity) (string, tone) {
	switch v {
	case record.Alarm:
		return "!!", grave
	case record.Warn:
		return " !", planned
	}
	return "  ", plain
}

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

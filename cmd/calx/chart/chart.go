// Package chart shows how a firing went, or goes, as a picture: in the
// terminal ([Sketch]) and as an image ([PNG], [SVG]). It draws what it is
// given and judges nothing; the figures of a firing are package summary's.
//
// For most uses: build a [Firing] with [FromRecords], add what only the caller
// knows (the plan, the ceiling, the local time zone), and hand it to one of the
// three drawings. The same Firing always gives the same bytes.
//
// A drawing never hides a spike: where many readings fall on one column of
// pixels the lowest and the highest of them are drawn.
package chart

import (
	"math"
	"strings"
	"time"

	"calx/cmd/calx/summary"
	"calx/profile"
	"calx/storage/record"
)

// Firing is everything a drawing shows. The zero value draws an empty frame.
type Firing struct {
	Title      string        // shown large; may be empty
	Start      time.Time     // start of the firing; its Location is the one the clock axis shows
	Points     []Point       // in order of Since
	Plan       []PlanPoint   // the profile as planned at the start, in order; nil draws only the setpoint
	Events     []Mark        // in order of Since
	Fahrenheit bool          // °F on the first axis, °C on the second
	CeilingC   float64       // °C; 0 = none
	Now        time.Duration // since the start, while the firing runs; 0 = it has ended
	Extra      []Series      // further curves, drawn in the order given
	Difference Series        // one curve less another, °C, in a panel of its own; without samples there is none
}

// Point is one reading as drawn. A field that is NaN or infinite is a gap.
type Point struct {
	Since     time.Duration
	HotC      float64 // measured in the chamber, °C
	SetpointC float64 // °C
	Duty      float64 // 0..1
}

// PlanPoint is a corner of the planned curve, which is straight in between.
type PlanPoint struct {
	Since time.Duration
	C     float64 // °C
}

// Mark is something that happened, shown as a lettered line.
type Mark struct {
	Since    time.Duration
	Label    string // one short line, for people
	Severity record.Severity
}

// Series is one more curve over the same time: a core temperature, the water
// left, the fraction cleared.
type Series struct {
	Name     string
	Fraction bool // values are 0..1 and share the duty panel; otherwise they are °C
	Samples  []Sample
}

// Sample is one value of a Series; NaN is a gap.
type Sample struct {
	Since time.Duration
	Value float64
}

// FromRecords turns what the log keeps into a Firing. Every reading becomes a
// point, so nothing is lost before the width of the drawing is known. Missing
// readings (see summary.GapAfter) become a gap. The start is taken from the
// last reading, because a board without a battery clock begins with the wrong
// time and corrects it later; it is in UTC, so set Start to Start.Local(), or
// to the place you want, before drawing. Plan, CeilingC, Now and Extra are the
// caller's to add.
func FromRecords(head record.Firing, readings []record.Reading, events []record.Event) Firing {
	f := Firing{
		Title:      head.Name,
		Start:      head.Started,
		Points:     make([]Point, 0, len(readings)),
		Events:     make([]Mark, 0, len(events)),
		Fahrenheit: head.Units == "F",
	}
	gapAfter := summary.GapAfter(head)
	for i, r := range readings {
		if i > 0 && r.Since-readings[i-1].Since >= gapAfter {
			gap := readings[i-1].Since + 1
			f.Points = append(f.Points, Point{Since: gap, HotC: math.NaN(), SetpointC: math.NaN(), Duty: math.NaN()})
		}
		f.Points = append(f.Points, Point{Since: r.Since, HotC: summary.ChamberC(head, r), SetpointC: r.SetpointC, Duty: r.Duty})
	}
	if n := len(readings); n > 0 && !readings[n-1].Wall.IsZero() {
		f.Start = readings[n-1].Wall.Add(-readings[n-1].Since).Round(time.Second)
	}
	for _, e := range events {
		f.Events = append(f.Events, Mark{Since: e.Since, Label: label(e), Severity: e.Severity})
	}
	return f
}

// Plan turns a profile laid out over time into the corners of the planned
// curve, as the profile is written.
func Plan(t *profile.Timeline) []PlanPoint {
	var out []PlanPoint
	for _, s := range t.Segments {
		out = append(out, PlanPoint{s.From, s.FromC})
		for _, p := range s.Points {
			out = append(out, PlanPoint{p.At, p.PlanC})
		}
		out = append(out, PlanPoint{s.To, s.ToC})
	}
	return out
}

// label is the first line of what an event says, or its code.
func label(e record.Event) string {
	first, _, _ := strings.Cut(strings.TrimSpace(e.Text), "\n")
	if first == "" {
		return e.Code
	}
	return first
}

// emptyWidth is the time axis of a firing that has not begun.
const emptyWidth = time.Hour

// end is the right edge of the time axis: the last thing there is to show.
func (f Firing) end() time.Duration {
	end := f.Now
	if n := len(f.Points); n > 0 {
		end = max(end, f.Points[n-1].Since)
	}
	if n := len(f.Plan); n > 0 {
		end = max(end, f.Plan[n-1].Since)
	}
	for _, m := range f.Events {
		end = max(end, m.Since)
	}
	for _, s := range f.Extra {
		if n := len(s.Samples); n > 0 {
			end = max(end, s.Samples[n-1].Since)
		}
	}
	if end <= 0 {
		return emptyWidth
	}
	return end
}

// measured, setpoint, plan and samples give each curve the one shape that
// decimation works on.
func (f Firing) measured() []dot {
	return dots(f.Points, func(p Point) dot { return dot{p.Since, p.HotC} })
}

func (f Firing) setpoint() []dot {
	return dots(f.Points, func(p Point) dot { return dot{p.Since, p.SetpointC} })
}

func (f Firing) duty() []dot {
	return dots(f.Points, func(p Point) dot { return dot{p.Since, p.Duty} })
}

func (f Firing) plan() []dot {
	return dots(f.Plan, func(p PlanPoint) dot { return dot{p.Since, p.C} })
}

func (s Series) dots() []dot {
	return dots(s.Samples, func(p Sample) dot { return dot{p.Since, p.Value} })
}

func dots[T any](in []T, of func(T) dot) []dot {
	out := make([]dot, len(in))
	for i, v := range in {
		out[i] = of(v)
		if math.IsInf(out[i].v, 0) {
			out[i].v = math.NaN()
		}
	}
	return out
}

// peak is the hottest measured point; ok is false without any.
func (f Firing) peak() (hottest dot, ok bool) {
	for _, d := range f.measured() {
		if !math.IsNaN(d.v) && (!ok || d.v > hottest.v) {
			hottest, ok = d, true
		}
	}
	return hottest, ok
}

// rangeC is the span of all temperatures shown, °C. A ceiling far above the
// rest does not squeeze the curves: it counts only within ceilingReach of them.
func (f Firing) rangeC() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	widen := func(ds []dot) {
		for _, d := range ds {
			if !math.IsNaN(d.v) {
				lo, hi = min(lo, d.v), max(hi, d.v)
			}
		}
	}
	widen(f.measured())
	widen(f.setpoint())
	widen(f.plan())
	for _, s := range f.Extra {
		if !s.Fraction {
			widen(s.dots())
		}
	}
	if lo > hi {
		lo, hi = 0, emptyTopC
	}
	if hi-lo < leastSpanC {
		mid := (lo + hi) / 2
		lo, hi = mid-leastSpanC/2, mid+leastSpanC/2
	}
	if f.CeilingC > hi && f.CeilingC-hi <= ceilingReach*(hi-lo) {
		hi = f.CeilingC
	}
	return lo, hi
}

const (
	emptyTopC    = 100.0 // °C, top of an empty frame
	leastSpanC   = 10.0  // °C; noise of a tenth of a degree must not fill the drawing
	ceilingReach = 0.25  // of the span
)

// degrees is the unit a person reads.
type degrees bool // true is °F

func (d degrees) of(c float64) float64 {
	if d {
		return c*9/5 + 32
	}
	return c
}

func (d degrees) String() string {
	if d {
		return "°F"
	}
	return "°C"
}

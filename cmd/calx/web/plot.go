package web

import (
	"fmt"
	"math"
	"strings"

	"calx/cmd/calx/health"
)

// plot is a drawing whose x are per cent of its width, whatever that is, and
// whose y are pixels: type stays as large on a telephone as on paper.
type plot struct {
	ID, Title, Desc string
	Height, Floor   float64
	Rules           []plotRule
	Bands           []plotBand
	Ticks           []plotText // Y is not used
	Lines           []plotLine
	Dots            []plotDot
	Texts           []plotText
}

type plotRule struct {
	Y     float64
	Label string
}

type plotBand struct{ Class, Points string }

type plotLine struct {
	Class          string
	X1, Y1, X2, Y2 float64
}

type plotDot struct {
	Class   string
	X, Y, R float64
}

type plotText struct {
	X, Y                float64
	Anchor, Text, Class string
}

// Label is what stands at a tick.
func (t plotText) Label() string { return t.Text }

// course is a trend to be drawn.
type course struct {
	ID, Title, Desc string
	Trend           health.Trend
	Entries         []health.Entry
	Shown           func(v float64) float64 // in the unit shown
	Unit            string
	Home            *level           // where it ought to be
	Goal            *level           // what it must not reach
	Reach           *health.Forecast // when it reaches that
	Tall            bool
}

// level is a value that matters, in the unit of the trend.
type level struct {
	Value float64
	Label string
	Far   string // instead, where the drawing does not reach down to it
}

const (
	shortPlot, tallPlot = 190.0, 270.0
	plotHead            = 18.0 // pixels above the highest value
	plotFoot            = 26.0 // below the floor
	plotEdge            = 2.0  // per cent on either side
)

// drawing is a course being drawn.
type drawing struct {
	course
	*plot
	now    float64 // place of the newest firing
	end    float64 // of the right edge
	lo, hi float64 // of y, as shown
}

func (c course) draw() *plot {
	d := drawing{course: c, plot: &plot{ID: c.ID, Title: c.Title, Desc: c.Desc, Height: shortPlot}, now: float64(len(c.Entries) - 1)}
	if c.Tall {
		d.Height = tallPlot
	}
	d.Floor = d.Height - plotFoot
	d.reach()
	d.scale()
	d.levels()
	d.trend()
	d.points()
	d.ticks()
	return d.plot
}

// reach sets how far ahead the drawing goes: past the end of the forecast where
// that leaves the firings a quarter of it.
func (d *drawing) reach() {
	d.end = math.Max(d.now, 1)
	f, n := d.Reach, d.now+1
	switch {
	case f == nil:
	case float64(f.To) <= 3*n:
		d.end = d.now + math.Max(1.05*float64(f.To), n/4)
	case float64(f.In) <= 2*n:
		d.end = d.now + 3*n
	default:
		d.end = d.now + n
	}
}

// x and y are places in the drawing.
func (d *drawing) x(place float64) float64 {
	return plotEdge + (100-2*plotEdge)*place/d.end
}

func (d *drawing) y(v float64) float64 {
	return plotHead + (d.Floor-plotHead)*(d.hi-d.Shown(v))/(d.hi-d.lo)
}

// inside reports whether a value is within the drawing.
func (d *drawing) inside(v float64) bool { y := d.y(v); return y >= plotHead/2 && y <= d.Floor }

// scale finds the range of y and its rules.
func (d *drawing) scale() {
	d.lo, d.hi = math.Inf(1), math.Inf(-1)
	take := func(v float64) {
		d.lo, d.hi = math.Min(d.lo, d.Shown(v)), math.Max(d.hi, d.Shown(v))
	}
	for _, p := range d.Trend.Points {
		take(float64(p.Value.Value - 2*p.Value.SE))
		take(float64(p.Value.Value + 2*p.Value.SE))
	}
	if d.Home != nil {
		take(d.Home.Value)
	}
	if l, ok := d.Trend.Line(); ok {
		take(l.At(d.now))
		switch f := d.Reach; {
		case f != nil && float64(f.In) > d.end-d.now:
			take(l.At(d.end))
		case f != nil, d.Goal != nil && l.At(d.now) < d.Goal.Value:
			take(d.Goal.Value)
		}
	}
	room := 0.04 * (d.hi - d.lo)
	if d.Reach != nil {
		room = 0.12 * (d.hi - d.lo) // a line of words stands below the goal
	}
	d.lo, d.hi = d.lo-room, d.hi+0.04*(d.hi-d.lo)
	if !(d.hi-d.lo > 1e-3) {
		d.lo, d.hi = d.lo-0.5, d.hi+0.5
	}
	step := roundStep((d.hi - d.lo) / (d.Height / 45))
	decimals := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	for v := math.Ceil(d.lo/step) * step; v <= d.hi; v += step {
		y := plotHead + (d.Floor-plotHead)*(d.hi-v)/(d.hi-d.lo)
		label := fmt.Sprintf("%.*f", decimals, math.Round(v/step)*step+0) // + 0 makes -0 none
		d.Rules = append(d.Rules, plotRule{y, strings.Replace(label, "-", "\u2212", 1)})
	}
	if n := len(d.Rules); n > 0 {
		d.Texts = append(d.Texts, plotText{X: 0, Y: 8, Anchor: "start", Text: d.Unit})
	}
}

// roundStep is the next of 1, 2, 5, 10, ... from least.
func roundStep(least float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(least)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= least*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

// levels draws where it ought to be and what it must not reach.
func (d *drawing) levels() {
	if h := d.Home; h != nil {
		y := d.y(h.Value)
		d.Lines = append(d.Lines, plotLine{"home", 0, y, 100, y})
		up := -5.0
		if float64(d.Trend.Now.Value) > h.Value && y < d.Floor-18 {
			up = 14
		}
		d.Texts = append(d.Texts, plotText{100, y + up, "end", h.Label, "of-home"})
	}
	g := d.Goal
	if g == nil {
		return
	}
	if !d.inside(g.Value) {
		if d.Reach != nil {
			d.Texts = append(d.Texts, plotText{0.5, d.Floor - 7, "start", g.Far, "of-goal"})
		}
		return
	}
	y := d.y(g.Value)
	d.Lines = append(d.Lines, plotLine{"goal", 0, y, 100, y})
	d.Texts = append(d.Texts, plotText{0.5, y - 6, "start", g.Label, "of-goal"})
}

// trend draws the line that is told, its band, and both as they go on.
func (d *drawing) trend() {
	l, ok := d.Trend.Line()
	if !ok {
		return
	}
	first := float64(d.Trend.Points[0].Place)
	d.Bands = append(d.Bands, d.band("band", l, first, d.now))
	d.Lines = append(d.Lines, plotLine{"trend", d.x(first), d.y(l.At(first)), d.x(d.now), d.y(l.At(d.now))})
	f := d.Reach
	if f == nil {
		return
	}
	d.Bands = append(d.Bands, d.band("ahead", l, d.now, d.end))
	to := math.Min(d.now+float64(f.In), d.end)
	d.Lines = append(d.Lines, plotLine{"dotted", d.x(d.now), d.y(l.At(d.now)), d.x(to), d.y(l.At(to))})
	if !d.inside(d.Goal.Value) {
		return
	}
	y := d.y(d.Goal.Value)
	from, until := math.Min(d.now+float64(f.From), d.end), math.Min(d.now+float64(f.To), d.end)
	if float64(f.In) <= d.end-d.now {
		d.Lines = append(d.Lines, plotLine{"reach", d.x(from), y, d.x(until), y})
		d.Dots = append(d.Dots, plotDot{"cross", d.x(to), y, 4.5})
		d.Texts = append(d.Texts, plotText{100, y + 17, "end", "in about " + f.String(), "of-goal"})
	}
}

// band is the interval of the line between two places, as a polygon.
func (d *drawing) band(class string, l health.Line, from, to float64) plotBand {
	const steps = 24
	floor := d.Floor
	if d.Reach != nil && d.inside(d.Goal.Value) {
		floor = d.y(d.Goal.Value) // past it there is nothing to foretell
	}
	var up, down []string
	for i := range steps + 1 {
		at := from + (to-from)*float64(i)/steps
		lo, hi := l.Band(at)
		clip := func(v float64) float64 { return math.Min(math.Max(d.y(v), 0), floor) }
		up = append(up, figure(d.x(at))+","+figure(clip(hi)))
		down = append([]string{figure(d.x(at)) + "," + figure(clip(lo))}, down...)
	}
	return plotBand{class, strings.Join(append(up, down...), " ")}
}

func (d *drawing) points() {
	r := 3.0
	if len(d.Trend.Points) > 80 {
		r = 2
	}
	for _, p := range d.Trend.Points {
		x, v, se := d.x(float64(p.Place)), float64(p.Value.Value), float64(p.Value.SE)
		d.Lines = append(d.Lines, plotLine{"whisker", x, d.y(v - 2*se), x, d.y(v + 2*se)})
		d.Dots = append(d.Dots, plotDot{"point", x, d.y(v), r})
	}
}

// ticks names firings by their number, and those ahead by how far.
func (d *drawing) ticks() {
	const (
		width = 6.0  // ticks in the narrowest drawing
		word  = 0.22 // share of it that the name of the newest takes
	)
	tick := func(place float64, text string) {
		d.Ticks = append(d.Ticks, plotText{X: d.x(place), Anchor: "middle", Text: text})
	}
	step := math.Max(roundStep(d.end/width), 1)
	clear := word * d.end
	if d.Reach != nil {
		clear /= 2 // its name stands in the middle
	}
	clear += 0.03 * d.end
	if d.now > clear && step > 1 {
		tick(0, fmt.Sprint(d.Entries[0].ID))
	}
	for p := step - 1; p < d.now-clear; p += step {
		tick(p, fmt.Sprint(d.Entries[int(p)].ID))
	}
	if len(d.Entries) > 0 {
		last := fmt.Sprint("firing ", d.Entries[len(d.Entries)-1].ID)
		tick(d.now, last)
		if d.Reach == nil && d.now > 0 {
			d.Ticks[len(d.Ticks)-1].Anchor = "end"
		}
	}
	for a := step; d.Reach != nil && d.now+a <= d.end; a += step {
		if a < clear {
			continue
		}
		tick(d.now+a, fmt.Sprintf("+%.0f", a))
	}
}

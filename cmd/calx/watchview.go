package main

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"time"

	"calx/cmd/calx/chart"
	"calx/cmd/calx/station"
)

// scene is everything a view shows.
type scene struct {
	st     station.Status
	past   *past  // of the firing that runs or was the last; may be nil
	lost   string // why nothing is heard now; "" while all is well
	age    time.Duration
	inF    bool
	width  int
	height int
	color  bool
	glyphs bool // more than seven bits
}

// The narrowest and lowest view.
const leastWidth, leastHeight = 40, 10

// staleAfter is how old a status may be before it counts as old: the longest
// time between two readings, and a little.
const staleAfter = 12 * time.Second

func (s *scene) stale() bool { return s.lost != "" || s.age > staleAfter }

func (s *scene) row() *row {
	return &row{width: max(s.width, leastWidth), color: s.color, unicode: s.glyphs}
}

// view lays the scene out: what matters most first, the curve where there is
// room, the newest events in what remains. It is at most height lines.
func (s *scene) view() []string {
	out := []string{s.heading()}
	out = append(out, s.banners()...)
	out = append(out, s.figures()...)
	out = append(out, s.plan()...)
	room := max(s.height, leastHeight) - len(out)
	events := s.events(max(room, 0))
	if curve := s.curve(); len(curve) > 0 && room >= len(curve)+s.newest() {
		events = s.events(min(room-len(curve), mostEvents))
		out = append(out, curve...)
	}
	out = append(out, events...)
	if spare := max(s.height, leastHeight) - len(out); spare > 0 {
		out = s.airy(out, spare)
	}
	return out[:min(len(out), max(s.height, leastHeight))]
}

// mostEvents is how many lines of events stand below a curve.
const mostEvents = 8

// airy puts empty lines around the figures where there is room.
func (s *scene) airy(lines []string, spare int) []string {
	head := 1 + len(s.banners())
	figures := head + len(s.figures())
	plan := figures + len(s.plan())
	var out []string
	for i, l := range lines {
		if spare > 0 && (i == head || i == figures || i == plan) {
			out = append(out, "")
			spare--
		}
		out = append(out, l)
	}
	return out
}

func (s *scene) heading() string {
	r := s.row().put(bold, "calx").put("", "  "+s.st.Kiln)
	at := s.st.Wall.Local().Format("Mon 2 Jan 15:04:05")
	if s.stale() {
		return r.end(red, "NOT LIVE, last seen "+s.st.Wall.Local().Format("15:04:05")).String()
	}
	return r.end(faint, at).String()
}

// banners are what must not be overlooked.
func (s *scene) banners() []string {
	var out []string
	say := func(sgr, text, hint string) {
		out = append(out, s.wrapped(sgr, "!! ", text)...)
		if hint != "" {
			out = append(out, s.wrapped("", "   ", hint)...)
		}
	}
	switch {
	case s.lost != "":
		say(red, fmt.Sprintf("connection lost %s ago: %s; trying again", span(s.age), s.lost), "what the kiln does now is not known here; if this lasts, look at the board")
	case s.stale():
		say(red, fmt.Sprintf("no new reading for %s", span(s.age)), "calx answers but does not read; look at the board")
	}
	if s.st.OutputError != "" {
		say(red, "the heat relay's output does not answer: "+s.st.OutputError, "switch the kiln off at the wall and look at the relay and its wiring")
	}
	if s.st.LogBehind {
		say(red, "readings cannot be written; they are kept in memory", "make room on the disk; the firing goes on meanwhile")
	}
	return out
}

// wrapped breaks a text under a mark.
func (s *scene) wrapped(sgr, mark, text string) []string {
	var out []string
	for _, l := range strings.Split(wrap(printable(text), max(s.width, leastWidth), cells(mark)), "\n") {
		r := s.row()
		if len(out) == 0 {
			r.put(sgr, mark)
		}
		out = append(out, r.to(cells(mark)).put(sgr, strings.TrimLeft(l, " ")).String())
	}
	return out
}

// The large temperature: its left edge, the least room beside it, and the
// terminal from which it is written twice as large.
const (
	figuresIndent = 2
	besideLeast   = 20
	hugeWidth     = 100
	hugeHeight    = 34
)

// figures are the temperature, large, and beside it what the heat does.
func (s *scene) figures() []string {
	digits, sgr := s.digits(1)
	column := s.besideColumn(digits)
	if column+besideLeast > s.rowWidth() {
		digits, sgr = s.digits(0)
		column = s.besideColumn(digits)
	}
	beside, top := s.beside(), (len(digits)-bigRows)/2
	under := column+besideLeast > s.rowWidth()
	var out []string
	for y, d := range digits {
		r := s.row().to(figuresIndent).put(sgr, d)
		if y == 0 {
			r.put(sgr, " "+degree(s.inF))
		}
		if !under && y >= top && y-top < len(beside) {
			beside[y-top](r.to(column))
		}
		out = append(out, r.String())
	}
	if under {
		for _, b := range beside {
			r := s.row().to(figuresIndent)
			b(r)
			out = append(out, r.String())
		}
	}
	return out
}

func (s *scene) rowWidth() int { return max(s.width, leastWidth) }

func (s *scene) besideColumn(digits []string) int {
	return figuresIndent + cells(digits[0]) + cells(" °C") + 3
}

// digits are the temperature with that many decimals, and its colour.
func (s *scene) digits(decimals int) (lines []string, sgr string) {
	text, sgr := "---", red
	if c := s.st.ChamberC; c != nil {
		text, sgr = fmt.Sprintf("%.*f", decimals, inUnit(*c, s.inF)), "1;36"
	}
	if s.stale() {
		sgr = faint
	}
	scale := 1
	if s.width >= hugeWidth && s.height >= hugeHeight {
		scale = 2
	}
	return big(text, scale, s.glyphs), sgr
}

// beside are four lines next to the temperature.
func (s *scene) beside() []func(*row) {
	st := s.st
	return []func(*row){
		func(r *row) {
			word, sgr := s.phase()
			r.put(sgr, word)
			if v, ok := s.slope(); ok {
				r.maybe("", ", "+v)
			}
		},
		func(r *row) {
			switch {
			case st.ChamberC == nil:
				r.put(red, "no temperature: "+strings.ReplaceAll(st.Fault, "_", " "))
			case st.SetpointC != nil:
				r.put(faint, "setpoint ").put("", temperature(st.SetpointC, s.inF)).maybe(faint, s.off())
			}
		},
		func(r *row) {
			r.put(faint, "heat ")
			s.bar(r, st.Duty, min(16, r.width-r.used-8))
			r.put("", fmt.Sprintf(" %.0f %%", st.Duty*100))
		},
		func(r *row) {
			if f := st.Firing; f != nil {
				r.put(faint, "used ").put("", kWh(f.EnergyKWh)).maybe(faint, fmt.Sprintf(", %d relay cycles", st.Cycles))
			}
			if st.Air {
				r.maybe("", ", air on")
			}
		},
	}
}

// phase is what the controller does, and its colour.
func (s *scene) phase() (word, sgr string) {
	f := s.st.Firing
	if f == nil {
		if s.st.Heat {
			return "idle, yet the heat is on", red
		}
		return "idle, heat off", bold
	}
	switch f.Phase {
	case "waiting":
		return "waiting for the kiln", yellow
	case "paused":
		return "paused", yellow
	case "tripped":
		return "stopped by a guard; heat off", red
	case "cooling":
		return "cooling, heat off", bold
	}
	return f.Phase, bold
}

// off is how far the chamber is from the setpoint.
func (s *scene) off() string {
	d := *s.st.ChamberC - *s.st.SetpointC
	word := "above"
	if d < 0 {
		word = "below"
	}
	if math.Abs(d) < 0.05 {
		return ", on it"
	}
	return fmt.Sprintf(", %s %s", strings.Fields(difference(math.Abs(d), 1, s.inF))[0], word)
}

func (s *scene) slope() (string, bool) {
	if s.past == nil || s.st.Firing == nil || s.st.ChamberC == nil {
		return "", false
	}
	v, ok := s.past.slope()
	if !ok {
		return "", false
	}
	sign := "+"
	if v < 0 {
		sign = "−"
	}
	return sign + difference(math.Abs(v), 0, s.inF) + "/h", true
}

// bar shows a share.
func (s *scene) bar(r *row, share float64, n int) {
	if n < 4 {
		return
	}
	half := int(math.Round(min(max(share, 0), 1) * float64(2*n)))
	full := strings.Repeat("█", half/2)
	if half%2 == 1 {
		full += "▌"
	}
	r.put("34", full).put(faint, strings.Repeat("░", n-cells(full)))
}

// plan is the firing, the step, and how long each has and will take.
func (s *scene) plan() []string {
	f := s.st.Firing
	if f == nil {
		return s.before()
	}
	step, whole := "", fmt.Sprintf("%s of %s", hours(seconds(f.SinceS)), hours(seconds(f.PlannedS)))
	if over(f) {
		whole = "after " + hours(seconds(f.SinceS))
	}
	if l := s.past.left(s.st); l.ok {
		word := "to go"
		if l.bound {
			word = "at most"
		}
		step = spans(s.inStep(), l.step, word)
		whole = spans(seconds(f.SinceS), l.firing, "to go")
		ends := ", ends "
		if l.open {
			ends += "about "
		}
		ends += s.st.Wall.Local().Add(l.firing).Format("Mon 15:04")
		if s.rowWidth() >= planColumn+cells(whole+ends)+leastName {
			whole += ends
		}
	}
	out := s.pair(fmt.Sprintf("step %d/%d", f.Step, f.Steps), bold, f.Sentence, step, false)
	return append(out, s.pair(fmt.Sprintf("firing %d", f.ID), "", f.Name, whole, true)...)
}

// pair is a named line with a time at its right edge. Where both do not fit,
// the text is shortened, or the time moves to a line of its own.
func (s *scene) pair(name, sgr, text, time string, shorten bool) []string {
	r := s.row().put(faint, name+" ").to(planColumn)
	room := r.width - planColumn - 2 - cells(time)
	switch {
	case cells(text) <= room:
	case shorten && room >= cells(text)/3:
		text = fit(text, room)
	default:
		below := s.row().to(planColumn).put("", time)
		return []string{r.put(sgr, text).String(), below.String()}
	}
	return []string{r.put(sgr, text).end("", time).String()}
}

// planColumn is where names begin; leastName is what is left for one.
const planColumn, leastName = 11, 12

// inStep is how long the present step has taken; -1 when that is not known.
func (s *scene) inStep() time.Duration {
	if s.past.step != s.st.Firing.Step {
		return -1
	}
	return max(seconds(s.st.Firing.SinceS)-s.past.stepAt, 0)
}

// spans words a time that has gone and one to come.
func spans(gone, togo time.Duration, word string) string {
	to := hours(togo) + " " + word
	if word != "to go" {
		to = word + " " + hours(togo) + " more"
	}
	if gone < 0 {
		return to
	}
	return hours(gone) + " in, " + to
}

// before says how the last firing ended, while nothing is fired.
func (s *scene) before() []string {
	l := s.st.Last
	if l == nil {
		return []string{s.row().put(faint, "calx fire PROFILE begins a firing").String()}
	}
	sgr := ""
	switch l.Outcome {
	case "finished":
		sgr = green
	case "tripped", "interrupted":
		sgr = red
	}
	r := s.row().put(faint, fmt.Sprintf("firing %d ", l.ID)).to(planColumn).put(bold, l.Name).put(sgr, "  "+l.Outcome)
	r.end(faint, fmt.Sprintf("after %s, %s", hours(seconds(l.SinceS)), kWh(l.EnergyKWh)))
	out := []string{r.String()}
	if l.Reason != "" {
		out = append(out, s.wrapped("", strings.Repeat(" ", planColumn), l.Reason)...)
	}
	return out
}

// curveLines is how many lines the curve gets: less than half of the view.
func (s *scene) curveLines() int { return min(max(s.height*2/5+3, 14), 28) }

// curve draws the firing so far, without the heading that the view has already.
func (s *scene) curve() []string {
	if s.past == nil {
		return nil
	}
	f := s.past.chart(s.st, s.inF)
	if len(f.Points) == 0 {
		return nil
	}
	legend := s.height >= 30
	return sketchLines(f, chart.SketchOpts{Width: min(max(s.width, leastWidth), 132), Height: s.curveLines(), Color: s.color, Unicode: s.glyphs}, func(i int, line string) bool {
		return i > 1 && (s.height >= 22 || !strings.Contains(line, "hours")) || i == 1 && legend
	})
}

// sketchLines is a sketch, but only the lines that are wanted; line is without
// colour.
func sketchLines(f chart.Firing, o chart.SketchOpts, want func(i int, line string) bool) []string {
	var b bytes.Buffer
	// Writing to memory does not fail.
	_ = chart.Sketch(&b, f, o)
	var out []string
	for i, l := range strings.Split(strings.TrimRight(b.String(), "\n"), "\n") {
		if want(i, l) {
			out = append(out, l)
		}
	}
	return out
}

// newest is how many lines the newest event takes.
func (s *scene) newest() int {
	f := s.shown()
	if f == nil || len(f.Events) == 0 {
		return 0
	}
	return len(s.event(f.Events[len(f.Events)-1]))
}

// shown is the firing that runs, or else the last.
func (s *scene) shown() *station.Firing {
	if s.st.Firing != nil {
		return s.st.Firing
	}
	return s.st.Last
}

// events are the newest, in at most n lines, oldest first.
func (s *scene) events(n int) []string {
	f := s.shown()
	if f == nil {
		return nil
	}
	var out []string
	for i := len(f.Events) - 1; i >= 0; i-- {
		lines := s.event(f.Events[i])
		if len(out)+len(lines) > n {
			if len(out) == 0 {
				return lines[:min(n, len(lines))]
			}
			break
		}
		out = append(lines, out...)
	}
	return out
}

// event is one event, with its hint unless it is an everyday one.
func (s *scene) event(e station.Event) []string {
	mark, sgr := "  ", ""
	switch e.Severity {
	case "warn":
		mark, sgr = " !", yellow
	case "alarm":
		mark, sgr = "!!", red
	}
	lines := s.wrapped(sgr, s.past.at(e.SinceS)+" "+mark+" ", e.Text)
	if e.Severity != "info" && e.Hint != "" {
		lines = append(lines, s.wrapped(faint, "         ", "→ "+e.Hint)...)
	}
	return lines
}

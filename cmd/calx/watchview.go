package main

import (
	"fmt"
	"math"
	"strings"
	"time"

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
	if t := s.st.Trip; t != nil && s.st.Firing == nil {
		say(red, fmt.Sprintf("firing %d tripped: %s", t.Firing, t.Text), strings.TrimSpace(t.Hint+"; then calx clear: nothing is fired before"))
	}
	if f := s.st.Firing; f != nil && f.Asks != "" {
		say(yellow, f.Asks, "calx resume lets it go on, calx stop ends it")
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
			if st.Door == "open" {
				r.maybe(yellow, ", door open")
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
	case "interrupted":
		return "waits for you, heat off", yellow
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

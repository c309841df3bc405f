package main

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"calx/cmd/calx/chart"
)

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
		if in := s.st.Inside; in != nil && in.EndS != nil {
			l.firing, l.open = max(seconds(*in.EndS-f.SinceS), 0), true
		}
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
	out = append(out, s.pair(fmt.Sprintf("firing %d", f.ID), "", f.Name, whole, true)...)
	return append(out, s.inside()...)
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

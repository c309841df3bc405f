package bench_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

const rowFormat = "%-33s %-11s %-21s %9s %9s %6s %6s %6s %6s %5s  %-9s %s\n"

func header() string {
	return fmt.Sprintf(rowFormat, "fault", "stage", "kiln", "found s", "off s", "peak", "rise", "best0", "best60", "lost", "outcome", "message")
}

func (c cell) row() string {
	i := c.g.initial
	text := c.code + ": " + c.text
	if c.code == "" {
		text = ""
	}
	if w := c.wrong(); w != "" {
		text = "### " + w + " ### " + text
	}
	return fmt.Sprintf(rowFormat, c.f.name, c.g.name, c.k.name, figure(c.foundS), figure(c.offS), figure(c.peakC), figure(c.peakC-c.fromC),
		figure(c.k.best0C[i]), figure(c.k.best60C[i]), figure(c.lostS), c.outcome, text)
}

// name is fault, stage and kiln.
func (c cell) name() string { return c.f.name + ", " + c.g.name + ", " + c.k.name }

// worst is one fault over all stages and kilns.
type worst struct {
	f              fault
	cells, tripped int
	found, off     cell // the slowest
	hot            cell // the one furthest above the bound, or nearest to it
	lostS          float64
	unheard, bad   int // nobody told; not as it must be
}

// worsts condenses the matrix, fault by fault.
func worsts(cells []cell) []worst {
	var out []worst
	for _, c := range cells {
		i := slices.IndexFunc(out, func(w worst) bool { return w.f.name == c.f.name })
		if i < 0 {
			i = len(out)
			out = append(out, worst{f: c.f, found: c, off: c, hot: c})
		}
		out[i].add(c)
	}
	return out
}

func (w *worst) add(c cell) {
	slower := func(a, b float64) bool { return math.IsNaN(b) || a > b }
	w.cells++
	if c.outcome == "tripped" {
		w.tripped++
		if slower(c.foundS, w.found.foundS) || w.found.outcome != "tripped" {
			w.found = c
		}
		if slower(c.offS, w.off.offS) || w.off.outcome != "tripped" {
			w.off = c
		}
	}
	if math.IsNaN(c.foundS) {
		w.unheard++
	}
	if c.wrong() != "" {
		w.bad++
	}
	if cmp.Compare(c.peakC-c.boundC(), w.hot.peakC-w.hot.boundC()) > 0 {
		w.hot = c
	}
	w.lostS = math.Max(w.lostS, c.lostS)
}

// condensed prints one line a fault. peak is the true chamber where it came
// nearest to what is allowed, or furthest beyond it.
func condensed(cells []cell) string {
	const format = "%-33s %-6s %7s %6s %9s %9s %6s %6s %6s %6s %5s %4s  %s\n"
	out := fmt.Sprintf(format, "fault", "must", "tripped", "untold", "found s", "off s", "peak", "bound", "rise", "best60", "lost", "bad", "where it was hottest")
	for _, w := range worsts(cells) {
		found, off := "-", "-"
		if w.tripped > 0 {
			found, off = figure(w.found.foundS), figure(w.off.offS)
		}
		h := w.hot
		out += fmt.Sprintf(format, w.f.name, [...]string{trips: "trip", told: "tell", passes: "pass", shown: "-"}[w.f.goal],
			fmt.Sprintf("%d/%d", w.tripped, w.cells), fmt.Sprint(w.unheard), found, off, figure(h.peakC), figure(h.boundC()), figure(h.peakC-h.fromC),
			figure(h.k.best60C[h.g.initial]), figure(w.lostS), fmt.Sprint(w.bad), h.g.name+", "+h.k.name)
	}
	return out
}

// figure is a number without its fraction; a dash where there is none.
func figure(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.0f", v)
}

package main

import (
	"fmt"
	"math"
	"strings"

	"calx/cmd/calx/health"
)

// health shows the kiln over all its firings.
func (c *showCmd) health(e *env) error {
	l, err := c.open(e.ctx)
	if err != nil {
		return err
	}
	step, stop := e.progressOf("firing")
	r, damage := lookAtHealth(e.ctx, l.Log, step)
	stop()
	if err := l.Close(); err != nil || r.Kiln == "" {
		return joined(damage, err)
	}
	if c.JSON {
		return joined(e.writeJSON(r), damage)
	}
	printHealth(e, r, c.fahrenheit(r.Units == "F"))
	return damage
}

func joined(a, b error) error {
	if a == nil {
		return b
	}
	return a
}

// printHealth is a table with the course of each figure, and what it leads to.
func printHealth(e *env, r health.Report, inF bool) {
	u := health.Units{InF: inF}
	w := r.Words(u)
	e.printf("%s over %s\n\n", e.paint(bold, "health of "+printable(r.Kiln)), w.Over)
	for _, p := range w.Parts {
		now := strings.TrimSpace(p.Value + " " + p.Of)
		if now == "" && (p.Name == "probes" || p.Name == "quartz") {
			continue // it has none of these
		}
		if now == "" {
			now = "no firing tells"
		}
		e.printf("  %s %s\n", e.paint(faint, fmt.Sprintf("%-9s", p.Name)), strings.TrimRight(fmt.Sprintf("%-29s %-16s %s", now, sparkline(p.Trend, 16), p.Each), " "))
		if p.Name == "heat loss" && r.HoldDuty.Known() {
			e.printf("  %9s %s\n", "", r.Holding(u))
		}
	}
	e.printf("\n")
	for _, f := range w.Findings {
		e.printf("%s\n", wrap(f.Text, e.width, 0))
	}
}

// sparkline draws the values of a trend, the newest last, from the lowest to
// the highest.
func sparkline(t health.Trend, width int) string {
	values := t.Points
	if len(values) < 2 {
		return ""
	}
	heights := []rune("▁▂▃▄▅▆▇█")
	if !unicode() {
		heights = []rune("_.-=+*%#")
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	var means []float64
	for i := range min(width, len(values)) {
		// A column is the mean of its share of the firings.
		from, to := i*len(values)/min(width, len(values)), (i+1)*len(values)/min(width, len(values))
		sum := 0.0
		for _, p := range values[from:to] {
			sum += float64(p.Value.Value)
		}
		m := sum / float64(to-from)
		means = append(means, m)
		lo, hi = math.Min(lo, m), math.Max(hi, m)
	}
	var b strings.Builder
	for _, m := range means {
		k := len(heights) / 2
		if hi > lo {
			k = int(math.Round((m - lo) / (hi - lo) * float64(len(heights)-1)))
		}
		b.WriteRune(heights[k])
	}
	return b.String()
}

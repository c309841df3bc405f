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
	e.printf("%s over %s, %s to %s\n\n", e.paint(bold, "health of "+printable(r.Kiln)), numberOf(r.Firings, "firing"), r.From.Local().Format("2 Jan 2006"), r.To.Local().Format("2 Jan 2006"))
	line := func(name, now string, t health.Trend, change string) {
		e.printf("  %s %-29s %-16s %s\n", e.paint(faint, fmt.Sprintf("%-9s", name)), now, sparkline(t, 16), change)
	}
	line("elements", ratioOf(r.Power.Now, "of the kiln file"), r.Power, perFiring(r.Power, 100, "%"))
	line("heat loss", ratioOf(r.Loss.Now, "of the kiln file"), r.Loss, perFiring(r.Loss, 100, "%"))
	if r.HoldDuty.Known() {
		e.printf("  %s %.0f %% duty at %s, by the kiln file %.0f %%\n", e.paint(faint, fmt.Sprintf("%-9s", "holding")), float64(r.HoldDuty)*100, wholeTemperature(r.HoldC, inF), r.FileDuty*100)
	}
	relay := fmt.Sprintf("%d closures", r.Cycles)
	if r.Rated > 0 {
		relay = fmt.Sprintf("%d of %d cycles, %.0f %%", r.Cycles, r.Rated, 100*float64(r.Cycles)/float64(r.Rated))
	}
	e.printf("  %s %s\n", e.paint(faint, fmt.Sprintf("%-9s", "relay")), relay)
	if len(r.Second.Points) > 0 {
		scale := 1.0
		if inF {
			scale = 1.8
		}
		line("probes", fmt.Sprintf("%+.1f %s to the second ± %.1f", scale*float64(r.Second.Now.Value), degree(inF), math.Max(scale*2*float64(r.Second.Now.SE), 0.1)), r.Second, perFiring(r.Second, scale, degree(inF)))
	}
	if len(r.Inversion.Points) > 0 {
		line("quartz", fmt.Sprintf("inverts at %s, true 573 °C", wholeTemperature(float64(r.Inversion.Now.Value), inF)), r.Inversion, perFiring(r.Inversion, 1, "°C"))
	}
	e.printf("\n")
	for _, w := range healthFindings(r, inF) {
		e.printf("%s\n", wrap(w, e.width, 0))
	}
}

func numberOf(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// ratioOf words a ratio as per cent with the doubt of 95 %, two standard errors.
func ratioOf(v health.Estimate, of string) string {
	if !v.Value.Known() {
		return "no firing tells"
	}
	return fmt.Sprintf("%.0f %% %s ± %.0f", float64(v.Value)*100, of, math.Max(2*100*float64(v.SE), 1))
}

// perFiring words the change from firing to firing with its interval.
func perFiring(t health.Trend, scale float64, unit string) string {
	if len(t.Points) == 0 {
		return ""
	}
	if !t.Told {
		return "no trend yet"
	}
	return fmt.Sprintf("%+.2f %s a firing", float64(t.Each)*scale, unit)
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

// healthFindings say what it comes to, the gravest first.
func healthFindings(r health.Report, inF bool) []string {
	var out []string
	topC := wholeTemperature(r.TopC, inF)
	switch {
	case r.Reach != nil && r.Reach.In == 0:
		out = append(out, fmt.Sprintf("The elements hardly hold %s any more, the hottest of the last firings: have them measured.", topC))
	case r.Reach != nil:
		out = append(out, fmt.Sprintf("The elements lose %.2f %% a firing (%.2f to %.2f); at this rate %s is out of reach in about %s.", -100*float64(r.Power.Each), -100*float64(r.Power.EachHi), -100*float64(r.Power.EachLo), topC, forecast(r.Reach)))
	case len(r.Power.Points) < 3:
		out = append(out, fmt.Sprintf("Nothing can be told of the elements yet: it takes three firings from a cold kiln to above %s with a long hold, and there are %d.", wholeTemperature(300, inF), len(r.Power.Points)))
	case !r.Power.Told:
		out = append(out, fmt.Sprintf("No trend of the elements can be told yet, from %d firings.", len(r.Power.Points)))
	}
	if l := r.Loss; l.Told && l.Each > 0 {
		out = append(out, fmt.Sprintf("The kiln loses more heat from firing to firing, %.2f %% each (%.2f to %.2f): look at the door seal.", 100*float64(l.Each), 100*float64(l.EachLo), 100*float64(l.EachHi)))
	}
	if r.Rated > 0 && r.Relay != nil {
		if r.Relay.In == 0 {
			out = append(out, "The relay has passed the cycles it is rated for: replace it before it welds.")
		} else {
			out = append(out, fmt.Sprintf("As it is fired now the relay reaches its rated cycles in about %s.", forecast(r.Relay)))
		}
	}
	if s := r.Second; s.Told {
		out = append(out, "The two thermocouples in the chamber drift apart: compare both with a fresh one.")
	}
	return out
}

// forecast words a number of firings with its interval.
func forecast(f *health.Forecast) string {
	if math.IsInf(float64(f.To), 0) || f.To > 5*f.In+50 {
		return fmt.Sprintf("%.0f firings (%.0f or more)", float64(f.In), float64(f.From))
	}
	return fmt.Sprintf("%.0f firings (%.0f to %.0f)", float64(f.In), float64(f.From), float64(f.To))
}

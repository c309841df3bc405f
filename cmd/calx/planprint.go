package main

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"time"

	"calx/profile"
	"calx/profile/plan"
)

// planView prints plans for people.
type planView struct {
	*env
	inF bool
}

// factWidth is the width of the words before figures.
const factWidth = 10

// plan is one plan from its headline to its notes.
func (v planView) plan(p *planned) {
	v.printf("%s\n", v.paint(bold, fmt.Sprintf("%s on kiln %s%s: %s", p.title, p.in.Kiln.Name, p.which, hours(p.Total))))
	v.headline(p)
	v.steps(p)
	v.printf("\n")
	v.sketch(p)
	v.after(p)
}

// headline is what it comes to.
func (v planView) headline(p *planned) {
	v.printf("\n")
	if !p.Start.IsZero() {
		v.fact("start", day(p.Start))
	}
	dry := fmt.Sprintf("%safter %s", p.at(p.DryAt), hours(p.DryAt))
	if p.wash {
		dry += " at the latest"
	}
	v.fact("dry", dry)
	if p.ClearBy > 0 {
		v.fact("clear", fmt.Sprintf("%safter %s, at even odds", p.at(p.ClearAt.Median), hours(p.ClearAt.Median)))
		v.fact("", fmt.Sprintf("%s to %s with a chance of %.0f %%", p.when(p.ClearAt.Low), p.when(p.ClearAt.High), p.ClearAt.Level*100))
		sure := fmt.Sprintf("%s %% sure by %s", percentage(p.in.Clear), p.when(p.ClearBy))
		if end := p.topEnds(); end > p.ClearBy+2*time.Minute {
			v.fact("", sure+"; the top hold is planned until "+p.when(end))
		} else {
			v.fact("", sure+", when the top hold is planned to end")
		}
	}
	if p.Ready.IsZero() {
		v.fact("ready", fmt.Sprintf("after %s, %s", hours(p.Total), p.end))
	} else {
		v.fact("ready", fmt.Sprintf("%s, %s", day(p.Ready), p.end))
	}
	energy := fmt.Sprintf("%s; at most %.0f %% of the power", kWh(p.EnergyKWh), p.PeakDuty*100)
	if p.in.PricePerKWh > 0 {
		energy = fmt.Sprintf("%s, which cost %.2f; at most %.0f %% of the power", kWh(p.EnergyKWh), p.Cost, p.PeakDuty*100)
	}
	v.fact("energy", energy)
	if p.Binding != "" {
		v.fact("slowest", p.Binding)
	}
}

// topEnds is when the hold until clear ends by plan.
func (p *planned) topEnds() time.Duration {
	for i, s := range p.Profile.Steps {
		if s.Until == profile.UntilClear {
			return p.Reasons[i].To
		}
	}
	return p.ClearBy
}

// at is the clock after a time, with a comma; nothing without a start.
func (p *planned) at(d time.Duration) string {
	if p.Start.IsZero() {
		return ""
	}
	return p.when(d) + ", "
}

// when is the clock after a time, or the time itself.
func (p *planned) when(d time.Duration) string {
	if p.Start.IsZero() {
		return hours(d)
	}
	return clockOf(p.Start, d.Seconds())
}

func (v planView) fact(name, text string) {
	v.printf("  %s%s\n", v.paint(faint, fmt.Sprintf("%-*s", factWidth, name)), v.wrapped(text, factWidth+2))
}

// wrapped breaks text as wrap does, but not between a number and its unit.
func (v planView) wrapped(text string, indent int) string {
	const most = 100 // longer lines are hard to read
	return wrapUnits(text, min(v.width, most), indent)
}

var numberUnit = regexp.MustCompile(`([0-9]) (h|min|s|g|kg|kWh|%|°?[CF](/h)?)([^0-9A-Za-z/]|$)`)

var hourMinute = regexp.MustCompile(`\bh ([0-9]+\x00min)`)

func wrapUnits(text string, width, indent int) string {
	const joined = "\x00" // stands for the blank meanwhile
	text = numberUnit.ReplaceAllString(text, "$1"+joined+"$2$4")
	text = hourMinute.ReplaceAllString(text, "h"+joined+"$1")
	return strings.ReplaceAll(wrap(text, width, indent), joined, " ")
}

// paragraph is wrapped text, two columns in.
func (v planView) paragraph(sgr, text string) {
	for _, l := range strings.Split(v.wrapped(text, 2), "\n") {
		v.printf("  %s\n", v.paint(sgr, strings.TrimSpace(l)))
	}
}

// item is a paragraph behind a dash.
func (v planView) item(text string) { v.printf("  - %s\n", v.wrapped(text, 4)) }

func (v planView) heading(text string) { v.printf("\n%s\n", v.paint(bold, text)) }

// The columns of the table of steps: when, then what and why.
const (
	whenWidth = 22
	whyColumn = 2 + whenWidth
)

// steps is the table: when, for how long and against which limit at the left,
// the sentence and its reason at the right.
func (v planView) steps(p *planned) {
	v.printf("\n  %s\n", v.paint(faint, fmt.Sprintf("%-*s%s", whenWidth, "    begins, and takes", "what, and why")))
	for i, r := range p.Reasons {
		begins := fmt.Sprintf("%2d  %5s", i+1, hoursMinutes(r.From.Seconds()))
		if !p.Start.IsZero() {
			begins += "  " + clockOf(p.Start, r.From.Seconds())
		}
		side := []string{begins, fmt.Sprintf("%*s", whenWidth-2, takes(r))}
		sentence := strings.Split(v.wrapped(p.Profile.Sentence(i), whyColumn), "\n")
		why := strings.Split(v.wrapped(r.Text, whyColumn), "\n")
		if r.Limit != "" {
			why = append(why, "")
			why[len(why)-1] = v.paint(faint, "bound by ") + v.paint(yellow, string(r.Limit))
		}
		for k, line := range append(sentence, why...) {
			line = strings.TrimSpace(line)
			if k < len(sentence) {
				line = v.paint(bold, line)
			}
			left := ""
			if k < len(side) {
				left = side[k]
			}
			left = v.paint(faint, left) + strings.Repeat(" ", whenWidth-cells(left))
			v.printf("  %s%s\n", left, line)
		}
	}
}

// takes is how long a step takes; the last one waits for a person.
func takes(r plan.Reason) string {
	if r.To == r.From {
		return ""
	}
	return hours(r.To - r.From)
}

// after is what is worth knowing about the plan.
func (v planView) after(p *planned) {
	if w := p.Window; p.in.PourC > 0 && w.PatternS > 0 {
		v.heading("pour window")
		v.paragraph("", v.window(p))
	}
	v.heading("notes")
	if !p.wash {
		v.item("for comparison, " + p.Common.String())
	}
	if p.Marched > 0 && !p.wash {
		v.item(fmt.Sprintf("a curve that no sentence could write would take %s on the same model", hours(p.Marched)))
	}
	for _, n := range p.notes() {
		v.item(n)
	}
}

func (v planView) window(p *planned) string {
	least := p.in.LeastC
	if least == 0 {
		least = p.in.PourC - usualFallK
	}
	minutes := func(s float64) string { return span(time.Duration(math.Floor(s)) * time.Second) }
	return fmt.Sprintf("out of the kiln, in still air at %s, the cavity stays above %s for %s, the core for %s; the outside is below it after %s",
		wholeTemperature(p.in.AmbientC, v.inF), wholeTemperature(least, v.inF), minutes(p.Window.PatternS), minutes(p.Window.CoreS), minutes(p.Window.SurfaceS))
}

// usualFallK is how far package plan lets the cavity fall when nothing is said.
const usualFallK = 50

// helps is what one change each would save.
func (v planView) helps(hs []plan.Help) {
	v.heading("what would help most: one change each")
	v.printf("  %s\n", v.paint(faint, fmt.Sprintf("%-*s%-*s%s", savesWidth, "saves", totalWidth, "then takes", "change")))
	for _, h := range hs {
		saves, total := "nothing", hours(h.Total)
		switch {
		case h.Err != nil:
			saves, total = "cannot be", ""
		case h.Saves >= worthSaying:
			saves = hours(h.Saves)
		case h.Saves <= -worthSaying:
			saves = "costs " + hours(-h.Saves)
		}
		v.printf("  %-*s%-*s%s\n", savesWidth, saves, totalWidth, total, v.paint(bold, v.wrapped(h.Name, helpColumn)))
		note := h.Note
		if h.Err != nil {
			note = h.Err.Error()
		}
		for _, l := range strings.Split(v.wrapped(note, helpColumn), "\n") {
			v.printf("%s%s\n", strings.Repeat(" ", helpColumn), v.paint(faint, strings.TrimSpace(l)))
		}
	}
}

// The columns of that table, and the least saving worth a figure.
const (
	savesWidth  = 15
	totalWidth  = 13
	helpColumn  = 2 + savesWidth + totalWidth
	worthSaying = 5 * time.Minute
)

// cautions are short, and the same for every plan.
func (v planView) cautions() {
	v.heading("before you fire")
	for _, s := range []string{
		"the figures are a model's: break open test pieces before you trust a casting to the clear time",
		"burning patterns give off carbon monoxide and smoke: extract them outdoors, as local codes want it; a CO alarm where people sleep",
		"calx is not the safety device: an independent limit controller with its own probe and contactor must stand behind it, and somebody in the house",
		"never pour into a mould that may be wet or holds char: it throws metal",
	} {
		v.item(s)
	}
}

// percentage is a share without idle decimals.
func percentage(v float64) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", v*100), ".0")
}

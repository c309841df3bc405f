package summary

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"
)

// WriteSummary writes a summary for a person: figures aligned, in °F if asked,
// with colour only if asked. Lines stay within 80 columns except where a step's
// sentence or a reason is longer itself.
func WriteSummary(w io.Writer, s Summary, fahrenheit, color bool) error {
	p := printer{fahrenheit: fahrenheit, color: color}
	p.head(s)
	p.figures(s)
	p.trips(s)
	p.steps(s)
	_, err := io.WriteString(w, p.String())
	return err
}

type printer struct {
	strings.Builder
	fahrenheit, color bool
}

// SGR parameters of ECMA-48 (5th edition, 8.3.117).
const (
	bold  = "1"
	faint = "2"
	red   = "31"
	green = "32"
)

func (p *printer) paint(sgr, s string) string {
	if !p.color {
		return s
	}
	return "\x1b[" + sgr + "m" + s + "\x1b[0m"
}

// row writes one "name  value" line; a wide gutter keeps values in one column.
func (p *printer) row(name, format string, a ...any) {
	fmt.Fprintf(p, "  %s%s\n", p.paint(faint, fmt.Sprintf("%-16s", name)), fmt.Sprintf(format, a...))
}

func (p *printer) head(s Summary) {
	name := s.Name
	if name == "" {
		name = "firing"
	}
	outcome := s.Outcome
	switch outcome {
	case "finished":
		outcome = p.paint(green, outcome)
	case "tripped", "interrupted":
		outcome = p.paint(red, outcome)
	}
	if s.ID > 0 {
		name = fmt.Sprintf("%d  %s", s.ID, name)
	}
	fmt.Fprintf(p, "%s  %s\n", p.paint(bold, name), outcome)
	if s.Reason != "" {
		fmt.Fprintf(p, "  %s\n", s.Reason)
	}
}

func (p *printer) figures(s Summary) {
	if !s.Started.IsZero() {
		p.row("started", "%s", s.Started.Format("Mon 2 Jan 2006 15:04 MST"))
	}
	p.row("took", "%s, %d readings", length(s.DurationS), s.Readings)
	if s.PeakC.Known() {
		p.row("peak", "%s after %s", p.temp(s.PeakC, 1), length(float64(s.PeakAtS)))
	}
	p.known("ramp error", s.RMSEC, "rms where the kiln can follow")
	p.known("overshoot", s.OvershootC, "worst arrival")
	p.known("hold scatter", s.HoldStdC, "standard deviation, settled")
	p.row("held", "%s", length(s.TimeInHoldS))
	if s.WaitingS > 0 {
		p.row("waited", "%s for the kiln to follow", length(s.WaitingS))
	}
	p.row("relay", "%d cycles", s.RelayCycles)
	p.row("energy", "%.1f kWh, by rated power", s.EnergyKWh)
	p.inside(s)
	if s.Gaps.Count > 0 {
		p.row("gaps", "%d, the longest %s", s.Gaps.Count, length(s.Gaps.LongestS))
	}
	for _, name := range slices.Sorted(maps.Keys(s.Faults)) {
		p.row("sensor fault", "%s, in %d of %d readings", strings.ReplaceAll(name, "_", " "), s.Faults[name], s.Readings)
	}
}

// inside writes what the model made of the moulds.
func (p *printer) inside(s Summary) {
	if !s.ChanceClear.Known() {
		return
	}
	after := func(at Number) string {
		if !at.Known() {
			return p.paint(red, "not in this firing")
		}
		return "after " + length(float64(at))
	}
	p.row("dry", "%s %s", after(s.DryAtS), p.paint(faint, "by the model"))
	p.row("clear", "%s %s", after(s.ClearAtS), p.paint(faint, "by the model"))
	p.row("chance of clear", "%s at the end%s", percent(s.ChanceClear), p.paint(faint, basis(s.Evidence)))
}

func basis(evidence string) string {
	if evidence == "" {
		return ""
	}
	return ", on " + evidence
}

// percent does not round up to certainty.
func percent(v Number) string {
	if v > 0.99 && v < 1 {
		return "over 99 %"
	}
	return fmt.Sprintf("%.0f %%", float64(v)*100)
}

// known writes a difference in temperature, if there is one.
func (p *printer) known(name string, v Number, what string) {
	if v.Known() {
		p.row(name, "%s %s", p.diff(v), p.paint(faint, what))
	}
}

func (p *printer) trips(s Summary) {
	for _, t := range s.Trips {
		at := "chamber unknown"
		if t.ChamberC.Known() {
			at = "chamber " + p.temp(t.ChamberC, 0)
		}
		p.row("trip", "%s after %s, %s", p.paint(red, t.Guard), length(t.AtS), at)
		if t.Text != "" {
			fmt.Fprintf(p, "  %16s%s\n", "", t.Text)
		}
	}
}

func (p *printer) steps(s Summary) {
	if len(s.Steps) == 0 {
		return
	}
	fmt.Fprintf(p, "\n  %s\n", p.paint(faint, fmt.Sprintf("%4s  %10s  %10s  %10s  %s", "step", "planned", "took", "waited", "what")))
	for _, st := range s.Steps {
		planned, waited := "-", "-"
		if st.PlannedS.Known() {
			planned = length(float64(st.PlannedS))
		}
		if st.WaitingS > 0 {
			waited = length(st.WaitingS)
		}
		line := fmt.Sprintf("  %4d  %10s  %10s  %10s  %s", st.Index, planned, length(st.ActualS), waited, st.Text)
		fmt.Fprintln(p, strings.TrimRight(line, " "))
	}
}

func (p *printer) temp(c Number, decimals int) string {
	if p.fahrenheit {
		return fmt.Sprintf("%.*f °F", decimals, float64(c)*9/5+32)
	}
	return fmt.Sprintf("%.*f °C", decimals, float64(c))
}

// diff writes a difference of temperatures: no offset in °F.
func (p *printer) diff(c Number) string {
	if p.fahrenheit {
		return fmt.Sprintf("%.2f °F", float64(c)*9/5)
	}
	return fmt.Sprintf("%.2f °C", float64(c))
}

// length writes seconds as people say them.
func length(seconds float64) string {
	d := time.Duration(seconds * float64(time.Second)).Round(time.Second)
	h, m, s := int(d.Hours()), int(d.Minutes())%60, int(d.Seconds())%60
	switch {
	case h > 0:
		return fmt.Sprintf("%d h %02d min", h, m)
	case m > 0 && s == 0:
		return fmt.Sprintf("%d min", m)
	case m > 0:
		return fmt.Sprintf("%d min %02d s", m, s)
	}
	return fmt.Sprintf("%d s", s)
}

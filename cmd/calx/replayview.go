package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"calx/cmd/calx/chart"
	"calx/cmd/calx/summary"
	"calx/cmd/calx/whatif"
)

// simulatedResult is the object that --simulate --json writes. Differences are
// simulated less recorded; °C, seconds, joules.
type simulatedResult struct {
	ID        uint64            `json:"id"`
	Name      string            `json:"name"`
	WhatIf    []string          `json:"what_if"` // what was otherwise than recorded; empty for the same plan
	RoomC     float64           `json:"room_c"`
	Recorded  summary.Summary   `json:"recorded"`
	Simulated summary.Summary   `json:"simulated"`
	TakenKWh  float64           `json:"simulated_taken_kwh"` // what the simulated elements really took from the mains
	Residuals whatif.Comparison `json:"residuals"`
	TookS     float64           `json:"took_s"` // to simulate
}

func (s *simulation) result() simulatedResult {
	what := s.what
	if what == nil {
		what = []string{}
	}
	return simulatedResult{ID: s.of.head.ID, Name: s.of.head.Name, WhatIf: what, RoomC: s.roomC, Recorded: s.of.summary(), Simulated: s.sim.summary(),
		TakenKWh: s.trueJ / joulesPerKWh, Residuals: s.compare, TookS: s.took.Seconds()}
}

// chart is the record with the simulation over it.
func (s *simulation) chart(fahrenheit bool) chart.Firing {
	c := s.of.chart(fahrenheit)
	c.Extra = nil
	if len(s.what) > 0 { // what happened in the record is known; this is not
		c.Events = s.sim.chart(fahrenheit).Events
		c.Plan = nil
	}
	sim := chart.Series{Name: "simulated"}
	duty := chart.Series{Name: "duty, simulated", Fraction: true}
	every := every(s.sim.readings)
	mean, n := 0.0, 0
	for i, r := range s.sim.readings {
		if i > 0 && r.Since-s.sim.readings[i-1].Since >= summary.GapAfter(s.sim.head) {
			gap := chart.Sample{Since: s.sim.readings[i-1].Since + 1, Value: math.NaN()}
			sim.Samples, duty.Samples = append(sim.Samples, gap), append(duty.Samples, gap)
			mean, n = 0, 0
		}
		sim.Samples = append(sim.Samples, chart.Sample{Since: r.Since, Value: summary.ChamberC(s.sim.head, r)})
		mean += r.Duty
		if n++; n == every {
			duty.Samples = append(duty.Samples, chart.Sample{Since: r.Since, Value: mean / float64(n)})
			mean, n = 0, 0
		}
	}
	c.Extra = []chart.Series{sim, duty}
	c.Difference = chart.Series{Name: "simulated less measured"}
	for i, d := range whatif.Difference(s.of.head, s.of.readings, s.sim.readings) {
		c.Difference.Samples = append(c.Difference.Samples, chart.Sample{Since: s.of.readings[i].Since, Value: d})
	}
	return c
}

// every is how many readings one point of the smoothed duty takes: two minutes
// of them at a reading a second.
func every[T any](readings []T) int { return max(1, min(120, len(readings)/300)) }

// print shows both in the terminal: figures side by side, residuals by step,
// curves.
func (s *simulation) print(e *env, inF bool) error {
	e.printf("%s\n", e.paint(bold, s.title()))
	a, b := s.of.summary(), s.sim.summary()
	side := func(name, x, y string) {
		e.printf("  %-10s %20s %20s\n", e.paint(faint, fmt.Sprintf("%-10s", name)), x, y)
	}
	e.printf("  %-10s %20s %20s\n", "", e.paint(faint, fmt.Sprintf("%20s", "recorded")), e.paint(faint, fmt.Sprintf("%20s", "simulated")))
	side("outcome", a.Outcome, b.Outcome)
	side("took", hours(seconds(a.DurationS)), hours(seconds(b.DurationS)))
	side("peak", known(a.PeakC, inF), known(b.PeakC, inF))
	side("energy", kWh(a.EnergyKWh), kWh(b.EnergyKWh))
	side("closures", fmt.Sprint(a.RelayCycles), fmt.Sprint(b.RelayCycles))
	if b.Outcome != "finished" && s.sim.head.Reason != "" {
		e.printf("  %s\n", wrap(printable(s.sim.head.Reason), e.width, 2))
	}
	e.printf("\n")
	s.printResiduals(e, inF)
	return s.sketch(e, inF)
}

func known(n summary.Number, inF bool) string {
	if !n.Known() {
		return "–"
	}
	return wholeTemperature(float64(n), inF)
}

func (s *simulation) title() string {
	name := fmt.Sprintf("firing %d", s.of.head.ID)
	if s.of.head.Name != "" {
		name += fmt.Sprintf(" %q", printable(s.of.head.Name))
	}
	if len(s.what) == 0 {
		return name + ", the same plan on the simulated kiln"
	}
	return name + ", what if: " + printable(strings.Join(s.what, ", "))
}

// printResiduals is the table by step, or one line where the profiles differ.
func (s *simulation) printResiduals(e *env, inF bool) {
	all := s.compare.Chamber
	if all.RMSEC.Known() {
		e.printf("Simulated less recorded chamber: mean %s, RMS %s, worst %s at %s\n", signed(all.MeanC, inF), difference(float64(all.RMSEC), 1, inF),
			signed(all.WorstC, inF), hours(seconds(float64(all.WorstAt))))
	}
	if len(s.compare.Stages) == 0 {
		e.printf("\n")
		return
	}
	head := fmt.Sprintf("  %4s %9s %9s %7s %6s %7s %10s  %s", "step", "begins", "takes", "mean", "RMS", "worst", "energy", "(chamber in "+degree(inF)+")")
	e.printf("%s\n", e.paint(faint, fit(head, e.width)))
	for _, g := range s.compare.Stages {
		if g.TookS.Known() && float64(g.TookS) < 60 && !(math.Abs(float64(g.ShiftS)) >= 60) {
			continue // what takes no time says nothing
		}
		line := fmt.Sprintf("  %4d %9s %9s %7s %6s %7s %10s  %s", g.Step, shift(g.ShiftS), shift(g.LongerS), oneDecimal(g.Chamber.MeanC, inF, true), oneDecimal(g.Chamber.RMSEC, inF, false),
			oneDecimal(g.Chamber.WorstC, inF, true), moreKWh(g.MoreJ), g.Text)
		e.printf("%s\n", fit(printable(line), e.width))
	}
	e.printf("\n")
}

func signed(n summary.Number, inF bool) string {
	if !n.Known() {
		return "–"
	}
	return fmt.Sprintf("%+.1f %s", scaled(n, inF), degree(inF))
}

func scaled(n summary.Number, inF bool) float64 {
	if inF {
		return float64(n) * 9 / 5
	}
	return float64(n)
}

func oneDecimal(n summary.Number, inF, sign bool) string {
	switch {
	case !n.Known():
		return "–"
	case sign:
		return fmt.Sprintf("%+.1f", scaled(n, inF))
	}
	return fmt.Sprintf("%.1f", scaled(n, inF))
}

// shift words a time by which something is later or longer.
func shift(n summary.Number) string {
	if !n.Known() {
		return "–"
	}
	d := seconds(math.Abs(float64(n))).Round(time.Second)
	sign := "+"
	if n < 0 {
		sign = "-"
	}
	if d < 100*time.Minute {
		return fmt.Sprintf("%s%.1f min", sign, d.Minutes())
	}
	return fmt.Sprintf("%s%.1f h", sign, d.Hours())
}

func moreKWh(j summary.Number) string {
	if !j.Known() {
		return "–"
	}
	return fmt.Sprintf("%+.2f kWh", float64(j)/joulesPerKWh)
}

// sketch draws both curves, and how far the simulation is above and below.
func (s *simulation) sketch(e *env, inF bool) error {
	c := s.chart(inF)
	worst := 0.0
	for _, d := range c.Difference.Samples {
		if !math.IsNaN(d.Value) {
			worst = math.Max(worst, math.Abs(d.Value))
		}
	}
	above, below := chart.Series{Name: "above", Fraction: true}, chart.Series{Name: "below", Fraction: true}
	for _, d := range c.Difference.Samples {
		above.Samples = append(above.Samples, chart.Sample{Since: d.Since, Value: math.Max(d.Value/worst, 0)})
		below.Samples = append(below.Samples, chart.Sample{Since: d.Since, Value: math.Max(-d.Value/worst, 0)})
	}
	c.Extra = []chart.Series{c.Extra[0], above, below}
	o := e.sketch()
	o.Height += 2
	if err := chart.Sketch(e.out, c, o); err != nil {
		return err
	}
	e.printf("%s\n", e.paint(faint, fmt.Sprintf("above, below: the simulation over and under the record; a full block is %s", difference(worst, 1, inF))))
	return nil
}

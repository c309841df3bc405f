package main

import (
	"math"
	"strings"

	"calx/cmd/calx/chart"
	"calx/profile/plan"
)

// sketch draws the plan: chamber and core, below them water, char and what is
// clear.
func (v planView) sketch(p *planned) {
	f := p.chart()
	r := &row{width: v.width, color: v.color, unicode: unicode()}
	line := "⠤⠒⠉"
	if !unicode() {
		line = "***"
	}
	r.to(axisUnit).put(faint, degree(v.inF)).put("1;36", " "+line).put(faint, " chamber   ").put("35", "oo").put(faint, " core")
	v.printf("%s\n", r)
	notDuty := func(i int, line string) bool { return i > 1 && !strings.Contains(line, "duty") }
	for _, l := range sketchLines(f, v.env.sketch(), notDuty) {
		v.printf("%s\n", l)
	}
}

// chart is the plan as package chart draws it.
func (p *planned) chart() chart.Firing {
	f := chart.Firing{Title: p.title, Start: p.Start, Fahrenheit: p.in.Fahrenheit, CeilingC: p.Profile.CeilingC}
	curve := p.untilReady()
	for _, s := range curve {
		f.Points = append(f.Points, chart.Point{Since: s.Since, HotC: s.ChamberC, SetpointC: math.NaN(), Duty: math.NaN()})
	}
	f.Extra = []chart.Series{series("core", false, curve, func(s plan.Sample) float64 { return s.CoreC })}
	for _, s := range p.strips() {
		f.Extra = append(f.Extra, series(s.name, true, curve, s.of))
	}
	return f
}

// untilReady is the curve up to when all is ready: the wait for a person behind it
// would only squeeze the rest.
func (p *planned) untilReady() []plan.Sample {
	for i, s := range p.Curve {
		if s.Since > p.Total {
			return p.Curve[:i]
		}
	}
	return p.Curve
}

// planStrip is one share over time.
type planStrip struct {
	name string
	of   func(plan.Sample) float64 // 0 to 1
}

// strips are water, char and clear, as far as there is any.
func (p *planned) strips() []planStrip {
	most, char := 0.0, 0.0
	for _, s := range p.Curve {
		most, char = max(most, s.WaterKg), max(char, s.CharShare)
	}
	var out []planStrip
	if most > 0 {
		out = append(out, planStrip{"water", func(s plan.Sample) float64 { return visible(s.WaterKg / most) }})
	}
	if char > 0 {
		out = append(out,
			planStrip{"char", func(s plan.Sample) float64 { return visible(s.CharShare) }},
			planStrip{"clear", func(s plan.Sample) float64 { return visible(s.ClearShare) }})
	}
	return out
}

func series(name string, fraction bool, curve []plan.Sample, of func(plan.Sample) float64) chart.Series {
	s := chart.Series{Name: name, Fraction: fraction}
	for _, v := range curve {
		s.Samples = append(s.Samples, chart.Sample{Since: v.Since, Value: of(v)})
	}
	return s
}

// visible is a share without the traces that would show as a line.
func visible(share float64) float64 {
	const trace = 0.02 // a strip has eight heights
	if share < trace {
		return 0
	}
	return min(share, 1)
}

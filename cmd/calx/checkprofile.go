package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"calx/cmd/calx/chart"
	"calx/profile"
)

// checkedProfile is a profile laid out over time. Times are seconds since the
// start of the firing.
type checkedProfile struct {
	Kiln      string         `json:"kiln"` // name of the kiln it was judged by; "" without one
	Units     string         `json:"units"`
	CeilingC  *float64       `json:"never_above_c"` // null when the profile names none
	PeakC     float64        `json:"peak_c"`        // by plan
	Start     time.Time      `json:"start"`
	TotalS    float64        `json:"total_s"`    // as written
	ExpectedS *float64       `json:"expected_s"` // with this kiln; null without a kiln, or when it never ends
	Stuck     bool           `json:"stuck"`      // a step never ends on this kiln
	Steps     []checkedStep  `json:"steps"`
	Inside    *checkedInside `json:"inside"` // of the moulds given; null without any
	prof      *profile.Profile
	plan      *profile.Timeline
}

// checkedStep is one step of a profile by plan.
type checkedStep struct {
	Step      int     `json:"step"` // from 1
	Line      int     `json:"line"` // in the file; 0 when there is none
	Sentence  string  `json:"sentence"`
	StartS    float64 `json:"start_s"` // as written
	EndS      float64 `json:"end_s"`
	ExpectedS float64 `json:"expected_start_s"` // with this kiln
	FromC     float64 `json:"from_c"`
	ToC       float64 `json:"to_c"`
	Open      bool    `json:"open"` // ends on an observation or a person: its end is a guess
}

func (by checking) profile(f *checkedFile, text string) error {
	w, err := parseProfile(f.File, text)
	if err != nil {
		return err
	}
	o := profile.Outlook{StartC: roomC, Start: by.start}
	p := &checkedProfile{Start: by.start, Units: "C", PeakC: roomC, prof: w.prof}
	if by.kiln != nil {
		o = by.kiln.outlook(o)
		p.Kiln = by.kiln.p.Name
	}
	if w.prof.Fahrenheit {
		p.Units = "F"
	}
	if w.prof.CeilingC != 0 {
		p.CeilingC = &w.prof.CeilingC
	}
	if len(by.moulds) > 0 {
		if p.Inside, err = by.inside(w.prof, &o); err != nil {
			return err
		}
	}
	p.plan = profile.Unroll(w.prof, o)
	p.TotalS, p.Stuck = p.plan.Total.Seconds(), p.plan.Stuck
	if by.kiln != nil && !p.Stuck {
		v := p.plan.Expected.Seconds()
		p.ExpectedS = &v
	}
	for _, s := range p.plan.Segments {
		p.PeakC = max(p.PeakC, s.ToC)
		p.Steps = append(p.Steps, checkedStep{
			Step: s.Step + 1, Line: w.prof.Steps[s.Step].Line, Sentence: w.prof.Sentence(s.Step),
			StartS: s.From.Seconds(), EndS: s.To.Seconds(), ExpectedS: s.ExpectedFrom.Seconds(),
			FromC: s.FromC, ToC: s.ToC, Open: s.Open,
		})
	}
	f.Profile = p
	f.Problems, f.Notes = problemFindings(p.plan.Problems), problemFindings(p.plan.Notes)
	if by.kiln == nil {
		f.Notes = append(f.Notes, finding{Text: "no kiln given, so its limits are not known; name one with --kiln"})
		return nil
	}
	return by.impossible(f)
}

// impossible is the error of a profile that this kiln would not live to see
// the end of.
func (by checking) impossible(f *checkedFile) error {
	p := f.Profile
	switch f := by.units.fahrenheit(p.prof.Fahrenheit); {
	case p.PeakC > by.kiln.p.MaxC():
		return fmt.Errorf("the profile goes to %s, above the %s that kiln %s is built for; calx would stop the firing there", wholeTemperature(p.PeakC, f), wholeTemperature(by.kiln.p.MaxC(), f), p.Kiln)
	case p.Stuck:
		return fmt.Errorf("kiln %s can never finish this profile; the warnings say where it stays", p.Kiln)
	}
	return nil
}

func problemFindings(ps []profile.Problem) []finding {
	out := make([]finding, len(ps))
	for i, p := range ps {
		out[i] = finding{Line: p.Line, Step: p.Step + 1, Text: p.Text}
	}
	return out
}

func (by checking) printProfile(e *env, f checkedFile) error {
	p := f.Profile
	inF := by.units.fahrenheit(p.prof.Fahrenheit)
	e.printf("%s  profile, %d steps, peak %s", e.paint(bold, f.File), len(p.Steps), wholeTemperature(p.PeakC, inF))
	if p.CeilingC != nil {
		e.printf(", never above %s", wholeTemperature(*p.CeilingC, inF))
	}
	e.printf("\n")
	if k := by.kiln; k != nil {
		e.printf("  on kiln %s, which reaches %s\n", p.Kiln, wholeTemperature(min(k.p.MaxC(), k.env.TopC), inF))
	}
	p.printSteps(e)
	p.printTotals(e)
	p.Inside.print(e)
	printFindings(e, f)
	e.printf("\n")
	p.sketch(e, inF)
	return nil
}

// printSteps is the table: when each step begins, by the count of hours and by
// the clock; with the kiln's limits where they make a difference.
func (p *checkedProfile) printSteps(e *env) {
	late := p.differs()
	head := fmt.Sprintf("\n  %4s  %7s  %-9s  %12s  ", "step", "begins", "clock", "takes")
	if late {
		head += fmt.Sprintf("%-9s  ", "expected")
	}
	e.printf("%s\n", e.paint(faint, head+"what"))
	for _, s := range p.Steps {
		takes := hours(seconds(s.EndS - s.StartS))
		switch {
		case s.Open:
			takes = "~ " + takes
		case s.EndS == s.StartS:
			takes = "–"
		}
		e.printf("  %4d  %7s  %-9s  %12s  ", s.Step, hoursMinutes(s.StartS), clockOf(p.Start, s.StartS), takes)
		if late {
			e.printf("%-9s  ", clockOf(p.Start, s.ExpectedS))
		}
		e.printf("%s\n", s.Sentence)
	}
}

func (p *checkedProfile) printTotals(e *env) {
	e.printf("\n  as written       %s, ends %s\n", hours(seconds(p.TotalS)), clockOf(p.Start, p.TotalS))
	switch {
	case p.Stuck:
		e.printf("  with this kiln   never ends\n")
	case p.ExpectedS != nil:
		e.printf("  with this kiln   %s, ends %s\n", hours(seconds(*p.ExpectedS)), clockOf(p.Start, *p.ExpectedS))
	}
}

// hoursMinutes counts hours as the axis of a curve does: 13:20.
func hoursMinutes(s float64) string {
	m := int(seconds(s).Round(time.Minute) / time.Minute)
	return fmt.Sprintf("%d:%02d", m/60, m%60)
}

func clockOf(start time.Time, s float64) string {
	return start.Add(seconds(s)).Round(time.Minute).Format("Mon 15:04")
}

// sketch draws the plan: as this kiln is expected to run it, and dotted what
// is written where that differs.
func (p *checkedProfile) sketch(e *env, inF bool) {
	f := chart.Firing{Start: p.Start, Plan: chart.Plan(p.plan), Fahrenheit: inF}
	if p.CeilingC != nil {
		f.CeilingC = *p.CeilingC
	}
	if !p.Stuck {
		f.Points = expectedCurve(p.plan)
	}
	r := &row{width: e.width, color: e.color, unicode: unicode()}
	r.to(axisUnit).put(faint, degree(inF))
	if p.differs() {
		sample := "⠤⠒⠉"
		if !unicode() {
			sample = "***"
		}
		r.put("1;36", " "+sample).put(faint, " expected with this kiln   ").put(yellow, "···").put(faint, " as written")
	}
	e.printf("%s\n", r)
	bare := func(i int, line string) bool { return i > 1 && !strings.Contains(line, "duty") }
	for _, l := range sketchLines(f, e.sketch(), bare) {
		e.printf("%s\n", l)
	}
}

// axisUnit is the column in which a sketch names the unit of its axis.
const axisUnit = 4

// differs reports whether the kiln's limits make a difference worth showing.
func (p *checkedProfile) differs() bool {
	return p.ExpectedS != nil && *p.ExpectedS-p.TotalS >= 60
}

// expectedCurve is the plan with the kiln's limits, as points without duty.
func expectedCurve(t *profile.Timeline) []chart.Point {
	var out []chart.Point
	add := func(at time.Duration, c float64) {
		out = append(out, chart.Point{Since: at, HotC: c, SetpointC: math.NaN(), Duty: math.NaN()})
	}
	for _, s := range t.Segments {
		add(s.ExpectedFrom, s.FromC)
		for _, q := range s.Points {
			add(s.ExpectedFrom+q.At-s.From, q.PlanC)
		}
		add(s.ExpectedTo, s.ToC)
	}
	return out
}

package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"calx/profile/pieces"
)

type pieceNextCmd struct {
	partFlags
	Chance       string   `help:"How sure it must be that all is clear, in percent." default:"95" placeholder:"PERCENT"`
	PieceSection []string `help:"Sections of the test pieces you could make; otherwise that of the part." placeholder:"LENGTH"`
	PieceFlask   string   `help:"What the test pieces stand in." default:"plug" placeholder:"NAME"`
	logFlags
	jsonFlag
	unitsFlag
}

// nextResult is the object that --json writes.
type nextResult struct {
	Words    string      `json:"words"`
	Tests    []testRow   `json:"tests"` // the most telling first
	Worth    int         `json:"worth"` // how many more pieces are worth making
	Evidence evidenceRow `json:"evidence"`
}

type testRow struct {
	SectionM  float64 `json:"section_m"`
	Flask     string  `json:"flask"`
	TempC     float64 `json:"temp_c"`
	HoldS     float64 `json:"hold_s"`
	Narrow    float64 `json:"narrow"` // factor on the width of the interval, on average
	Charred   float64 `json:"charred"`
	CharCore  float64 `json:"char_core"`
	ClearOdds float64 `json:"clear"`
}

// Holds that are offered, as shares of the hold that half the pieces need, and
// how many more pieces are thought through.
var offered = [...]float64{0.35, 0.5, 0.7, 0.85, 1, 1.2, 1.5, 2}

const mostPieces = 5

func (c *pieceNextCmd) Run(e *env) error {
	chance, err := strconv.ParseFloat(strings.TrimSuffix(c.Chance, "%"), 64)
	if err != nil || chance < 50 || chance > 99.9 {
		return usageError{fmt.Errorf("--chance is %q; it must be a percentage from 50 to 99.9, such as 95", c.Chance)}
	}
	g, err := c.goal(chance / 100)
	if err != nil {
		return err
	}
	ev, err := c.readEvidence(e)
	if err != nil {
		return err
	}
	tests, err := c.tests(ev.posterior, g)
	if err != nil {
		return err
	}
	res := nextResult{Evidence: ev.row(g.Part.Kind)}
	gains, err := ev.posterior.Next(g, tests)
	if err != nil {
		return err
	}
	for _, n := range gains {
		res.Tests = append(res.Tests, testRow{n.Test.SectionM, n.Test.Kind.Flask, g.TempC, n.At.Seconds(), n.Narrow, n.Charred, n.Core, n.Clear})
	}
	if res.Words, err = ev.posterior.Explain(g, tests...); err != nil {
		return err
	}
	if res.Worth, _, err = ev.posterior.Worth(g, tests, mostPieces); err != nil {
		return err
	}
	if c.JSON {
		return e.writeJSON(res)
	}
	res.print(e, c.fahrenheit(strings.HasSuffix(strings.ToUpper(c.Temp), "F")))
	return nil
}

// tests are the pulls that could be made.
func (c *pieceNextCmd) tests(p *pieces.Posterior, g pieces.Goal) (out []pieces.Test, err error) {
	sections := []float64{g.Part.SectionM}
	var e edits
	for i, s := range c.PieceSection {
		var v float64
		e.number("piece-section", &v, s, readLength)
		if i == 0 {
			sections = nil
		}
		sections = append(sections, v)
	}
	if err := e.err(); err != nil {
		return nil, err
	}
	kind := g.Part.Kind
	kind.Flask = c.PieceFlask
	for _, s := range sections {
		h, err := p.Hold(pieces.Goal{Part: pieces.Part{Kind: kind, SectionM: s}, Chance: 0.5, TempC: g.TempC})
		if err != nil {
			return nil, err
		}
		for _, share := range offered {
			d := max(5*time.Minute, time.Duration(share*float64(h.Time)).Round(5*time.Minute))
			out = append(out, pieces.Test{Kind: kind, SectionM: s, History: pieces.Soak(g.TempC, d)})
		}
	}
	return out, nil
}

func (r nextResult) print(e *env, fahrenheit bool) {
	e.printf("%s\n\n", wrap(printable(r.Words), e.width, 0))
	e.printf("%8s  %12s  %-14s  %s\n", "section", "pull after", "range becomes", "likely to be charred, with a core, clear")
	const shown = 5
	for _, t := range r.Tests[:min(shown, len(r.Tests))] {
		e.printf("%5.3g mm  %12s  %-14s  %s, %s, %s\n", 1000*t.SectionM, hours(seconds(t.HoldS)), fmt.Sprintf("%.0f %% as wide", 100*t.Narrow), percent(t.Charred), percent(t.CharCore), percent(t.ClearOdds))
	}
	first := "another piece would hardly tell more"
	switch {
	case r.Worth == 1:
		first = "one more piece is worth making"
	case r.Worth == mostPieces:
		first = fmt.Sprintf("%d more pieces are worth making, perhaps more", r.Worth)
	case r.Worth > 1:
		first = fmt.Sprintf("%d more pieces are worth making", r.Worth)
	}
	e.printf("\n%s; all are held at %s.\n", first, wholeTemperature(r.Tests[0].TempC, fahrenheit))
	for _, l := range r.Evidence.LeftOut {
		e.printf("%s\n", wrap(printable("left out: "+l), e.width, 2))
	}
}

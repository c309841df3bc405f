package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"calx/profile/pieces"
)

// partFlags are what must become clear.
type partFlags struct {
	Section string `help:"Its thickest place, such as 12mm." required:"" placeholder:"LENGTH"`
	kindFlags
	Count int    `help:"How many of them the casting has; all must be clear." default:"1" placeholder:"N"`
	Temp  string `help:"Temperature of the pattern during the hold." default:"700 C" placeholder:"TEMP"`
}

func (f *partFlags) goal(chance float64) (g pieces.Goal, err error) {
	var e edits
	g = pieces.Goal{Chance: chance, Part: pieces.Part{Count: f.Count, Kind: f.kind()}}
	e.number("section", &g.Part.SectionM, f.Section, readLength)
	e.number("temp", &g.TempC, f.Temp, readTemperature)
	if f.Material == "" {
		e.fail("material", errors.New("is missing; it must be what burns, such as twig"))
	}
	if f.Count < 1 {
		e.fail("count", fmt.Errorf("%d is too few; at least 1", f.Count))
	}
	return g, e.err()
}

func (f *kindFlags) kind() pieces.Kind {
	k := pieces.Kind{Material: f.Material, Flask: f.Flask, Sprue: f.Sprue, Air: f.Air != nil && *f.Air}
	if k.Flask == "" {
		k.Flask = usualFlask
	}
	return k
}

type piecePredictCmd struct {
	partFlags
	logFlags
	jsonFlag
	unitsFlag
}

// prediction is the object that --json writes.
type prediction struct {
	Material string      `json:"material"`
	SectionM float64     `json:"section_m"`
	Flask    string      `json:"flask"`
	Sprue    string      `json:"sprue"`
	Air      bool        `json:"air"`
	Count    int         `json:"count"`
	TempC    float64     `json:"temp_c"`
	Clear    []clearRow  `json:"clear"`
	Holds    []holdRow   `json:"holds"`
	Evidence evidenceRow `json:"evidence"`
}

type clearRow struct {
	HoldS  float64 `json:"hold_s"`
	Chance float64 `json:"chance"` // that all is clear, 0..1
}

type holdRow struct {
	Chance float64  `json:"chance"`
	HoldS  *float64 `json:"hold_s"` // null: longer than 60 days; so are the bounds
	LowS   *float64 `json:"low_s"`  // with HighS, holds the true one with 95 % probability
	HighS  *float64 `json:"high_s"`
}

type evidenceRow struct {
	Pieces  []uint64 `json:"pieces"` // numbers in the notebook
	Words   string   `json:"words"`
	Odd     []string `json:"odd"`      // pieces that are more likely misread
	LeftOut []string `json:"left_out"` // pieces that could not be used, and why
}

func (ev *evidence) row(k pieces.Kind) evidenceRow {
	b := ev.posterior.Basis(k)
	return evidenceRow{append([]uint64{}, ev.used...), b.String(), append([]string{}, b.Odd...), append([]string{}, ev.leftOut...)}
}

// asked are the chances a hold is given for.
var asked = [...]float64{0.90, 0.95, 0.99}

// tableRows is how many holds the table of chances has.
const tableRows = 9

func (c *piecePredictCmd) Run(e *env) error {
	g, err := c.goal(asked[0])
	if err != nil {
		return err
	}
	ev, err := c.readEvidence(e)
	if err != nil {
		return err
	}
	p, err := predict(ev, g)
	if err != nil {
		return err
	}
	if c.JSON {
		return e.writeJSON(p)
	}
	p.print(e, c.fahrenheit(strings.HasSuffix(strings.ToUpper(c.Temp), "F")))
	return nil
}

func predict(ev *evidence, g pieces.Goal) (*prediction, error) {
	k := g.Part.Kind
	p := &prediction{
		Material: k.Material, SectionM: g.Part.SectionM, Flask: k.Flask, Sprue: k.Sprue, Air: k.Air,
		Count: g.Part.Count, TempC: g.TempC, Clear: []clearRow{}, Evidence: ev.row(k),
	}
	longest := time.Duration(0)
	for _, chance := range asked {
		g.Chance = chance
		row := holdRow{Chance: chance}
		h, err := ev.posterior.Hold(g)
		switch {
		case errors.Is(err, pieces.ErrNever):
		case err != nil:
			return nil, usageError{err}
		default:
			longest = h.Time
			row.HoldS, row.LowS, row.HighS = inSeconds(h.Time), inSeconds(h.Low), inSeconds(h.High)
		}
		p.Holds = append(p.Holds, row)
	}
	step := roundStep(longest / tableRows)
	for i := 1; longest > 0 && i <= tableRows+1; i++ {
		d := time.Duration(i) * step
		chance, err := ev.posterior.PClear(g.Part, pieces.Soak(g.TempC, d))
		if err != nil {
			return nil, usageError{err}
		}
		p.Clear = append(p.Clear, clearRow{d.Seconds(), chance})
	}
	return p, nil
}

func inSeconds(d time.Duration) *float64 { s := d.Seconds(); return &s }

// roundStep makes the steps of a table round.
func roundStep(d time.Duration) time.Duration {
	for _, s := range []time.Duration{5 * time.Minute, 15 * time.Minute, 30 * time.Minute, time.Hour, 2 * time.Hour, 4 * time.Hour, 12 * time.Hour} {
		if d <= s {
			return s
		}
	}
	return d.Round(24 * time.Hour)
}

func (p *prediction) title(fahrenheit bool) string {
	s := fmt.Sprintf("%.3g mm %s, %s", 1000*p.SectionM, p.Material, p.Flask)
	if p.Count > 1 {
		s = fmt.Sprintf("%d × %s", p.Count, s)
	}
	if p.Sprue != "" {
		s += ", sprue " + p.Sprue
	}
	if p.Air {
		s += ", air on"
	}
	return s + ", held at " + wholeTemperature(p.TempC, fahrenheit)
}

func (p *prediction) print(e *env, fahrenheit bool) {
	e.printf("%s\n\n%12s  %s\n", printable(p.title(fahrenheit)), "hold", "clear")
	for _, r := range p.Clear {
		e.printf("%12s  %5s\n", hours(seconds(r.HoldS)), percent(r.Chance))
	}
	e.printf("\n%12s  %12s  %s\n", "to be clear", "hold", "95 % sure to lie between")
	for _, r := range p.Holds {
		if r.HoldS == nil {
			e.printf("%12s  over 60 days\n", percent(r.Chance))
			continue
		}
		e.printf("%12s  %12s  %s and %s\n", percent(r.Chance), hours(seconds(*r.HoldS)), hours(seconds(*r.LowS)), hours(seconds(*r.HighS)))
	}
	e.printf("\n")
	p.Evidence.print(e)
	if strings.Contains(strings.ToLower(p.Flask), usualFlask) {
		e.printf("%s\n", wrap("This is a "+printable(p.Flask)+": a casting in a flask has another wall and another sprue, so that the same piece may take longer in it, or shorter. calx plan and calx check ask about the mould itself.", e.width, 0))
	}
	e.printf("%s\n", wrap("Clear of char, that is; ash that stays in the mould is another matter. The hold counts from when the pattern, not the chamber, is at temperature.", e.width, 0))
}

func (r evidenceRow) print(e *env) {
	s := "It rests on " + r.Words + "."
	if len(r.Pieces) > 0 {
		s += " In the notebook: " + numbers(r.Pieces) + "."
	}
	e.printf("%s\n", wrap(printable(s), e.width, 0))
	for _, l := range r.LeftOut {
		e.printf("%s\n", wrap(printable("left out: "+l), e.width, 2))
	}
}

// numbers lists a few, and says how many more there are.
func numbers(ids []uint64) string {
	const most = 12
	var b strings.Builder
	for i, id := range ids {
		if i == most {
			fmt.Fprintf(&b, " and %d more", len(ids)-most)
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%d", id)
	}
	return b.String()
}

// percent words a chance; what is not certain is not rounded to it.
func percent(v float64) string {
	switch {
	case v < 0.005:
		return "<1 %"
	case v > 0.995:
		return ">99 %"
	}
	return fmt.Sprintf("%.0f %%", 100*v)
}

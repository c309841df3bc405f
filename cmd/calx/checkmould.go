package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"calx/cmd/calx/inside"
	"calx/profile"
	"calx/sim/mould"
)

// checkedMould is what a mould file describes.
type checkedMould struct {
	Name   string   `json:"name"`
	About  string   `json:"about"`
	Count  int      `json:"count"`
	Pieces []string `json:"pieces"` // in words
	flask  mould.Flask
	sprue  mould.Sprue
}

func (by checking) mould(f *checkedFile, text string) error {
	m, err := inside.Read(f.File, text)
	if err != nil {
		return err
	}
	p := m.Params
	f.Mould = &checkedMould{Name: p.Name, About: p.About, Count: max(1, p.Count), Pieces: []string{}, flask: p.Flask, sprue: p.Sprue}
	for _, o := range p.Patterns {
		f.Mould.Pieces = append(f.Mould.Pieces, piece(o))
	}
	for _, n := range p.Notes() {
		f.Notes = append(f.Notes, finding{Text: n})
	}
	if by.kiln != nil {
		return inside.Fits([]inside.File{m}, by.kiln.p)
	}
	return nil
}

// piece words a pattern: "2 x seed pod, stem, section 12 mm, length 45 mm".
func piece(o mould.Pattern) string {
	text := fmt.Sprintf("%s, %s, section %v", o.Material, o.Shape, o.Section)
	if o.Count > 1 {
		text = fmt.Sprintf("%d x %s", o.Count, text)
	}
	if o.Length > 0 {
		text += fmt.Sprintf(", length %v", o.Length)
	}
	return text
}

func printMould(e *env, f checkedFile) {
	m := f.Mould
	e.printf("%s  mould, %s\n", e.paint(bold, f.File), m.Name)
	if m.About != "" {
		e.printf("  %s\n", wrap(m.About, e.width, 2))
	}
	sprue := "no open sprue"
	if m.sprue.Open {
		sprue = fmt.Sprintf("sprue %v wide, %v long", m.sprue.Diameter, m.sprue.Length)
	}
	sleeve := "sleeve " + m.flask.Sleeve
	if m.flask.Sleeve == mould.SleeveNone {
		sleeve = "no sleeve"
	}
	e.printf("  flask %v x %v · %s · on a %s · %s\n", m.flask.Diameter, m.flask.Height, sleeve, m.flask.Stands, sprue)
	for _, p := range m.Pieces {
		e.printf("  %s\n", p)
	}
	printFindings(e, f)
}

// checkedInside is how the moulds fare along a profile by plan. Times are
// seconds since the start; null for what does not come in it.
type checkedInside struct {
	Moulds   []string `json:"moulds"`
	DryS     *float64 `json:"dry_s"`         // no free water left
	ClearS   *float64 `json:"clear_s"`       // by the model
	ChanceS  *float64 `json:"chance_s"`      // when the chance of being clear is that wanted
	Want     float64  `json:"chance_wanted"` // what the profile asks for, or 0.95
	Chance   float64  `json:"chance_clear"`  // at the end
	Evidence string   `json:"evidence"`
	Warnings []string `json:"warnings"`
	start    time.Time
}

// inside follows the moulds along p, and adds to o how long its holds take.
func (by checking) inside(p *profile.Profile, o *profile.Outlook) (*checkedInside, error) {
	m, err := inside.Build(by.moulds, by.kiln.p, p, nil)
	if err != nil {
		// Its places are in the moulds, not in the profile that is checked.
		return nil, errors.New(err.Error())
	}
	inside.Learn(m, by.moulds, p, by.pulls)
	c := inside.Follow(m, p, *o)
	o.Hold = c.Hold
	at := func(d time.Duration) *float64 {
		if d < 0 {
			return nil
		}
		s := d.Seconds()
		return &s
	}
	out := &checkedInside{
		Moulds: inside.Names(by.moulds), DryS: at(c.Dry), ClearS: at(c.Clear), ChanceS: at(c.ByOdds), Want: c.Want, Chance: c.Chance,
		Evidence: inside.Evidence(m), Warnings: append([]string{}, c.Warning...), start: by.start,
	}
	return out, nil
}

func (c *checkedInside) print(e *env) {
	if c == nil {
		return
	}
	row := func(name, text string) { e.printf("  %-15s  %s\n", name, text) }
	at := func(s *float64) string {
		if s == nil {
			return "not in this profile"
		}
		return fmt.Sprintf("after %s, %s", hours(seconds(*s)), clockOf(c.start, *s))
	}
	e.printf("\n  %s\n", e.paint(faint, "inside "+strings.Join(c.Moulds, ", ")+", by plan"))
	row("dry", at(c.DryS))
	row("clear", at(c.ClearS)+", by the model")
	row(fmt.Sprintf("%.0f %% clear", c.Want*100), at(c.ChanceS))
	row("at the end", fmt.Sprintf("%s clear", share(c.Chance)))
	row("that is", wrap("on "+c.Evidence, e.width, 19))
	for _, w := range c.Warnings {
		e.printf("%s %s\n", e.paint(yellow, "warning:"), wrap(w, e.width, 9))
	}
}

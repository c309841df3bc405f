package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"calx/storage/record"
)

type castCmd struct {
	Add     castAddCmd     `cmd:"" help:"Begin the sheet of a casting."`
	Mend    castMendCmd    `cmd:"" help:"Fill in, correct or withdraw a sheet; what it said before is kept."`
	Show    castShowCmd    `cmd:"" help:"Show the sheet of a casting, as Markdown."`
	List    castListCmd    `cmd:"" help:"List the castings."`
	Compare castCompareCmd `cmd:"" help:"Compare castings: with and without wash-out, by metal or by mould."`
}

// castFlags are the fields of a casting.
type castFlags struct {
	Name       string   `help:"What you call it." placeholder:"NAME"`
	Mould      []string `help:"Mould file or name; give it again for more." sep:"none" placeholder:"NAME"`
	Firing     []string `help:"Number of a firing it went through; give it again for more." placeholder:"N"`
	WashOut    string   `help:"Whether the ash was washed out: yes or no." placeholder:"yes|no"`
	WashOutHow string   `help:"How it was washed out." placeholder:"TEXT"`
	Poured     string   `help:"When it was poured, such as \"2026-11-28 14:00\"." placeholder:"TIME"`
	PourTemp   string   `help:"Temperature of the metal." placeholder:"TEMP"`
	FlaskTemp  string   `help:"Temperature of the flask at the pour." placeholder:"TEMP"`
	Metal      string   `help:"Which metal." placeholder:"NAME"`
	MetalMass  string   `help:"How much of it." placeholder:"MASS"`
	Photo      []string `help:"Path of a picture; it stays where it is. Give it again for more." sep:"none" placeholder:"FILE"`
	Outcome    []string `help:"good, or what is wrong: ash inclusion, char, shrinkage, cracking/finning, misrun, gas porosity. Give it again for more." placeholder:"NAME"`
	Note       string   `help:"Anything else." placeholder:"TEXT"`
	Author     string   `help:"Who writes this." placeholder:"NAME"`
}

func (f *castFlags) apply(n *record.Note) error {
	c := *n.Casting
	var e edits
	n.Author = f.Author
	e.text(&c.Name, f.Name)
	e.text(&c.WashOut, f.WashOut)
	e.text(&c.WashOutHow, f.WashOutHow)
	e.text(&c.Metal, f.Metal)
	e.text(&c.Text, f.Note)
	e.list(&c.Moulds, f.Mould)
	e.list(&c.Photos, f.Photo)
	e.list(&c.Outcome, f.Outcome)
	e.time("poured", &c.Poured, f.Poured)
	e.number("pour-temp", &c.PourC, f.PourTemp, readTemperature)
	e.number("flask-temp", &c.FlaskC, f.FlaskTemp, readTemperature)
	e.number("metal-mass", &c.MetalKg, f.MetalMass, readMass)
	if len(f.Firing) > 0 {
		c.Firings = nil
	}
	for _, id := range f.Firing {
		if len(f.Firing) > 1 || id != notKnown {
			c.Firings = append(c.Firings, e.firing(id))
		}
	}
	n.Casting = &c
	return e.err()
}

type castAddCmd struct {
	castFlags
	logFlags
	jsonFlag
}

func (c *castAddCmd) Run(e *env) error {
	n := record.Note{Casting: &record.Casting{}}
	if err := c.apply(&n); err != nil {
		return err
	}
	n, err := c.add(e.ctx, n)
	if err != nil {
		return err
	}
	if c.JSON {
		return e.writeJSON(n)
	}
	e.printf("casting %d is in the notebook: %s\n", n.ID, printable(castWords(n.Casting)))
	return nil
}

type castMendCmd struct {
	entryArg
	withdrawal
	castFlags
	logFlags
	jsonFlag
}

func (c *castMendCmd) Run(e *env) error {
	n, err := c.mend(e.ctx, record.CastingNote, c.Number, func(n *record.Note) error {
		c.withdrawal.apply(n)
		return c.castFlags.apply(n)
	})
	if err != nil {
		return err
	}
	if c.JSON {
		return e.writeJSON(n)
	}
	e.printf("casting %d, revision %d: %s\n", n.ID, n.Revision, printable(withdrawnWords(n, castWords(n.Casting))))
	return nil
}

type castListCmd struct {
	All    bool   `help:"Those withdrawn and every earlier revision as well."`
	Search string `help:"Only those that have this text anywhere; case does not matter." placeholder:"TEXT"`
	logFlags
	jsonFlag
}

func (c *castListCmd) Run(e *env) error {
	all, damage := c.notes(e.ctx, record.CastingNote)
	if all == nil && damage != nil {
		return damage
	}
	shown := all
	if !c.All {
		shown = record.Standing(record.Latest(all))
	}
	shown = search(shown, c.Search)
	if c.JSON {
		if shown == nil {
			shown = []record.Note{}
		}
		return errors.Join(e.writeJSON(map[string][]record.Note{"castings": shown}), damage)
	}
	if len(shown) == 0 {
		e.printf("no such casting in the notebook\n")
	}
	for _, n := range shown {
		e.printf("%s  %s\n", revisionWords(n, c.All), printable(withdrawnWords(n, castWords(n.Casting))))
	}
	return damage
}

// search keeps castings that have the text anywhere.
func search(notes []record.Note, text string) []record.Note {
	text = strings.ToLower(text)
	return slices.DeleteFunc(slices.Clone(notes), func(n record.Note) bool {
		c := n.Casting
		parts := slices.Concat([]string{c.Name, c.WashOutHow, c.Metal, c.Text, n.Author}, c.Moulds, c.Photos, c.Outcome)
		return !strings.Contains(strings.ToLower(strings.Join(parts, "\n")), text)
	})
}

// castWords is a casting in one line.
func castWords(c *record.Casting) string {
	var parts []string
	add := func(s string) {
		if s != "" {
			parts = append(parts, s)
		}
	}
	add(c.Name)
	add(strings.Join(c.Moulds, " + "))
	add(c.Metal)
	switch c.WashOut {
	case "yes":
		add("washed out")
	case "no":
		add("not washed out")
	}
	if len(c.Outcome) == 0 {
		add("outcome not noted")
	}
	add(strings.Join(c.Outcome, " and "))
	return strings.Join(parts, ", ")
}

type castShowCmd struct {
	entryArg
	logFlags
	jsonFlag
	unitsFlag
}

// castResult is the object that --json writes.
type castResult struct {
	Casting   record.Note   `json:"casting"`   // the latest revision
	Revisions []record.Note `json:"revisions"` // all, the latest included
}

func (c *castShowCmd) Run(e *env) error {
	all, damage := c.notes(e.ctx, record.CastingNote)
	n, err := find(record.Latest(all), record.CastingNote, c.Number)
	if err != nil {
		return errors.Join(damage, err)
	}
	res := castResult{n, slices.DeleteFunc(all, func(r record.Note) bool { return r.ID != n.ID })}
	if c.JSON {
		return errors.Join(e.writeJSON(res), damage)
	}
	e.printf("%s", res.markdown(c.fahrenheit(false)))
	return damage
}

// markdown is the sheet; CommonMark, and plain enough to read as it is.
func (r castResult) markdown(fahrenheit bool) string {
	var b strings.Builder
	c := r.Casting.Casting
	fmt.Fprintf(&b, "# Casting %d", r.Casting.ID)
	if c.Name != "" {
		fmt.Fprintf(&b, ": %s", printable(c.Name))
	}
	b.WriteString("\n\n")
	if r.Casting.Withdrawn {
		b.WriteString("**Withdrawn.** It no longer counts.\n\n")
	}
	item := func(name, s string) {
		if s == "" {
			s = "not noted"
		}
		fmt.Fprintf(&b, "- %s: %s\n", name, printable(s))
	}
	firings := make([]string, len(c.Firings))
	for i, id := range c.Firings {
		firings[i] = fmt.Sprint(id)
	}
	temperature := func(v float64) string {
		if v == 0 {
			return ""
		}
		return wholeTemperature(v, fahrenheit)
	}
	wash := c.WashOut
	if c.WashOutHow != "" {
		wash += ", " + c.WashOutHow
	}
	poured, mass := "", ""
	if !c.Poured.IsZero() {
		poured = c.Poured.Local().Format(dayAndTime)
	}
	if c.MetalKg != 0 {
		mass = fmt.Sprintf(", %.4g g", 1000*c.MetalKg)
	}
	item("mould", strings.Join(c.Moulds, ", "))
	item("firings", strings.Join(firings, ", "))
	item("wash-out", wash)
	item("poured", poured)
	item("metal", strings.TrimPrefix(c.Metal+mass, ", "))
	item("metal temperature", temperature(c.PourC))
	item("flask temperature", temperature(c.FlaskC))
	item("outcome", strings.Join(c.Outcome, ", "))
	if c.Text != "" {
		fmt.Fprintf(&b, "\n%s\n", paragraphs(c.Text))
	}
	if len(c.Photos) > 0 {
		b.WriteString("\n## Photos\n\n")
		for _, p := range c.Photos {
			fmt.Fprintf(&b, "- %s\n", printable(p))
		}
	}
	b.WriteString("\n## Changes\n\n")
	for _, n := range r.Revisions {
		by := ""
		if n.Author != "" {
			by = " by " + printable(n.Author)
		}
		fmt.Fprintf(&b, "%d. %s%s: %s\n", n.Revision, n.At.Local().Format(dayAndTime), by, printable(withdrawnWords(n, castWords(n.Casting))))
	}
	return b.String()
}

// paragraphs keeps the lines of a note and drops what would move a cursor.
func paragraphs(s string) string {
	lines := strings.Split(s, "\n")
	for i := range lines {
		lines[i] = printable(lines[i])
	}
	return strings.Join(lines, "\n")
}

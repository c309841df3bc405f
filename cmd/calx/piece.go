package main

import (
	"fmt"

	"calx/storage/record"
)

type pieceCmd struct {
	Add     pieceAddCmd     `cmd:"" help:"Note a test piece that was pulled and broken open."`
	Mend    pieceMendCmd    `cmd:"" help:"Correct or withdraw a note; what it said before is kept."`
	List    pieceListCmd    `cmd:"" help:"List the test pieces."`
	Predict piecePredictCmd `cmd:"" help:"How long until it is clear, by the test pieces, and how sure that is."`
	Next    pieceNextCmd    `cmd:"" help:"Which pull would tell most."`
}

// kindFlags are what must be alike for two pieces to share one time.
type kindFlags struct {
	Material string `help:"What it is made of, such as twig or seed pod." placeholder:"NAME"`
	Flask    string `help:"What it stands in: plug, or the mould in your own words, such as \"steel flask\"." placeholder:"NAME"`
	Sprue    string `help:"How the sprue stands, in your own words, such as \"open mouth\"." placeholder:"NAME"`
	Air      *bool  `help:"The fresh-air relay is on during the hold." negatable:""`
}

// pieceFlags are the fields of a piece.
type pieceFlags struct {
	Name    string `help:"What its label says, such as T3." placeholder:"LABEL"`
	Section string `help:"Its thickest place, such as 11mm." placeholder:"LENGTH"`
	kindFlags
	Firing  string `help:"Number of the firing it was in; its temperatures are in the log." placeholder:"N"`
	Pulled  string `help:"When it was pulled, since that firing began, such as \"6 h 20 min\"." placeholder:"TIME"`
	Follow  string `help:"Which temperature of the firing it had: chamber, \"core 2\", or the role of a thermocouple; otherwise core 1 if the firing knew its moulds, else chamber." placeholder:"NAME"`
	Temp    string `help:"Without a firing: the temperature it was held at." placeholder:"TEMP"`
	Hold    string `help:"Without a firing: how long it was held there." placeholder:"TIME"`
	State   string `help:"What it looks like broken open: raw, charred, \"char core\", ash, clear." placeholder:"STATE"`
	Core    string `help:"Diameter of the char core." placeholder:"LENGTH"`
	Dry     string `help:"What it weighed dry, before." placeholder:"MASS"`
	Residue string `help:"What char and ash weigh together." placeholder:"MASS"`
	Note    string `help:"Anything else." placeholder:"TEXT"`
	Author  string `help:"Who writes this." placeholder:"NAME"`
}

func (f *pieceFlags) apply(n *record.Note) error {
	p := *n.Piece
	var e edits
	n.Author = f.Author
	e.text(&p.Name, f.Name)
	e.text(&p.Material, f.Material)
	e.text(&p.Flask, f.Flask)
	e.text(&p.Sprue, f.Sprue)
	e.text(&p.Follow, f.Follow)
	e.text(&p.State, f.State)
	e.text(&p.Text, f.Note)
	if f.Air != nil {
		p.Air = *f.Air
	}
	e.number("section", &p.SectionM, f.Section, readLength)
	e.number("core", &p.CoreM, f.Core, readLength)
	e.number("dry", &p.DryKg, f.Dry, readMass)
	e.number("residue", &p.ResidueKg, f.Residue, readMass)
	e.number("pulled", &p.PulledS, f.Pulled, readDuration)
	e.number("hold", &p.HoldS, f.Hold, readDuration)
	e.number("temp", &p.HoldC, f.Temp, readTemperature)
	switch f.Firing {
	case "":
	case notKnown:
		p.Firing = 0
	default:
		p.Firing = e.firing(f.Firing)
	}
	n.Piece = &p
	return e.err()
}

type pieceAddCmd struct {
	pieceFlags
	logFlags
	jsonFlag
	unitsFlag
}

// usualFlask is what a test piece stands in unless told otherwise.
const usualFlask = "plug"

func (c *pieceAddCmd) Run(e *env) error {
	n := record.Note{Piece: &record.Piece{Flask: usualFlask}}
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
	e.printf("piece %d is in the notebook: %s\n", n.ID, pieceWords(n.Piece, c.fahrenheit(false)))
	return nil
}

type pieceMendCmd struct {
	entryArg
	withdrawal
	pieceFlags
	logFlags
	jsonFlag
	unitsFlag
}

func (c *pieceMendCmd) Run(e *env) error {
	n, err := c.mend(e.ctx, record.PieceNote, c.Number, func(n *record.Note) error {
		c.withdrawal.apply(n)
		return c.pieceFlags.apply(n)
	})
	if err != nil {
		return err
	}
	if c.JSON {
		return e.writeJSON(n)
	}
	e.printf("piece %d, revision %d: %s\n", n.ID, n.Revision, withdrawnWords(n, pieceWords(n.Piece, c.fahrenheit(false))))
	return nil
}

func withdrawnWords(n record.Note, s string) string {
	if n.Withdrawn {
		return "withdrawn; it said: " + s
	}
	return s
}

type pieceListCmd struct {
	All bool `help:"Those withdrawn and every earlier revision as well."`
	logFlags
	jsonFlag
	unitsFlag
}

func (c *pieceListCmd) Run(e *env) error {
	all, damage := c.notes(e.ctx, record.PieceNote)
	if all == nil && damage != nil {
		return damage
	}
	shown := all
	if !c.All {
		shown = record.Standing(record.Latest(all))
	}
	if c.JSON {
		if shown == nil {
			shown = []record.Note{}
		}
		if err := e.writeJSON(map[string][]record.Note{"pieces": shown}); err != nil {
			return err
		}
		return damage
	}
	if len(shown) == 0 {
		e.printf("no test piece in the notebook yet; calx piece add notes one\n")
	}
	for _, n := range shown {
		s := pieceWords(n.Piece, c.fahrenheit(false))
		if n.Piece.Text != "" {
			s += " (" + n.Piece.Text + ")"
		}
		e.printf("%s  %s\n", revisionWords(n, c.All), printable(withdrawnWords(n, s)))
	}
	return damage
}

// revisionWords is the number of an entry, with its revision and its time
// where several are shown.
func revisionWords(n record.Note, every bool) string {
	if !every {
		return fmt.Sprintf("%3d", n.ID)
	}
	return fmt.Sprintf("%3d, revision %d of %s", n.ID, n.Revision, n.At.Local().Format(dayAndTime))
}

// pieceWords is a piece in one line.
func pieceWords(p *record.Piece, fahrenheit bool) string {
	s := fmt.Sprintf("%.3g mm %s", 1000*p.SectionM, p.Material)
	if p.Name != "" {
		s = p.Name + ", " + s
	}
	if p.Flask != "" {
		s += ", " + p.Flask
	}
	if p.Sprue != "" {
		s += ", sprue " + p.Sprue
	}
	if p.Air {
		s += ", air on"
	}
	if p.Firing != 0 {
		s += fmt.Sprintf(", firing %d, pulled at %s", p.Firing, hours(seconds(p.PulledS)))
	} else {
		s += fmt.Sprintf(", %s at %s", hours(seconds(p.HoldS)), wholeTemperature(p.HoldC, fahrenheit))
	}
	s += ": " + p.State
	if p.CoreM != 0 {
		s += fmt.Sprintf(" of %.3g mm", 1000*p.CoreM)
	}
	return s
}

package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync/atomic"
	"time"

	"calx/profile/plan"
	"calx/profile/sheet"
)

type planCmd struct {
	Moulds    []string `arg:"" name:"mould" help:"Mould files, or names of shipped moulds. How many of each stand in the kiln is in the file."`
	Kiln      string   `help:"Kiln file, or the name of a shipped kiln; otherwise the one calx.yaml names." placeholder:"FILE"`
	Pour      string   `help:"When the metal is to be poured: 14:00, \"Sat 14:00\" or \"2026-11-28 14:00\"; otherwise as soon as can be." placeholder:"TIME"`
	PourTemp  string   `help:"Temperature of the flask at the pour, or none to end at the top, clear; otherwise 540 C (1000 F)." placeholder:"TEMP"`
	PourLimit string   `help:"What the cavity may fall to before the metal is in; otherwise 50 C below." placeholder:"TEMP"`
	Earliest  string   `help:"No start before: now, or a time as above." default:"now" placeholder:"TIME"`
	Room      string   `help:"Temperature of the room." default:"20 C" placeholder:"TEMP"`
	Air       bool     `help:"The fresh-air relay is on from the steam hold until clear."`
	Price     float64  `help:"Price of a kilowatt-hour, in your money." placeholder:"PRICE"`
	Chance    string   `help:"How sure it must be that all is clear when the top hold ends, in percent." default:"95" placeholder:"PERCENT"`
	Helps     *bool    `help:"Tell what would make the plan shorter; it takes several times as long. On a terminal this is done unless --no-helps says not to." negatable:""`
	WashOut   bool     `help:"Plan the second firing as well, after the ash is washed out."`
	Out       string   `help:"Write the profile, with its reasons, into this file." placeholder:"FILE"`
	PNG       string   `name:"png" help:"Draw the plan into this PNG file." placeholder:"FILE"`
	SVG       string   `name:"svg" help:"Draw the plan into this SVG file." placeholder:"FILE"`
	Sheet     bool     `help:"Print the casting sheet of each mould as well: powder, water, metal, feeding, temperatures."`
	Metal     string   `help:"With --sheet: what is to be poured, as calx sheet takes it." placeholder:"NAME"`
	Size      string   `help:"Size of the picture in pixels, 320 to 8000 each way." default:"1280x860" placeholder:"WxH"`
	piecesFlags
	jsonFlag
	unitsFlag
}

// planned is a plan with what its words need.
type planned struct {
	*plan.Plan
	in    plan.Input
	alone *plan.Plan // as made, before a cool-down was put behind it
	title string     // the moulds
	which string     // of two firings, with a comma before it
	end   string     // what the mould is ready for
	wash  bool       // the firing after the wash-out
	basis string     // what the time until clear rests on
}

func (c *planCmd) Run(e *env) error {
	w, h, err := pictureSize(c.Size)
	if err != nil {
		return usageError{err}
	}
	if c.Sheet && c.JSON {
		return usageError{errors.New("--sheet prints words; for an object of it use calx sheet --json")}
	}
	in, err := c.input(time.Now())
	if err != nil {
		return err
	}
	basis, err := c.believe(e, &in)
	if err != nil {
		return err
	}
	plans, err := c.make(e, in)
	if err != nil {
		return c.refused(e, err)
	}
	for _, p := range plans {
		p.basis = basis
	}
	if err := c.write(plans, w, h); err != nil {
		return err
	}
	if c.JSON {
		return c.printJSON(e, plans)
	}
	if err := c.print(e, plans); err != nil || !c.Sheet {
		return err
	}
	ask := sheet.Defaults
	ask.Alloy = c.Metal
	e.printf("\n")
	return printSheet(e, sheetInput{moulds: in.Moulds, ask: ask, fahrenheit: in.Fahrenheit})
}

// make makes the plans: one firing, or two with a wash-out between them.
func (c *planCmd) make(e *env, in plan.Input) (ps []*planned, err error) {
	err = e.busy("planning", func(func(string)) (err error) {
		if c.WashOut {
			ps, err = washedOut(in)
			return err
		}
		p := &planned{in: in, title: mouldTitle(in.Moulds), end: "clear, at the top"}
		if in.PourC > 0 {
			p.end = "to pour at " + wholeTemperature(in.PourC, in.Fahrenheit)
		}
		ps = []*planned{p}
		p.Plan, err = plan.Make(in)
		p.alone = p.Plan
		return err
	})
	return ps, err
}

// print shows the plans, then what takes longer to find out.
func (c *planCmd) print(e *env, plans []*planned) error {
	v := planView{env: e, inF: plans[0].in.Fahrenheit}
	for i, p := range plans {
		if i > 0 {
			e.printf("\n")
		}
		v.plan(p)
	}
	v.cautions()
	c.next(v, plans)
	if !c.wantsHelps(e) {
		if c.Helps == nil {
			v.paragraph(faint, "what would make it shorter, and by how much: add --helps")
		}
		return nil
	}
	hs, err := c.helps(e, plans[0])
	if err != nil {
		return err
	}
	v.helps(hs)
	return nil
}

// wantsHelps is as asked for; otherwise only where a person sees it being
// worked on.
func (c *planCmd) wantsHelps(e *env) bool {
	if c.Helps != nil {
		return *c.Helps
	}
	return e.tty
}

func (c *planCmd) helps(e *env, p *planned) (hs []plan.Help, err error) {
	err = e.busy("looking for what would make it shorter", func(now func(string)) error {
		hs = plan.Helps(p.in, p.alone, now)
		return nil
	})
	return hs, err
}

// busy runs work that takes seconds; on a terminal it says so meanwhile, and
// what the work says it is at. The work cannot be interrupted, the waiting for
// it can.
func (e *env) busy(what string, work func(now func(string)) error) error {
	var at atomic.Value
	at.Store("")
	done := make(chan error, 1)
	go func() { done <- work(func(s string) { at.Store(": " + s) }) }()
	const quick, every = 400 * time.Millisecond, 250 * time.Millisecond
	begun := time.Now()
	t := time.NewTimer(quick)
	defer t.Stop()
	line := func(s string) {
		if e.tty {
			fmt.Fprintf(e.out, "\r%s\x1b[K", e.paint(faint, cutTo(s, e.width-1)))
		}
	}
	for {
		select {
		case err := <-done:
			line("")
			return err
		case <-e.ctx.Done():
			line("")
			return fmt.Errorf("stopped while %s", what)
		case <-t.C:
			line(fmt.Sprintf("%s, %s%s", what, span(time.Since(begun)), at.Load()))
			t.Reset(every)
		}
	}
}

// write writes the files asked for.
func (c *planCmd) write(plans []*planned, w, h int) error {
	for _, p := range plans {
		if c.Out != "" {
			if err := writePlanned(p.file(c.Out), p.text()); err != nil {
				return err
			}
		}
		for _, d := range []struct {
			file string
			draw func(io.Writer, *planned, int, int) error
		}{{c.PNG, planPNG}, {c.SVG, planSVG}} {
			if d.file == "" {
				continue
			}
			if err := writeFile(p.file(d.file), func(o *os.File) error { return d.draw(o, p, w, h) }); err != nil {
				return fmt.Errorf("picture: %w", err)
			}
		}
	}
	return nil
}

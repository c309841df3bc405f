package main

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"unicode/utf8"

	"calx/profile/sheet"
	"calx/sim/mould"
	"calx/sim/quantity"
)

type sheetCmd struct {
	Moulds    []string `arg:"" name:"mould" help:"Mould files, or names of shipped moulds."`
	Metal     string   `help:"What is to be poured: \"silicon bronze\", sterling, C83600; without it the mould alone." placeholder:"NAME"`
	Volume    string   `help:"Volume of all patterns of one flask, without the sprue; otherwise from the shapes in the mould file." placeholder:"VOLUME"`
	Displaced string   `help:"What the balance shows with the patterns held under water, set to zero with the beaker alone." placeholder:"MASS"`
	Plunger   string   `help:"What it shows with only the plunger as deep, if a pattern floats." placeholder:"MASS"`
	Water     string   `help:"Temperature of that water." default:"20 C" placeholder:"TEMP"`
	Sprue     string   `help:"Diameter and length of the sprue, \"8 mm x 40 mm\"; otherwise the mould file's." placeholder:"SIZE"`
	Reservoir string   `help:"Diameter and height of the metal reservoir, \"30 mm x 25 mm\"; otherwise the least that feeds." placeholder:"SIZE"`
	Waste     string   `help:"Investment that stays in the bowl, over the fill." default:"10 %" placeholder:"PERCENT"`
	Margin    string   `help:"Metal over what is filled." default:"10 %" placeholder:"PERCENT"`
	HTML      string   `name:"html" help:"Write a page to print into this file." placeholder:"FILE" type:"path"`
	configFlag
	jsonFlag
	unitsFlag
}

// sheetInput is what casting sheets are made from: one a mould.
type sheetInput struct {
	moulds     []mould.Params
	ask        sheet.Input // all but the mould; start from sheet.Defaults
	fahrenheit bool
	json       bool
	html       string // a page is written here as well; "" for none
}

func (c *sheetCmd) Run(e *env) error {
	conf, err := c.load()
	if err != nil && c.Config != "" {
		return err
	}
	in := sheetInput{fahrenheit: c.fahrenheit(conf != nil && conf.Units == "F"), json: c.JSON, html: c.HTML}
	if in.ask, err = c.ask(); err != nil {
		return usageError{err}
	}
	files, err := loadMoulds(c.Moulds)
	if err != nil {
		return err
	}
	if len(files) == 0 {
		return usageError{errors.New("no mould to make a sheet for; name a mould file, or a shipped mould: " + strings.Join(mould.Shipped(), ", "))}
	}
	for _, f := range files {
		in.moulds = append(in.moulds, f.Params)
	}
	if len(files) > 1 && (c.Volume != "" || c.Displaced != "") {
		return usageError{fmt.Errorf("one volume is given, and %d moulds; make the sheet of each by itself", len(files))}
	}
	return printSheet(e, in)
}

// ask reads the flags; all that do not read are told at once.
func (c *sheetCmd) ask() (sheet.Input, error) {
	in := sheet.Defaults
	in.Alloy = c.Metal
	var (
		volume             quantity.Volume
		displaced, plunger quantity.Mass
		water              quantity.Temperature
		waste, margin      quantity.Fraction
		errs               []error
		sprue, reservoir   sheet.Size
	)
	read := func(flag, text string, parse func(string) error) {
		if text == "" {
			return
		}
		if err := parse(text); err != nil {
			errs = append(errs, fmt.Errorf("--%s: %w", flag, err))
		}
	}
	read("volume", c.Volume, volume.Parse)
	read("displaced", c.Displaced, displaced.Parse)
	read("plunger", c.Plunger, plunger.Parse)
	read("water", c.Water, water.Parse)
	read("waste", c.Waste, waste.Parse)
	read("margin", c.Margin, margin.Parse)
	read("sprue", c.Sprue, func(s string) (err error) { sprue, err = sizeOf(s); return err })
	read("reservoir", c.Reservoir, func(s string) (err error) { reservoir, err = sizeOf(s); return err })
	in.VolumeM3, in.DisplacedKg, in.PlungerKg, in.WaterC = float64(volume), float64(displaced), float64(plunger), float64(water)
	in.Waste, in.Margin, in.Sprue, in.Reservoir = float64(waste), float64(margin), sprue, reservoir
	if c.Volume != "" && volume == 0 && len(errs) == 0 {
		errs = append(errs, fmt.Errorf("--volume: %s is nothing; give the volume of all patterns of one flask, such as 40 cm3", c.Volume))
	}
	if c.Displaced != "" && displaced == 0 && len(errs) == 0 {
		errs = append(errs, fmt.Errorf("--displaced: %s is nothing; give what the balance shows, such as 40 g", c.Displaced))
	}
	return in, errors.Join(errs...)
}

// sizeOf reads "8 mm x 40 mm": diameter, then length or height.
func sizeOf(text string) (s sheet.Size, err error) {
	across, along, two := strings.Cut(text, "x")
	var d, h quantity.Length
	if !two || d.Parse(strings.TrimSpace(across)) != nil || h.Parse(strings.TrimSpace(along)) != nil || d == 0 || h == 0 {
		return s, fmt.Errorf("%q is no size; write diameter and length, each with its unit, such as \"8 mm x 40 mm\"", text)
	}
	return sheet.Size{DiameterM: float64(d), HeightM: float64(h)}, nil
}

// printSheet makes the casting sheet of each mould and shows it, and writes
// the page if one is wanted.
func printSheet(e *env, in sheetInput) error {
	var sheets []sheet.Sheet
	var errs []error
	for _, m := range in.moulds {
		in.ask.Mould = m
		s, err := sheet.Make(in.ask)
		var wrong sheet.Mistakes
		if errors.As(err, &wrong) {
			for _, p := range wrong {
				errs = append(errs, fmt.Errorf("casting sheet of %s: %s: %s", m.Name, p.Path, p.Text))
			}
		}
		sheets = append(sheets, s)
	}
	if len(errs) > 0 {
		return errors.Join(errs...)
	}
	if in.html != "" {
		if err := writeFile(in.html, func(w *os.File) error { return writeSheetPage(w, sheets, in.fahrenheit) }); err != nil {
			return fmt.Errorf("casting sheet: %w", err)
		}
	}
	if in.json {
		return e.writeJSON(struct {
			Sheets []sheet.Sheet `json:"sheets"`
		}{sheets})
	}
	for i, s := range sheets {
		if i > 0 {
			e.printf("\n")
		}
		e.sheet(viewSheet(s, in.fahrenheit))
	}
	if in.html != "" {
		e.printf("\n%s\n", e.paint(faint, "written to "+in.html))
	}
	return nil
}

// Columns of the terminal sheet.
const (
	sheetLabel = 17
	sheetWidth = 80
)

func (e *env) sheet(v sheetView) {
	width := min(max(e.width, 40), sheetWidth)
	e.printf("%s\n", e.paint(bold, wrap("Casting sheet: "+v.Title, width, 0)))
	for _, part := range v.Parts {
		e.printf("\n%s\n", e.paint(bold, part.Title))
		for _, r := range part.Rows {
			pad := strings.Repeat(" ", max(0, sheetLabel-utf8.RuneCountInString(r.Label)-2))
			value := wrap(r.Value, width, sheetLabel)
			if r.Warn {
				value = e.paint(yellow, value)
			}
			e.printf("  %s%s%s\n", r.Label, pad, value)
			if r.Detail != "" {
				e.printf("%s%s\n", strings.Repeat(" ", sheetLabel), wrap(r.Detail, width, sheetLabel))
			}
		}
		if part.Source != "" {
			e.printf("%s%s\n", strings.Repeat(" ", sheetLabel), e.paint(faint, wrap("["+part.Source+"]", width, sheetLabel)))
		}
	}
	e.printf("\n%s\n", e.paint(bold, "Cautions"))
	for _, c := range v.Cautions {
		e.printf("  %s\n", wrap("! "+c.Title+". "+c.Text, width, 4))
	}
	e.printf("\n%s\n", e.paint(faint, wrap(sheetMarks, width, 0)))
}

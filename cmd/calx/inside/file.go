package inside

import (
	"fmt"
	"strings"

	"github.com/goccy/go-yaml"

	"calx/sim/kiln"
	"calx/sim/mould"
	"calx/sim/quantity"
)

// File is the description of one kind of mould, as a person wrote it.
type File struct {
	Name   string // for errors: the file, or the place in a list
	Text   string // YAML
	Params mould.Params
}

// Read reads and checks a mould. Errors are quantity.Errors: file, line,
// column, the value and what would be right.
func Read(name, text string) (File, error) {
	p, err := mould.Load(name, []byte(text))
	if err != nil {
		return File{}, err
	}
	return File{name, text, p}, nil
}

// ReadAll reads the moulds that came with a request or stand in the head of a
// firing; they are named by their number.
func ReadAll(texts []string) ([]File, error) {
	out := make([]File, len(texts))
	for i, t := range texts {
		var err error
		if out[i], err = Read(fmt.Sprintf("mould %d", i+1), t); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// Names are the names of the moulds, each of its own: a second one of a name
// gets a number.
func Names(files []File) []string {
	out := make([]string, len(files))
	seen := map[string]int{}
	for i, f := range files {
		out[i] = f.Params.Name
		if seen[f.Params.Name]++; seen[f.Params.Name] > 1 {
			out[i] = fmt.Sprintf("%s %d", out[i], seen[f.Params.Name])
		}
	}
	return out
}

// wrong is a problem with a value of the file, at its line.
func (f File) wrong(field, format string, a ...any) error {
	e := quantity.Error{File: f.Name, Line: 1, Column: 1, Text: field + ": " + fmt.Sprintf(format, a...)}
	if p, err := yaml.PathString("$." + field); err == nil {
		if n, err := p.ReadNode(strings.NewReader(f.Text)); err == nil {
			at := n.GetToken().Position
			e.Line, e.Column = at.Line, at.Column
		}
	}
	return quantity.Errors{e}
}

// usualSleeve is the wall of a sleeve that gives none, as package mould has it.
const usualSleeve = quantity.Length(0.002)

// outside is the diameter over the sleeve.
func outside(f mould.Flask) quantity.Length {
	switch {
	case f.Sleeve == mould.SleeveNone:
		return f.Diameter
	case f.Wall == 0:
		return f.Diameter + 2*usualSleeve
	}
	return f.Diameter + 2*f.Wall
}

// Air is the air in a kiln as its file has it: leakage always, the vent while
// the fresh-air relay is on. The leakage of a kiln file holds at 700 °C; a
// cooler chimney draws less, but char hardly burns there.
func Air(k kiln.Params, roomC float64) mould.KilnAir {
	const perHour = 3600
	leak := float64(k.Air.Leakage) * perHour
	return mould.KilnAir{VolumeM3: k.Chamber.VolumeM3(), ChangesPerH: leak, ChangesOnPerH: leak + float64(k.Air.Vent)*perHour, RoomC: roomC}
}

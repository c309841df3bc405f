package main

import (
	"fmt"
	"slices"
	"strings"

	"calx/cmd/calx/inside"
	"calx/profile"
	"calx/profile/plan"
)

// piecesFlags is which test pieces are asked before a firing.
type piecesFlags struct {
	logFlags
	NoPieces bool `help:"Leave the test pieces of the notebook out: the physics alone."`
}

// known are the test pieces there are. Where no log was asked for, one that
// cannot be read is only told of.
func (f piecesFlags) known(e *env) (inside.Pulls, error) {
	if f.NoPieces || f.Data == "" && f.At == "" && f.find() == "" {
		return inside.Pulls{}, nil
	}
	pulls, err := f.pulls(e)
	if err != nil && f.Data == "" {
		return inside.Pulls{LeftOut: []string{"the notebook: " + err.Error()}}, nil
	}
	return pulls, err
}

// steady is a firing to compare test pieces with the physics in, before there
// is a plan.
func steady(air bool) *profile.Profile {
	text := "heat to 150 C at 100 C/h\nhold until dry, at most 48 h\nheat to 700 C at 120 C/h\nhold until clear 95%, at most 72 h\n"
	if air {
		text = "air on\n" + text
	}
	p, err := profile.Parse(text)
	if err != nil {
		panic("BUG: " + err.Error())
	}
	return p
}

// believe adds to in what the test pieces say of its moulds, and returns what
// the time until clear then rests on.
func (c *planCmd) believe(e *env, in *plan.Input) (string, error) {
	pulls, err := c.known(e)
	if err != nil {
		return "", err
	}
	files, err := loadMoulds(c.Moulds)
	if err != nil {
		return "", err
	}
	p := steady(in.AirOn)
	m, err := inside.Build(files, in.Kiln, p, nil)
	if err != nil {
		return inside.Physics, nil // what is wrong the plan itself says, in its own words
	}
	physics := slices.Clone(m.Clear)
	inside.Learn(m, files, p, pulls)
	var moved []string
	k := 0
	for i, f := range files {
		for n, t := range f.Params.Patterns {
			was, is := physics[k], m.Clear[k]
			k++
			if was.MedianMin == is.MedianMin && was.SigmaLn == is.SigmaLn {
				continue
			}
			b := plan.Belief{Mould: i, Pattern: n, MedianFactor: clamp(is.MedianMin/was.MedianMin, 0.01, 100), SigmaLn: min(is.SigmaLn, 3)}
			in.Beliefs = append(in.Beliefs, b)
			moved = append(moved, fmt.Sprintf("%s of %s takes %.2g times as long as by the physics", t.Material, f.Params.Name, b.MedianFactor))
		}
	}
	return strings.Join(append([]string{inside.Basis(m)}, moved...), "; "), nil
}

// clamp keeps v within what a plan takes.
func clamp(v, least, most float64) float64 { return max(least, min(v, most)) }

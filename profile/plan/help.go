package plan

import (
	"cmp"
	"slices"
	"time"

	"calx/sim/kiln"
	"calx/sim/mould"
	"calx/sim/quantity"
)

// change is one thing to do differently. It reports whether it applies.
type change struct {
	name string
	do   func(in *Input) bool
	note string
}

// What the changes change things to.
const (
	usualSprueM  = 0.008
	widerSprue   = 1.5
	smallerPiece = 0.8
	hotterK      = 50
	driedWet     = 0.6
)

var changes = []change{
	{"sprue left open", func(in *Input) bool { return each(in, sprueOpen) }, "air comes straight to the pattern"},
	{"sprue half as wide again", func(in *Input) bool { return each(in, sprueWider) }, "air comes in by the area of the sprue"},
	{"flask on a grate instead of a shelf", func(in *Input) bool { return each(in, onGrate) }, "the lower end of the sleeve breathes too"},
	{"perforated flask", func(in *Input) bool { return each(in, sleeve(mould.SleevePerforated)) }, "air comes through the wall all round"},
	{"bare flask, no sleeve", func(in *Input) bool { return each(in, sleeve(mould.SleeveNone)) }, "air comes through the wall all round; it breaks more easily"},
	{"air on", airOn, "helps only where the kiln's own air runs short: many patterns, a tight kiln"},
	{"vent open by hand: twice the kiln's own leakage", ventOpen, "the same, without a relay"},
	{"top 50 C hotter", hotter, "air, not heat, is what is short; and with char left gypsum gives off sulfur dioxide above 730 C: do not"},
	{"section a fifth smaller", func(in *Input) bool { return each(in, smaller) }, "the mass of char goes as the square of the section"},
	{"mould dried on the shelf to 60 % of its water", func(in *Input) bool { return each(in, drier) }, "some days of warm air save hours of steam hold"},
}

// each applies f to copies of all moulds and reports whether it changed any.
func each(in *Input, f func(*mould.Params) bool) bool {
	moulds := slices.Clone(in.Moulds)
	any := false
	for i := range moulds {
		any = f(&moulds[i]) || any
	}
	in.Moulds = moulds
	return any
}

func sprueOpen(p *mould.Params) bool {
	if p.Sprue.Open {
		return false
	}
	if p.Sprue.Diameter == 0 {
		p.Sprue.Diameter = min(usualSprueM, p.Flask.Diameter/2)
	}
	if p.Sprue.Length == 0 {
		p.Sprue.Length = p.Flask.Height / 3
	}
	p.Sprue.Open = true
	return true
}

func sprueWider(p *mould.Params) bool {
	if !p.Sprue.Open || p.Sprue.Diameter*widerSprue >= p.Flask.Diameter {
		return false
	}
	p.Sprue.Diameter *= widerSprue
	return true
}

func onGrate(p *mould.Params) bool {
	if p.Flask.Stands == mould.OnGrate || p.Flask.Sleeve != mould.SleeveSteel {
		return false
	}
	p.Flask.Stands = mould.OnGrate
	return true
}

func sleeve(kind string) func(*mould.Params) bool {
	return func(p *mould.Params) bool {
		if p.Flask.Sleeve != mould.SleeveSteel {
			return false
		}
		p.Flask.Sleeve = kind
		return true
	}
}

func smaller(p *mould.Params) bool {
	if len(p.Patterns) == 0 {
		return false
	}
	p.Patterns = slices.Clone(p.Patterns)
	for i := range p.Patterns {
		o := &p.Patterns[i]
		was := o.Section
		o.Section *= smallerPiece
		if o.Mass == nil {
			continue
		}
		ratio := float64(o.Section / was)
		if o.Shape != mould.ShapeSheet {
			ratio *= ratio
		}
		if o.Shape == mould.ShapeBall {
			ratio *= float64(o.Section / was)
		}
		m := quantity.Mass(float64(*o.Mass) * ratio)
		o.Mass = &m
		if o.Shape == mould.ShapeBall && o.Length == was {
			o.Length = o.Section
		}
	}
	return true
}

func drier(p *mould.Params) bool {
	if p.Wet != nil && *p.Wet <= driedWet {
		return false
	}
	w := quantity.Fraction(driedWet)
	p.Wet = &w
	return true
}

func airOn(in *Input) bool {
	if in.AirOn || in.Kiln.Air.Vent == 0 {
		return false
	}
	in.AirOn = true
	return true
}

func ventOpen(in *Input) bool {
	in.Kiln = leaky(in.Kiln)
	return true
}

func leaky(k kiln.Params) kiln.Params {
	k.Air.Leakage *= 2
	return k
}

func hotter(in *Input) bool {
	in.Limits = in.Limits.orDefault()
	in.Limits.CeilingC += hotterK
	in.Limits.LeastTopC = in.Limits.CeilingC - in.Limits.OvershootC
	return true
}

// Helps makes the plan p of in again with one thing changed at a time and tells
// what each change saves, the most first; a change that costs time has saved
// less than nothing. It takes as long as ten plans; progress, which may be nil,
// is called before each with its name.
func Helps(in Input, p *Plan, progress func(name string)) []Help {
	return tried(in, p, changes, progress)
}

func tried(in Input, p *Plan, list []change, progress func(name string)) []Help {
	in.PourAt, in.Now = time.Time{}, time.Time{}
	var out []Help
	for _, c := range list {
		changed := in
		if !c.do(&changed) {
			continue
		}
		if progress != nil {
			progress(c.name)
		}
		h := Help{Name: c.name, Note: c.note}
		q, err := Make(changed)
		if err != nil {
			h.Err = err
		} else {
			h.Total, h.Saves = q.Total, p.Total-q.Total
		}
		out = append(out, h)
	}
	slices.SortStableFunc(out, func(a, b Help) int { return cmp.Compare(b.Saves, a.Saves) })
	return out
}

package main

import (
	"fmt"
	"strings"

	"calx/profile/sheet"
)

// sheetView is a casting sheet in words, the same for terminal and page.
type sheetView struct {
	Title    string
	Parts    []sheetPart
	Cautions []sheet.Caution
}

type sheetPart struct {
	Title  string
	Rows   []sheetRow
	Source string
}

// sheetRow is a figure; Key marks what is weighed out or set, Warn what to act
// on before going on.
type sheetRow struct {
	Label, Value, Detail string
	Key, Warn            bool
}

const sheetMarks = "Marks: read = the source was read; memory = the source is named from memory, check it; practice = common practice of the trade, no source; derived = follows from the figures here."

func viewSheet(s sheet.Sheet, inF bool) sheetView {
	v := sheetView{Title: s.Name, Cautions: s.Cautions}
	if s.Count > 1 {
		v.Title += fmt.Sprintf(", %d of them", s.Count)
	}
	if s.Alloy != nil {
		v.Title += ", " + s.Alloy.Name
	}
	v.Parts = append(v.Parts, viewVolume(s), viewInvestment(s), viewClock(s, inF))
	if len(s.Fits) > 0 {
		v.Parts = append(v.Parts, viewFit(s))
	}
	if s.Feed != nil {
		v.Parts = append(v.Parts, viewFeed(*s.Feed))
	}
	if s.Alloy == nil {
		return sheetNoMetal(v)
	}
	v.Parts = append(v.Parts, viewMetal(s), viewPour(s, inF))
	return v
}

func sheetNoMetal(v sheetView) sheetView {
	var names []string
	for _, a := range sheet.Alloys() {
		names = append(names, a.Name)
	}
	v.Parts = append(v.Parts, sheetPart{Title: "Metal", Rows: []sheetRow{{Label: "not named", Value: "name it with --metal: " + strings.Join(names, ", ")}}})
	return v
}

func viewVolume(s sheet.Sheet) sheetPart {
	p := sheetPart{Title: "Pattern", Source: "derived: Archimedes; density of water Kell 1975"}
	r := sheetRow{Label: "volume", Value: cm3(s.VolumeM3), Key: true}
	switch s.VolumeFrom {
	case sheet.FromDisplacement:
		r.Detail = fmt.Sprintf("by displacement; the shapes of the mould file come to %s", cm3(s.ShapesM3))
	case sheet.FromGiven:
		p.Source = ""
		r.Detail = fmt.Sprintf("as given; the shapes of the mould file come to %s", cm3(s.ShapesM3))
	default:
		p.Source = "derived: geometry"
		r.Detail = "from the shapes in the mould file, gaps and hollows included: too much for cones and seed heads. Measure: beaker of water on the balance, set to zero, hold the sealed pattern just under with a wire; grams shown are cm3 (--displaced). One that floats: push it under with a plunger and give its own reading too (--plunger)"
	}
	if s.VolumeFrom != sheet.FromShapes && s.ShapesM3 > 0 && s.VolumeM3 > envelopeSlack*s.ShapesM3 {
		r.Warn = true
		r.Detail += "; a piece cannot be larger than its envelope: look for air or soaking in the reading, the sprue weighed with it, or a slip in the mould file"
	}
	p.Rows = append(p.Rows, r)
	return p
}

// envelopeSlack is how much more than the shapes of the mould file a measured
// volume may be before it is doubted: pieces are not round rods.
const envelopeSlack = 1.3

func viewInvestment(s sheet.Sheet) sheetPart {
	b := s.Batch
	p := sheetPart{Title: "Investment, a flask", Source: b.Source.String()}
	p.Rows = []sheetRow{
		{Label: "powder", Value: grams(b.PowderKg), Key: true},
		{Label: "water", Value: grams(b.WaterKg), Key: true, Detail: fmt.Sprintf("%.0f parts to 100 of powder, by mass", b.WaterPart*100)},
		{Label: "slurry", Value: fmt.Sprintf("%s = (%s flask - %s pattern and sprue) + %.0f %% waste", cm3(b.SlurryM3), cm3(b.FlaskM3), cm3(b.FlaskM3-b.FillM3), b.Waste*100)},
	}
	if s.Count > 1 {
		n := float64(s.Count)
		p.Rows = append(p.Rows, sheetRow{Label: fmt.Sprintf("for all %d", s.Count), Value: fmt.Sprintf("%s powder, %s water", grams(n*b.PowderKg), grams(n*b.WaterKg)), Detail: "mix no more at once than can be poured by the clock"})
	}
	return p
}

func viewClock(s sheet.Sheet, inF bool) sheetPart {
	p := sheetPart{Title: "Clock, water at " + sheetSpan(sheet.WorkingWater, inF), Source: "practice; warmer water sets sooner; the powder's own sheet goes first"}
	for _, m := range s.Clock {
		t := fmt.Sprintf("%.0f to %.0f min", m.FromMin, m.ToMin)
		if m.FromMin == m.ToMin {
			t = fmt.Sprintf("%.0f min", m.FromMin)
		}
		p.Rows = append(p.Rows, sheetRow{Label: t, Value: m.What})
	}
	return p
}

func viewFit(s sheet.Sheet) sheetPart {
	p := sheetPart{Title: "Fit, a piece on the axis", Source: s.Fits[0].Source.String()}
	for _, f := range s.Fits {
		r := sheetRow{Label: f.Piece, Value: fmt.Sprintf("%s to the wall, %s to the closed end, %s to the mouth", millimetres(f.WallM), millimetres(f.EndM), millimetres(f.MouthM))}
		if !f.WallOK {
			r.Warn = true
			r.Detail = fmt.Sprintf("the wall is too near: at least %s, or it breaks through; ", millimetres(sheet.LeastWallM))
		}
		if !f.EndOK {
			r.Warn = true
			r.Detail += fmt.Sprintf("the closed end is too near: at least %s; ", millimetres(sheet.LeastEndM))
		}
		if f.Count > 1 {
			r.Detail += fmt.Sprintf("%d of these stand off the axis: measure the nearest", f.Count)
		}
		r.Detail = strings.TrimSuffix(r.Detail, "; ")
		p.Rows = append(p.Rows, r)
	}
	return p
}

func viewFeed(f sheet.Feed) sheetPart {
	p := sheetPart{Title: "Feeding: volume over cooling area", Source: f.Source.String()}
	p.Rows = append(p.Rows, sheetRow{Label: "thickest part", Value: fmt.Sprintf("%s, modulus %.1f mm; needs %.1f mm to feed it", f.Section, f.SectionM*1000, f.NeedM*1000)})
	r := sheetRow{Label: "reservoir", Value: fmt.Sprintf("%s across, %s high, modulus %.1f mm: freezes %.1f times as late", millimetres(f.Reservoir.DiameterM), millimetres(f.Reservoir.HeightM), f.ReservoirM*1000, f.FreezesIn)}
	switch {
	case f.Proposed:
		r.Detail = "the least that feeds; none was given (--reservoir)"
	case !f.Feeds:
		r.Warn, r.Detail = true, "too small: the thick section will draw, with a sink or a hole in it"
	default:
		r.Detail = "enough"
	}
	p.Rows = append(p.Rows, r)
	sp := sheetRow{Label: "sprue", Value: fmt.Sprintf("%s across, modulus %.1f mm", millimetres(f.Sprue.DiameterM), f.SprueM*1000), Detail: "stays open long enough"}
	switch {
	case f.SprueM == 0:
		sp.Value, sp.Detail, sp.Warn = "none in the mould file", "a piece to be poured needs one (--sprue); its metal is not counted below", true
	case !f.SprueFeeds:
		sp.Warn = true
		sp.Detail = fmt.Sprintf("may freeze first and cut the reservoir off: %.1f mm across would not, or lead it to the thickest place and keep it short", f.LeastSprueM*1000)
	}
	p.Rows = append(p.Rows, sp)
	return p
}

func viewMetal(s sheet.Sheet) sheetPart {
	m, a := s.Metal, s.Alloy
	density := fmt.Sprintf("%.2f g/cm3", a.HighKgM3/1000)
	if a.LowKgM3 < a.HighKgM3 {
		density = fmt.Sprintf("%.1f to %.1f g/cm3, the higher counted", a.LowKgM3/1000, a.HighKgM3/1000)
	}
	p := sheetPart{Title: "Metal, a flask", Source: m.Source.String() + ". Density " + a.Source.String()}
	p.Rows = []sheetRow{
		{Label: "melt", Value: grams(m.TotalKg), Key: true, Detail: fmt.Sprintf("piece %s + sprue %s + reservoir %s + margin %s", grams(m.PieceKg), grams(m.SprueKg), grams(m.ReservoirKg), grams(m.MarginKg))},
		{Label: "density", Value: density},
	}
	if s.Count > 1 {
		p.Rows = append(p.Rows, sheetRow{Label: fmt.Sprintf("for all %d", s.Count), Value: grams(float64(s.Count) * m.TotalKg)})
	}
	return p
}

func viewPour(s sheet.Sheet, inF bool) sheetPart {
	a := s.Alloy
	p := sheetPart{Title: "Temperatures", Source: fmt.Sprintf("Solidus, liquidus %s. Metal %s. Flask practice", a.Source, a.PourSource)}
	p.Rows = []sheetRow{{Label: "solidus", Value: sheetSpan(a.Solidus, inF)}, {Label: "liquidus", Value: sheetSpan(a.Liquidus, inF)}}
	if len(s.Pour) == 0 {
		p.Rows = append(p.Rows, sheetRow{Label: "metal", Value: sheetSpan(a.Pour, inF)})
	}
	for _, r := range s.Pour {
		section := fmt.Sprintf("for the %s section, %s", r.Class, millimetres(r.SectionM))
		p.Rows = append(p.Rows, sheetRow{Label: "metal", Value: sheetSpan(r.Metal, inF), Detail: section, Key: true})
		flask := sheetRow{Label: "flask", Value: "no figure to be trusted; try a test piece", Detail: section}
		if r.Flask != nil {
			flask.Value, flask.Key = sheetSpan(*r.Flask, inF), true
		}
		p.Rows = append(p.Rows, flask)
	}
	if len(s.Pour) > 1 {
		p.Rows = append(p.Rows, sheetRow{Label: "choose", Value: "hotter fills the thin places, cooler keeps the thick ones from drawing"})
	}
	return p
}

// sheetSpan words a range, in both units: the one asked for first. A foundry's
// lists come in either.
func sheetSpan(s sheet.Span, inF bool) string {
	one := func(f bool) string {
		if s.LowC == s.HighC {
			return wholeTemperature(s.LowC, f)
		}
		return fmt.Sprintf("%.0f to %s", inUnit(s.LowC, f), wholeTemperature(s.HighC, f))
	}
	return fmt.Sprintf("%s (%s)", one(inF), one(!inF))
}

// cm3, grams and millimetres word a figure as a bench balance or ruler shows it.
func cm3(m3 float64) string {
	if v := m3 * 1e6; v < 10 {
		return fmt.Sprintf("%.1f cm3", v)
	}
	return fmt.Sprintf("%.0f cm3", m3*1e6)
}

func grams(kg float64) string {
	switch g := kg * 1000; {
	case g < 10:
		return fmt.Sprintf("%.1f g", g)
	case g < 10000:
		return fmt.Sprintf("%.0f g", g)
	}
	return fmt.Sprintf("%.2f kg", kg)
}

func millimetres(m float64) string {
	return strings.TrimSuffix(fmt.Sprintf("%.1f", m*1000), ".0") + " mm"
}

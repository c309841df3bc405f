package record

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"
)

// FieldError is one thing wrong in a note.
type FieldError struct {
	Field string // as in JSON: "section_m"
	Text  string // what was read, and what would be right
}

func (e FieldError) Error() string { return e.Field + " " + e.Text }

// Longest texts, in bytes, and the most entries of a list.
const (
	longestName = 200
	longestText = 8000
	mostListed  = 50
)

// Ranges of what may stand in a note; what is outside is a slip of the unit.
const (
	thinnestM, thickestM = 0.0002, 0.3 // as package pieces takes them
	hottestC             = 1300        // of a hold
	leastHoldC           = 20
	hottestMetalC        = 2000 // platinum melts at 1768 °C
	longestS             = 60 * 86400
	heaviestKg           = 100
)

// Check names all that is wrong with a note as joined FieldErrors.
func (n *Note) Check() error {
	var c checker
	c.name("author", n.Author)
	switch n.Kind() {
	case PieceNote:
		c.piece(n.Piece)
	case CastingNote:
		c.casting(n.Casting)
	default:
		c.wrong("note", "holds neither a piece nor a casting, or both; it must hold one of them")
	}
	return errors.Join(c...)
}

type checker []error

func (c *checker) wrong(field, format string, a ...any) {
	*c = append(*c, FieldError{field, fmt.Sprintf(format, a...)})
}

func (c *checker) text(field, s string, longest int) {
	switch {
	case len(s) > longest:
		c.wrong(field, "is %d bytes long; at most %d", len(s), longest)
	case !utf8.ValidString(s):
		c.wrong(field, "is not UTF-8 text")
	}
}

func (c *checker) name(field, s string) { c.text(field, s, longestName) }

func (c *checker) names(field string, list []string) {
	if len(list) > mostListed {
		c.wrong(field, "has %d entries; at most %d", len(list), mostListed)
		return
	}
	for _, s := range list {
		if strings.TrimSpace(s) == "" {
			c.wrong(field, "has an empty entry")
		}
		c.name(field, s)
	}
}

// within takes zero for "not said".
func (c *checker) within(field string, v, least, most float64, unit string) {
	if v == 0 {
		return
	}
	if math.IsNaN(v) || v < least || v > most {
		c.wrong(field, "is %g %s; it must be %g to %g %s", v, unit, least, most, unit)
	}
}

func (c *checker) piece(p *Piece) {
	const mostMaterial = 40 // as package pieces takes it
	if strings.TrimSpace(p.Material) == "" || utf8.RuneCountInString(p.Material) > mostMaterial {
		c.wrong("material", "is %q; it must be a name of 1 to %d characters, such as twig", p.Material, mostMaterial)
	}
	for field, s := range map[string]string{"name": p.Name, "material": p.Material, "flask": p.Flask, "sprue": p.Sprue, "follow": p.Follow} {
		c.name(field, s)
	}
	c.text("note", p.Text, longestText)
	if p.SectionM == 0 {
		c.wrong("section_m", "is missing; it must be the thickest place of the piece, such as 11 mm")
	}
	c.within("section_m", p.SectionM, thinnestM, thickestM, "m")
	if !slices.Contains(PieceStates[:], p.State) {
		c.wrong("state", "is %q; it must be one of %s", p.State, strings.Join(PieceStates[:], ", "))
	}
	c.through(p)
	c.within("core_m", p.CoreM, 0, thickestM, "m")
	if p.CoreM != 0 && p.State != "char core" {
		c.wrong("core_m", "is given, but the state is %q; only a char core has a diameter", p.State)
	} else if p.CoreM != 0 && p.CoreM >= p.SectionM {
		c.wrong("core_m", "is %g m; it must be under the section, %g m", p.CoreM, p.SectionM)
	}
	c.within("dry_kg", p.DryKg, 0, heaviestKg, "kg")
	c.within("residue_kg", p.ResidueKg, 0, heaviestKg, "kg")
	switch {
	case p.ResidueKg != 0 && p.DryKg == 0:
		c.wrong("residue_kg", "is given without dry_kg; both are needed")
	case p.ResidueKg > p.DryKg:
		c.wrong("residue_kg", "is %g kg; it must be under the dry mass, %g kg", p.ResidueKg, p.DryKg)
	}
}

// through checks what the piece went through.
func (c *checker) through(p *Piece) {
	c.within("pulled_s", p.PulledS, 0, longestS, "s")
	c.within("hold_s", p.HoldS, 0, longestS, "s")
	c.within("hold_c", p.HoldC, leastHoldC, hottestC, "°C")
	fired, held := p.Firing != 0 || p.PulledS != 0, p.HoldC != 0 || p.HoldS != 0
	switch {
	case fired && held:
		c.wrong("hold_s", "and hold_c stand beside a firing; give either the firing and when it was pulled, or a hold")
	case fired && (p.Firing == 0 || p.PulledS == 0):
		c.wrong("firing", "and pulled_s go together; give the number of the firing and the time since it began")
	case !fired && (p.HoldC == 0 || p.HoldS == 0):
		c.wrong("hold_s", "and hold_c, or firing and pulled_s, are missing; what the piece went through must be given")
	}
	if p.Follow != "" && p.Firing == 0 {
		c.wrong("follow", "is given without a firing")
	}
}

func (c *checker) casting(k *Casting) {
	for field, s := range map[string]string{"name": k.Name, "metal": k.Metal} {
		c.name(field, s)
	}
	for field, s := range map[string]string{"note": k.Text, "wash_out_how": k.WashOutHow} {
		c.text(field, s, longestText)
	}
	c.names("moulds", k.Moulds)
	c.names("photos", k.Photos)
	if len(k.Firings) > mostListed || slices.Contains(k.Firings, 0) {
		c.wrong("firings", "are %d; at most %d, numbered from 1", k.Firings, mostListed)
	}
	if k.WashOut != "" && k.WashOut != "yes" && k.WashOut != "no" {
		c.wrong("wash_out", "is %q; it must be yes or no", k.WashOut)
	}
	if k.WashOutHow != "" && k.WashOut != "yes" {
		c.wrong("wash_out_how", "is given, but wash_out is %q; it must be yes", k.WashOut)
	}
	c.within("pour_c", k.PourC, leastHoldC, hottestMetalC, "°C")
	c.within("flask_c", k.FlaskC, leastHoldC, hottestC, "°C")
	c.within("metal_kg", k.MetalKg, 0, heaviestKg, "kg")
	for i, o := range k.Outcome {
		switch {
		case o == Good && len(k.Outcome) > 1:
			c.wrong("outcome", "is good and also %q; it must be good alone, or the defects", k.Outcome[1-min(i, 1)])
		case o != Good && !slices.Contains(Defects[:], o):
			c.wrong("outcome", "is %q; it must be good, or of %s", o, strings.Join(Defects[:], ", "))
		case slices.Contains(k.Outcome[:i], o):
			c.wrong("outcome", "names %q twice", o)
		}
	}
}

package sheet

// Class is how heavy a section is for choosing temperatures.
type Class string

// The classes: under 2 mm, to 6 mm, over 6 mm.
const (
	Thin   Class = "thin"
	Medium Class = "medium"
	Heavy  Class = "heavy"

	thinM  = 0.002
	heavyM = 0.006
)

// ClassOf is the class of a section, m.
func ClassOf(sectionM float64) Class {
	switch {
	case sectionM < thinM:
		return Thin
	case sectionM > heavyM:
		return Heavy
	}
	return Medium
}

// flaskTable is the temperature of the flask at the pour: common practice, no
// source. Pewter has no row: nothing firm is known.
var flaskTable = map[Family]map[Class]Span{
	Bronze:    {Thin: {600, 650}, Medium: {480, 590}, Heavy: {370, 480}},
	Brass:     {Thin: {540, 620}, Medium: {450, 540}, Heavy: {370, 450}},
	Silver:    {Thin: {590, 650}, Medium: {480, 590}, Heavy: {370, 480}},
	Gold:      {Thin: {590, 680}, Medium: {480, 590}, Heavy: {430, 480}},
	Aluminium: {Thin: {260, 350}, Medium: {200, 260}, Heavy: {120, 200}},
}

// FlaskTemperature is that of the flask at the pour; ok is false where the
// table has none.
func FlaskTemperature(f Family, c Class) (s Span, ok bool) {
	s, ok = flaskTable[f][c]
	return s, ok
}

// FlaskRow is the temperature of flask and metal for one class of section that
// is in the mould.
type FlaskRow struct {
	Class    Class   `json:"class"`
	SectionM float64 `json:"section_m"` // the thickest of its class
	Flask    *Span   `json:"flask,omitempty"`
	Metal    Span    `json:"metal"`
	Source   Source  `json:"source"` // of Flask
}

// flaskRows is a row for each class in the mould, thinnest first.
func (in Input) flaskRows(a Alloy) (out []FlaskRow) {
	most := map[Class]float64{}
	for _, p := range in.Mould.Patterns {
		c := ClassOf(float64(p.Section))
		most[c] = max(most[c], float64(p.Section))
	}
	for _, c := range []Class{Thin, Medium, Heavy} {
		if most[c] == 0 {
			continue
		}
		r := FlaskRow{Class: c, SectionM: most[c], Metal: a.Pour, Source: practice}
		if s, ok := FlaskTemperature(a.Family, c); ok {
			r.Flask = &s
		}
		if c == Heavy && a.PourHeavy != nil {
			r.Metal = *a.PourHeavy
		}
		out = append(out, r)
	}
	return out
}

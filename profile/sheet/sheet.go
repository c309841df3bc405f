package sheet

import (
	"fmt"
	"strings"

	"calx/sim/mould"
	"calx/sim/quantity"
)

// Input is what a sheet is made from. The zero value of a field means that it
// is not known, except of Waste and Margin.
type Input struct {
	Mould mould.Params
	Alloy string // as [FindAlloy] takes it; "" for the mould alone
	// VolumeM3 is that of all patterns of one flask, without the sprue.
	VolumeM3 float64
	// DisplacedKg and PlungerKg are readings as [Displaced] takes them, in
	// water of WaterC; not together with VolumeM3.
	DisplacedKg, PlungerKg, WaterC float64
	Sprue                          Size    // instead of the mould file's
	Reservoir                      Size    // none: the least that feeds is proposed
	Waste                          float64 // of investment over the fill, 0 to 1
	Margin                         float64 // of metal over all that is filled, 0 to 1
}

// Defaults are the usual waste, margin and water: common practice, no source.
var Defaults = Input{Waste: 0.10, Margin: 0.10, WaterC: 20}

// Sheet is everything worked out for one kind of mould.
type Sheet struct {
	Name       string     `json:"name"`
	Count      int        `json:"count"` // equal moulds; masses are of one
	VolumeM3   float64    `json:"volume_m3"`
	VolumeFrom string     `json:"volume_from"` // shapes, given or displacement
	ShapesM3   float64    `json:"shapes_m3"`   // envelopes in the mould file
	Batch      Batch      `json:"investment"`
	Clock      []Moment   `json:"clock"`
	Fits       []Fit      `json:"fit"`
	Feed       *Feed      `json:"feed,omitempty"` // nil without patterns
	Alloy      *Alloy     `json:"alloy,omitempty"`
	Metal      *Metal     `json:"metal,omitempty"`
	Pour       []FlaskRow `json:"pour,omitempty"`
	Cautions   []Caution  `json:"cautions"`
}

// Metal is what to melt for one flask, kg.
type Metal struct {
	PieceKg     float64 `json:"piece_kg"`
	SprueKg     float64 `json:"sprue_kg"`
	ReservoirKg float64 `json:"reservoir_kg"`
	MarginKg    float64 `json:"margin_kg"`
	TotalKg     float64 `json:"total_kg"`
	Source      Source  `json:"source"`
}

// Mistakes is everything wrong with an [Input], by field.
type Mistakes []quantity.Problem

// Error puts each on its own line: field, value and what would be right.
func (m Mistakes) Error() string {
	var lines []string
	for _, p := range m {
		lines = append(lines, p.Path+": "+p.Text)
	}
	return strings.Join(lines, "\n")
}

// Make works the sheet out. The error is of type [Mistakes], all at once; the
// mould is taken as checked by [mould.Load].
func Make(in Input) (Sheet, error) {
	if m := in.check(); len(m) > 0 {
		return Sheet{}, m
	}
	s := Sheet{Name: in.Mould.Name, Count: count(in.Mould.Count), ShapesM3: shapesM3(in.Mould), Clock: Clock(), Fits: in.fits(), Feed: in.feed()}
	s.VolumeM3, s.VolumeFrom = in.volume()
	s.Batch = in.batch(s.VolumeM3 + in.sprue().volumeM3())
	if in.Alloy != "" {
		a, err := FindAlloy(in.Alloy)
		if err != nil {
			return Sheet{}, Mistakes{{Path: "metal", Text: err.Error()}}
		}
		s.Alloy, s.Pour = &a, in.flaskRows(a)
		s.Metal = in.metal(s, a)
	}
	s.Cautions = cautions(s.Alloy)
	return s, nil
}

func (in Input) volume() (m3 float64, from string) {
	switch {
	case in.VolumeM3 > 0:
		return in.VolumeM3, FromGiven
	case in.DisplacedKg > 0:
		return Displaced(in.DisplacedKg, in.PlungerKg, in.WaterC), FromDisplacement
	}
	return shapesM3(in.Mould), FromShapes
}

// sprue is the one asked for, or the mould file's.
func (in Input) sprue() Size {
	if in.Sprue != (Size{}) {
		return in.Sprue
	}
	return Size{float64(in.Mould.Sprue.Diameter), float64(in.Mould.Sprue.Length)}
}

// metal is volume times density, by the higher density where lists differ.
func (in Input) metal(s Sheet, a Alloy) *Metal {
	m := Metal{PieceKg: s.VolumeM3 * a.HighKgM3, SprueKg: in.sprue().volumeM3() * a.HighKgM3,
		Source: Source{Derived, "volume times density at 20 C; margin: practice"}}
	if s.Feed != nil {
		m.ReservoirKg = s.Feed.Reservoir.volumeM3() * a.HighKgM3
	}
	filled := m.PieceKg + m.SprueKg + m.ReservoirKg
	m.MarginKg = in.Margin * filled
	m.TotalKg = filled + m.MarginKg
	return &m
}

func (in Input) check() (out Mistakes) {
	add := func(path, format string, args ...any) {
		out = append(out, quantity.Problem{Path: path, Text: fmt.Sprintf(format, args...)})
	}
	flask := flaskM3(in.Mould)
	if in.Alloy != "" {
		if _, err := FindAlloy(in.Alloy); err != nil {
			add("metal", "%v", err)
		}
	}
	if in.VolumeM3 > 0 && in.DisplacedKg > 0 {
		add("volume", "%s is given and so is displaced, %s; give the one that was measured", ml(in.VolumeM3), grams(in.DisplacedKg))
	}
	if in.PlungerKg > 0 && in.PlungerKg >= in.DisplacedKg {
		add("plunger", "%s is not less than displaced, %s; displaced is the reading with pattern and plunger under water, plunger that with the plunger alone", grams(in.PlungerKg), grams(in.DisplacedKg))
	}
	if in.DisplacedKg > 0 && !(in.WaterC >= coldestWaterC && in.WaterC <= warmestWaterC) {
		add("water", "%.0f C is outside %d to %d C; weigh in water at room temperature", in.WaterC, coldestWaterC, warmestWaterC)
	}
	part := func(path string, v float64) {
		if most := 1.0; !(v >= 0 && v <= most) {
			add(path, "%.0f %% is outside 0 to 100 %%; 10 %% is usual", v*100)
		}
	}
	part("waste", in.Waste)
	part("margin", in.Margin)
	d, h := float64(in.Mould.Flask.Diameter), float64(in.Mould.Flask.Height)
	for _, b := range []struct {
		path string
		Size
	}{{"sprue", in.Sprue}, {"reservoir", in.Reservoir}} {
		if b.Size == (Size{}) {
			continue
		}
		if !(b.DiameterM > 0 && b.DiameterM < d) {
			add(b.path, "diameter %s is outside 0 to the %s of the flask", mm(b.DiameterM), mm(d))
		}
		if !(b.HeightM > 0 && b.HeightM < h) {
			add(b.path, "length %s is outside 0 to the %s of the flask", mm(b.HeightM), mm(h))
		}
	}
	if len(out) > 0 {
		return out
	}
	v, from := in.volume()
	if all := v + in.sprue().volumeM3(); all >= flask {
		path := map[string]string{FromGiven: "volume", FromDisplacement: "displaced", FromShapes: "patterns"}[from]
		add(path, "patterns and sprue take %s, and the flask of %s by %s holds %s; is it the volume of one flask's patterns, in the right unit?", ml(all), mm(d), mm(h), ml(flask))
	}
	return out
}

func ml(m3 float64) string    { return fmt.Sprintf("%.4g cm3", m3*1e6) }
func grams(kg float64) string { return fmt.Sprintf("%.3g g", kg*1000) }
func mm(m float64) string     { return fmt.Sprintf("%.3g mm", m*1000) }

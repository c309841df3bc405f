package sheet

import "calx/sim/mould"

// The usual mix, where the mould file says nothing.
const (
	usualWater  = 0.40 // water over powder, by mass
	usualBinder = 0.28 // hemihydrate in the powder
)

// True densities of what the powder is made of, kg/m³; from memory, mineral
// tables.
const (
	hemihydrateKgM3  = 2740
	cristobaliteKgM3 = 2330
	quartzKgM3       = 2650
)

// PowderDensity is the true density, kg/m³, of investment powder with that
// share of hemihydrate, 0 to 1, the rest cristobalite and quartz in equal
// parts; 2550 for 30 %. Pure plaster is 1. Derived: volumes add up.
func PowderDensity(binder float64) float64 {
	filler := (1 - binder) / 2
	return 1 / (binder/hemihydrateKgM3 + filler/cristobaliteKgM3 + filler/quartzKgM3)
}

// Batch is the investment of one flask.
type Batch struct {
	FlaskM3   float64 `json:"flask_m3"`   // empty
	FillM3    float64 `json:"fill_m3"`    // less patterns and sprue
	SlurryM3  float64 `json:"slurry_m3"`  // with the waste
	PowderKg  float64 `json:"powder_kg"`  //
	WaterKg   float64 `json:"water_kg"`   // 1 kg is 1 L to 0.2 %
	WaterPart float64 `json:"water_part"` // water over powder, by mass
	Waste     float64 `json:"waste"`      // over FillM3: what stays in the bowl
	Source    Source  `json:"source"`
}

// Mix is the powder and water, kg, whose slurry fills slurryM3: volumes of
// powder and water add up, with no air in it. waterPart is water over powder by
// mass, powderKgM3 the true density of the powder.
//
// Worked: 796 cm³ at 0.40 and 2550 kg/m³ take 1.005 kg of powder and 0.402 kg
// of water. Table of a casting-equipment manual (2011), at 0.35: 560 g and
// 196 g for a flask of 80 by 80 mm; the formula gives 542 and 190 g.
func Mix(slurryM3, waterPart, powderKgM3 float64) (powderKg, waterKg float64) {
	powderKg = slurryM3 / (1/powderKgM3 + waterPart/mixWaterKgM3)
	return powderKg, powderKg * waterPart
}

// mixWaterKgM3 is the mixing water, rounded as a kitchen measure is.
const mixWaterKgM3 = 1000

func (in Input) batch(insideM3 float64) Batch {
	m := in.Mould
	b := Batch{WaterPart: usualWater, Waste: in.Waste,
		Source: Source{Derived, "volumes of powder (2.33 to 2.74 g/cm3) and water add up; within 4 % of a casting-equipment manual's table"}}
	if w := m.Investment.Water; w != nil {
		b.WaterPart = float64(*w)
	}
	binder := usualBinder
	if f := m.Investment.Binder; f != nil {
		binder = float64(*f)
	}
	b.FlaskM3 = flaskM3(m)
	b.FillM3 = b.FlaskM3 - insideM3
	b.SlurryM3 = b.FillM3 * (1 + b.Waste)
	b.PowderKg, b.WaterKg = Mix(b.SlurryM3, b.WaterPart, PowderDensity(binder))
	return b
}

func flaskM3(m mould.Params) float64 {
	return cylinderM3(float64(m.Flask.Diameter), float64(m.Flask.Height))
}

// Moment is one line of the working-time clock, counted from the powder
// touching the water.
type Moment struct {
	FromMin float64 `json:"from_min"`
	ToMin   float64 `json:"to_min"` // as FromMin for a single time
	What    string  `json:"what"`
}

// WorkingWater is the water that the clock holds for, °C. Warmer sets faster.
var WorkingWater = Span{20, 24}

// Clock is the working time of gypsum-bonded investment with water at 20 to
// 24 °C: common practice, no source. What the powder's own sheet says goes
// before it.
func Clock() []Moment {
	return []Moment{
		{0, 0, "powder into the water, never water onto powder; start the clock"},
		{0, 3, "stir smooth"},
		{3, 5, "draw the air out of the bowl until it has risen and fallen"},
		{5, 6, "pour down the wall of the flask; be done by 6 min"},
		{6, 8, "draw the air out of the flask; last movement at 8 min"},
		{8, 10, "gloss-off: the wet shine goes; nothing may move from here on"},
		{60, 120, "leave it alone; no heat before 1 h, better 2 h"},
	}
}

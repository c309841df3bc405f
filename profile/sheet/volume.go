package sheet

import (
	"math"

	"calx/sim/mould"
)

// The water that a balance and its formula are good for, °C.
const (
	coldestWaterC = 1
	warmestWaterC = 40
)

// WaterDensity is that of pure water at 1 atm, kg/m³, for 0 to 100 °C; at
// 20 °C it is 998.2. Source: Kell, J. Chem. Eng. Data 20 (1975) 97, as quoted
// by Jones and Harris, J. Res. NIST 97 (1992) 335, eq. 1, whose print exchanges
// two digits of the denominator: only 16.879850 gives the tabled densities.
func WaterDensity(waterC float64) float64 {
	t := waterC
	above := 999.83952 + t*(16.945176+t*(-7.9870401e-3+t*(-46.170461e-6+t*(105.56302e-9-280.54253e-12*t))))
	return above / (1 + 16.879850e-3*t)
}

// Displaced is the volume, m³, of a body held under water in a beaker that
// stands on a balance: by Archimedes' principle the balance shows the mass of
// the water displaced, so the body need not be weighed and may be one that
// floats. readingKg is shown with the body held under, the balance set to zero
// with the beaker of water alone; plungerKg is shown with only the wire or
// plunger dipped as deep, 0 for a thin wire.
//
// Worked: a coin of 8.630 g that weighs 7.800 g in water of 1 g/cm³ displaces
// 0.830 g, so 0.830 cm³ (OpenStax College Physics, section 11.7).
func Displaced(readingKg, plungerKg, waterC float64) float64 {
	return (readingKg - plungerKg) / WaterDensity(waterC)
}

// The ways the volume of the patterns may be known.
const (
	FromShapes       = "shapes"       // of the mould file; envelopes, gaps included
	FromGiven        = "given"        // as it was asked for
	FromDisplacement = "displacement" // measured in water
)

// count is how many: 0 in a file means 1.
func count(n int) int { return max(n, 1) }

// shapeM3 is the volume of the shape of one piece.
func shapeM3(p mould.Pattern) float64 {
	d, l := float64(p.Section), float64(p.Length)
	switch p.Shape {
	case mould.ShapeBall:
		return math.Pi / 6 * d * d * d
	case mould.ShapeSheet:
		return d * l * l
	}
	return cylinderM3(d, l)
}

func shapesM3(p mould.Params) (sum float64) {
	for _, o := range p.Patterns {
		sum += float64(count(o.Count)) * shapeM3(o)
	}
	return sum
}

func cylinderM3(diameterM, heightM float64) float64 {
	return math.Pi / 4 * diameterM * diameterM * heightM
}

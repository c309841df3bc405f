package guard

import (
	"fmt"
	"math"

	"calx/controller/notice"
)

// Boil watches a witness, a thermocouple in the core of a flask. While water
// boils in a mould its core stands still at the boiling point, whatever the
// chamber does: 100 °C at 101.325 kPa, 90 °C at 70.2 kPa, some 3000 m up
// (IAPWS-IF97, saturation). A witness that stands still elsewhere is of another
// type than was said: a type N read as K stands at 68 °C.
type Boil struct {
	FromC float64 // reading when the stretch began, °C
	FlatS float64 // how long it has stood still, s
	AtC   float64 // where it stood for long enough, °C; 0 = nowhere yet
}

const (
	stillC, stillS     = 0.8, 600
	driverC            = 25 // the chamber is hotter by at least this, °C: heat flows, and goes into water
	coldWaterC         = 45 // below this nothing has begun, °C
	boilLowC, boilMost = 89.0, 105
)

// After is the watch dtS later: the witness and the chamber read so, °C, and so
// much of the flask's free water is left, 0..1. A reading that is not valid is
// NaN.
func (b Boil) After(dtS, witnessC, chamberC, water float64) Boil {
	switch {
	case b.AtC != 0:
		return b
	case math.IsNaN(witnessC) || water < someWater || witnessC < coldWaterC || chamberC-witnessC < driverC || math.Abs(witnessC-b.FromC) > stillC:
		if math.IsNaN(witnessC) {
			witnessC = 0
		}
		return Boil{FromC: witnessC}
	}
	if b.FlatS += dtS; b.FlatS >= stillS {
		b.AtC = b.FromC
	}
	return b
}

// Finding tells of a witness that boils where water does not.
func (b Boil) Finding(l *Limits) Finding {
	if b.AtC == 0 || b.AtC >= boilLowC && b.AtC <= boilMost {
		return Finding{}
	}
	return Finding{Tell, notice.BoilsWrong, fmt.Sprintf("a witness stands still at %s while the water in its flask boils, which is at %s or a little below",
		l.temp(b.AtC), l.temp(100))}
}

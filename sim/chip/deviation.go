package chip

import (
	"math"
	"time"

	"calx/sensor/thermocouple"
)

// Deviation is how far an amplifier is from the ideal one. The zero value is
// an ideal chip: only quantisation is left.
type Deviation struct {
	NoiseMicrovolt  float64       // rms noise of one conversion, referred to the input; ≥ 0
	OffsetMicrovolt float64       // added to the input
	Gain            float64       // relative error of the gain: 0.001 reads 0.1 % too much voltage
	ColdOffsetC     float64       // the cold-junction sensor reads this much too high
	ColdNoiseC      float64       // rms noise of the cold-junction sensor; ≥ 0
	ColdDriftCPerH  float64       // the cold-junction sensor's error grows so fast since power-up
	SelfHeatC       float64       // the sensor ends up this much warmer than the terminals
	SelfHeatTau     time.Duration // time constant of that warming; 0 means at once
}

// TypicalNoise is the deviation of a good chip with a short shielded lead: its
// noise and nothing else. MAX31856: 1.3 µV at gain 8 (types E, J, K, N), 0.4 µV
// at gain 32 (B, R, S, T), data sheet 19-7534, electrical characteristics; which
// type uses which gain is from memory. MAX31855 and MAX6675 publish no figure:
// 0.1 °C rms, so that readings change by one step now and then (common
// practice, no source).
func TypicalNoise(m Model, t thermocouple.Type) Deviation {
	switch {
	case m == MAX31856 && (t == 'B' || t == 'R' || t == 'S' || t == 'T'):
		return Deviation{NoiseMicrovolt: 0.4}
	case m == MAX31856:
		return Deviation{NoiseMicrovolt: 1.3}
	case m == MAX6675:
		return Deviation{NoiseMicrovolt: 0.1 * max6675Slope}
	default:
		return Deviation{NoiseMicrovolt: 0.1 * max31855Slope(t)}
	}
}

// coldError is what the cold-junction sensor reads too much, apart from noise,
// so long after power-up.
func (d *Deviation) coldError(powered time.Duration) float64 {
	e := d.ColdOffsetC
	if d.ColdDriftCPerH != 0 {
		e += d.ColdDriftCPerH * powered.Hours()
	}
	switch {
	case d.SelfHeatC == 0:
	case d.SelfHeatTau <= 0:
		e += d.SelfHeatC
	default:
		e -= d.SelfHeatC * math.Expm1(-float64(powered)/float64(d.SelfHeatTau))
	}
	return e
}

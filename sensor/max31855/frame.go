package max31855

import (
	"math"

	"calx/sensor"
	"calx/sensor/thermocouple"
)

// The bits of a frame, data sheet table 2.
const (
	hotShift     = 18      // bits 31..18
	coldShift    = 4       // bits 15..4
	bitFault     = 1 << 16 // OR of the three below
	bitSupply    = 1 << 2
	bitGround    = 1 << 1
	bitOpen      = 1 << 0
	bitsReserved = 1<<17 | 1<<3 // read 0
)

// Steps of the two temperatures, data sheet tables 4 and 5.
const (
	hotStepC  = 0.25
	coldStepC = 0.0625
)

// decode takes a frame apart: 0x2E0C1900 is a hot junction of 2947 steps
// (736.75 °C) over a cold one of 400 (25 °C).
//
// A true 0 °C at both ends looks like a data line stuck low; no workshop is that
// cold, so it is taken for the latter.
func decode(frame uint32) (hotCode, coldCode int32, f sensor.Fault) {
	w := int32(frame)
	hotCode = w >> hotShift
	coldCode = w << 16 >> (16 + coldShift) // sign extension from bit 15
	probe := frame & (bitSupply | bitGround | bitOpen)
	switch {
	case frame == 0 || frame == math.MaxUint32:
		return hotCode, coldCode, sensor.DeadBus
	case frame&bitsReserved != 0, (frame&bitFault != 0) != (probe != 0):
		return hotCode, coldCode, sensor.Corrupt
	}
	if probe&bitOpen != 0 {
		f |= sensor.Open
	}
	if probe&bitGround != 0 {
		f |= sensor.ShortGround
	}
	if probe&bitSupply != 0 {
		f |= sensor.ShortSupply
	}
	return hotCode, coldCode, f
}

// slope is the straight line of the part made for t, in mV/°C: data sheet table
// 1, from memory; each equals E(1000 °C)/1000 of its type, for T E(400 °C)/400,
// to the digits given. Zero: there is no such part.
func slope(t thermocouple.Type) float64 {
	switch t {
	case thermocouple.E:
		return 0.076373
	case thermocouple.J:
		return 0.057953
	case thermocouple.K:
		return 0.041276
	case thermocouple.N:
		return 0.036256
	case thermocouple.R:
		return 0.010506
	case thermocouple.S:
		return 0.009587
	case thermocouple.T:
		return 0.05218
	}
	return 0
}

// Temperatures turns the codes of a Reading (steps of 0.25 and 0.0625 °C) into
// °C on ITS-90. hotC is NaN if there is a fault: ColdRange for an implausible
// cold junction, Unlinearised where the voltage has no temperature for type t
// or no chip is made for it. Type K with codes 2947 and 400 gives 729.91 and
// 25 °C. The same codes give the same bits on every machine.
func Temperatures(t thermocouple.Type, hotCode, coldCode int32) (hotC, coldC float64, f sensor.Fault) {
	coldC = float64(coldCode) * coldStepC
	if !sensor.ColdPlausible(coldC) {
		return math.NaN(), coldC, sensor.ColdRange
	}
	s := slope(t)
	hotC = t.Relinearise(float64(hotCode)*hotStepC, coldC, s)
	if s == 0 || math.IsNaN(hotC) {
		return math.NaN(), coldC, sensor.Unlinearised
	}
	return hotC, coldC, 0
}

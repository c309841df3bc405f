package max6675

import (
	"math"

	"calx/sensor"
	"calx/sensor/thermocouple"
)

// The bits of a frame, data sheet table 1. Bit 0 is the data line going to high
// impedance and may read either way.
const (
	hotShift = 3 // bits 14..3
	hotMask  = 1<<12 - 1
	bitOpen  = 1 << 2
	bitsZero = 1<<15 | 1<<1 // dummy sign and device identity, read 0
	bitAny   = 1 << 0
)

const (
	hotStepC   = 0.25
	boardStepC = 0.0625 // ours: how the assumed board temperature is kept
	slope      = 0.041  // mV/°C, data sheet, "Voltage = (41 µV/°C) × (TR - TAMB)"
)

// decode takes a frame apart: 0x5B40 is 2920 steps (730 °C).
func decode(frame uint16) (hotCode int32, f sensor.Fault) {
	hotCode = int32(frame >> hotShift & hotMask)
	switch {
	case frame&^bitAny == 0, frame|bitAny == math.MaxUint16:
		return hotCode, sensor.DeadBus
	case frame&bitsZero != 0:
		return hotCode, sensor.Corrupt
	case frame&bitOpen != 0:
		return hotCode, sensor.Open
	}
	return hotCode, 0
}

// Temperatures turns the codes of a Reading into °C on ITS-90: hotCode in steps
// of 0.25 °C as sent by the chip, coldCode the assumed board temperature in
// steps of 0.0625 °C. coldC is always NaN, since nobody measured it. hotC is NaN
// if there is a fault: HotRange for the top code, where the chip's scale ends
// and the probe may be hotter, ColdRange for an implausible assumption,
// Unlinearised for another type than K. Codes 2920 and 400 give 718.56 °C. The
// same codes give the same bits on every machine.
func Temperatures(t thermocouple.Type, hotCode, coldCode int32) (hotC, coldC float64, f sensor.Fault) {
	boardC := float64(coldCode) * boardStepC
	if !sensor.ColdPlausible(boardC) {
		f |= sensor.ColdRange
	}
	if hotCode >= hotMask {
		f |= sensor.HotRange
	}
	hotC = t.Relinearise(float64(hotCode)*hotStepC, boardC, slope)
	if t != thermocouple.K || math.IsNaN(hotC) {
		f |= sensor.Unlinearised
	}
	if f != 0 {
		hotC = math.NaN()
	}
	return hotC, math.NaN(), f
}

package chip

import (
	"time"

	"calx/sensor/thermocouple"
)

// Timing of MAX31855: 70 ms typical conversion (100 ms at most) and about
// 200 ms after power-up (data sheet 19-5793, from memory).
const (
	max31855Conversion = 70 * time.Millisecond
	max31855PowerUp    = 200 * time.Millisecond
)

// max31855Slope is the one constant with which a letter version turns µV into
// °C (data sheet 19-5793, table 1, from memory; each equals the ITS-90 voltage
// at 1000 °C, for T at 400 °C, divided by the temperature).
func max31855Slope(t thermocouple.Type) float64 {
	switch t {
	case 'E':
		return 76.373
	case 'J':
		return 57.953
	case 'N':
		return 36.256
	case 'R':
		return 10.506
	case 'S':
		return 9.587
	case 'T':
		return 52.18
	default: // K
		return 41.276
	}
}

func newMAX31855(c *Chip) *frame {
	slope := max31855Slope(c.typ)
	return &frame{c: c, bytes: 4, conversion: max31855Conversion, powerUp: max31855PowerUp,
		encode: func(at time.Duration) uint32 { return c.max31855Word(at, slope) }}
}

// max31855Word makes the frame of one conversion (data sheet 19-5793, tables 2
// to 5). Bits 31..18 are the hot junction in 0.25 °C, 16 any fault, 15..4 the
// cold junction in 0.0625 °C, 2..0 short to supply, short to ground, open: hot
// and cold junction at 25 °C give 0x01901900. The hot junction is linear in the
// input voltage and stays within -270..1800 °C.
func (c *Chip) max31855Word(at time.Duration, slope float64) uint32 {
	mV, coldC := c.sample(at, 1)
	cold := steps(coldC, 16, -55*16, 127*16+15)
	hot := steps(mV*1000/slope+float64(cold)/16, 4, -270*4, 1800*4)
	w := uint32(hot)<<18 | uint32(cold)&0xFFF<<4
	if c.faults.on == 0 {
		return w
	}
	var bits uint32
	if c.faults.has(Open) {
		bits |= 1
	}
	if below := c.faults.value[OverUnderVoltage] < 0; c.faults.has(ShortGround) || c.faults.has(OverUnderVoltage) && below {
		bits |= 2
	} else if c.faults.has(ShortSupply) || c.faults.has(OverUnderVoltage) {
		bits |= 4
	}
	if bits != 0 {
		bits |= 1 << 16
	}
	return w | bits
}

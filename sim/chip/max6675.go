package chip

import "time"

// MAX6675 takes 170 ms for a conversion (220 ms at most; data sheet 19-2235,
// from memory) and assumes 41 µV/°C (data sheet). No power-up delay is known
// beside the first conversion.
const (
	max6675Conversion = 170 * time.Millisecond
	max6675Slope      = 41.0
)

func newMAX6675(c *Chip) *frame {
	return &frame{c: c, bytes: 2, conversion: max6675Conversion, encode: c.max6675Word}
}

// max6675Word makes the frame of one conversion (data sheet 19-2235, serial
// interface): bits 14..3 are the temperature in 0.25 °C, 0..1023.75, bit 2 an
// open input; 25 °C gives 0x0320. The chip has no bit for a short: at the
// supply it reads full scale, below ground 0, and T+ at ground, which is where
// T- has to be, reads the cold junction.
func (c *Chip) max6675Word(at time.Duration) uint32 {
	mV, coldC := c.sample(at, 1)
	w := uint32(steps(mV*1000/max6675Slope+coldC, 4, 0, 4095)) << 3
	s := &c.faults
	switch {
	case s.on == 0:
	case s.has(Open):
		w |= 4
	case s.has(ShortSupply), s.has(OverUnderVoltage) && s.value[OverUnderVoltage] > 0:
		w = 4095 << 3
	case s.has(OverUnderVoltage):
		w = 0
	}
	return w
}

package whatif

import (
	"math"
	"math/rand/v2"
	"time"

	"calx/sensor"
)

// chip is an amplifier as far as its readings go: steps and noise.
type chip struct {
	stepC, noiseC float64 // of the hot junction, °C
	coldStepC     float64 // 0: it gives no cold junction
}

// chips by name. Steps are those of the data sheets (MAX31855 19-5793, memory
// map; MAX31856 19-7534, linearised temperature; MAX6675 19-2235, 12 bits);
// the noise is that of package chip.
var chips = map[string]chip{
	"max31855": {0.25, 0.1, 0.0625},
	"max31856": {1.0 / 128, 0.03, 1.0 / 64},
	"max6675":  {0.25, 0.1, 0},
}

// beside is how much of the case's rise over the room the terminals see, as on
// the bench.
const beside = 0.08

// probe reads a junction as a chip would.
type probe struct {
	chip
	rng *rand.Rand
	bad disturbance
	was sensor.Reading // the last one, for a chip that stands still
}

func newProbe(name string, seed uint64) *probe {
	c, ok := chips[name]
	if !ok {
		c = chips["max31855"]
	}
	return &probe{chip: c, rng: rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15))}
}

func (p *probe) read(at time.Duration, junctionC, caseC, roomC float64) sensor.Reading {
	noiseC := p.noiseC * p.rng.NormFloat64() // always drawn: what goes wrong leaves the rest as it was
	if p.bad.fault != 0 {
		return sensor.Failed(at, p.bad.fault)
	}
	if p.bad.frozen {
		p.was.At = at
		return p.was
	}
	coldC := roomC + beside*(caseC-roomC)
	hotC := junctionC + p.bad.offC
	hotC += p.bad.slipped * (coldC - hotC)
	r := sensor.Reading{At: at, ColdC: math.NaN(), HotCode: int32(math.Round((hotC + noiseC) / p.stepC))}
	r.HotC = float64(r.HotCode) * p.stepC
	if p.coldStepC > 0 {
		r.ColdCode = int32(math.Round(coldC / p.coldStepC))
		r.ColdC = float64(r.ColdCode) * p.coldStepC
	}
	p.was = r
	return r
}

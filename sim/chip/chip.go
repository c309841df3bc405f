package chip

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"time"

	"calx/sensor/thermocouple"
)

// Model is a thermocouple amplifier.
type Model uint8

// The emulated amplifiers.
const (
	MAX31855 Model = iota // 14 bit, cold junction and fault bits, one part per type
	MAX31856              // 19 bit, all types, registers
	MAX6675               // 12 bit, type K only
	models
)

var modelNames = [models]string{"max31855", "max31856", "max6675"}

// String is the model's name in lower case, as [ParseModel] reads it.
func (m Model) String() string {
	if m >= models {
		return fmt.Sprintf("Model(%d)", uint8(m))
	}
	return modelNames[m]
}

// ParseModel finds a model by its lower-case name. The error lists the names.
func ParseModel(name string) (Model, error) {
	for m, n := range modelNames {
		if n == name {
			return Model(m), nil
		}
	}
	return 0, fmt.Errorf("chip %q is not known; known are %s", name, strings.Join(modelNames[:], ", "))
}

// Options say what to emulate.
type Options struct {
	Model Model
	// Type is the probe at the input. It is also the letter version of a
	// MAX31855, which has no version B; a MAX6675 is K only.
	Type thermocouple.Type
	// Now is the simulated time since some start; it must not run backwards.
	// The chip is powered up at the time of New.
	Now       func() time.Duration
	Seed      uint64 // of the noise and of random faults
	Deviation Deviation
	// Stall lets simulated time pass while a transfer does not return; it is
	// called with no lock held. nil: [Hang] has no effect.
	Stall func(time.Duration)
}

// Chip is one amplifier with its probe. Its methods may be called from several
// goroutines at once.
type Chip struct {
	model Model
	typ   thermocouple.Type
	now   func() time.Duration
	stall func(time.Duration)

	mu        sync.Mutex
	name      string // port name while registered
	dev       device
	junctions history
	faults    faultSet
	driftFrom time.Duration
	poweredAt time.Duration
	deviation Deviation
	rng       *rand.Rand
	bitError  bool // some fault changes the bits on the bus
	selected  bool // CS is low
	misuse    error
}

// device is the digital half of a model. A transaction is begin, any number of
// bytes, end; time stands still within it.
type device interface {
	begin(now time.Duration)
	xfer(in byte) byte
	end(now time.Duration)
	// update brings results up to the latest conversion that has finished.
	update(now time.Duration)
	// eager reports whether a finished conversion must not wait for a reader.
	eager() bool
	// restart begins conversions anew, as after a suspension.
	restart(now time.Duration)
	// reset is power-up.
	reset(now time.Duration)
}

// New powers up a chip whose junctions are both at 25 °C until the first
// [Chip.Set]. It fails on a model or type that does not exist.
func New(o Options) (*Chip, error) {
	if o.Now == nil {
		return nil, errors.New("sim/chip: Options.Now is missing")
	}
	if !strings.ContainsRune(thermocouple.Types, rune(o.Type)) {
		return nil, fmt.Errorf("sim/chip: thermocouple type %q is not one of %s", rune(o.Type), thermocouple.Types)
	}
	c := &Chip{model: o.Model, typ: o.Type, now: o.Now, stall: o.Stall, deviation: o.Deviation,
		rng: rand.New(rand.NewPCG(o.Seed, uint64(o.Model)))}
	switch {
	case o.Model == MAX31855 && o.Type == 'B':
		return nil, errors.New("sim/chip: there is no MAX31855 for type B; want one of EJKNRST")
	case o.Model == MAX6675 && o.Type != 'K':
		return nil, fmt.Errorf("sim/chip: MAX6675 is for type K only, not %q", rune(o.Type))
	case o.Model == MAX31855:
		c.dev = newMAX31855(c)
	case o.Model == MAX31856:
		c.dev = newMAX31856(c)
	case o.Model == MAX6675:
		c.dev = newMAX6675(c)
	default:
		return nil, fmt.Errorf("sim/chip: %v does not exist", o.Model)
	}
	for i := range c.junctions.points {
		c.junctions.points[i] = point{hotC: 25, coldC: 25}
	}
	c.poweredAt = o.Now()
	c.dev.reset(c.poweredAt)
	return c, nil
}

// Set tells the true temperatures of the hot junction and of the terminals
// (the cold junction), in °C, at this moment. Between two calls they move on a
// straight line. Temperatures that no probe of the type can have give the
// voltage at the end of its range. NaN is a bug of the caller and panics.
func (c *Chip) Set(hotC, coldC float64) {
	if math.IsNaN(hotC) || math.IsNaN(coldC) {
		panic(fmt.Sprintf("BUG: sim/chip: Set(%v, %v)", hotC, coldC))
	}
	c.mu.Lock()
	now := c.now()
	c.junctions.set(point{now, hotC, coldC})
	if c.dev.eager() {
		c.dev.update(now)
	}
	c.mu.Unlock()
}

// SetDeviation changes how far the chip is from ideal; conversions that have
// finished keep theirs.
func (c *Chip) SetDeviation(d Deviation) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.dev.update(c.now())
	c.deviation = d
}

// Inject puts a fault on the chip, beside those it has; one of the same kind
// is replaced. Conversions that have finished do not show it. It fails on a
// relay's fault and on a value out of range, and then changes nothing.
func (c *Chip) Inject(f Fault) error {
	f, err := f.normal()
	if err != nil {
		return fmt.Errorf("sim/chip: %w", err)
	}
	if f.Kind.OnRelay() {
		return fmt.Errorf("sim/chip: fault %s is for a relay, not for an amplifier", f.Kind)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.now()
	c.dev.update(now)
	if f.Kind == BrownOut {
		c.poweredAt = now
		c.dev.reset(now)
		return nil
	}
	if f.Kind == Drift {
		c.driftFrom = now
	}
	c.faults.set(f)
	c.faultsChanged(now)
	return nil
}

// Clear takes the given kinds of fault away, or all without an argument.
func (c *Chip) Clear(ks ...Kind) {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.now()
	c.dev.update(now)
	suspended := c.overRange()
	c.faults.clear(ks)
	if suspended && !c.overRange() {
		c.dev.restart(now)
	}
	c.faultsChanged(now)
}

func (c *Chip) faultsChanged(now time.Duration) {
	c.bitError = c.faults.has(BusLow) || c.faults.has(BusHigh) || c.faults.has(BitFlips)
	c.dev.update(now)
}

// Faults lists the faults that are on. The caller owns the slice.
func (c *Chip) Faults() []Fault {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.faults.list()
}

// Misuse is the first thing the host did that the data sheet forbids and a
// real chip would answer with wrong readings, nil if it did none.
func (c *Chip) Misuse() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.misuse
}

// overRange reports whether an input sits at a rail or beyond it.
func (c *Chip) overRange() bool {
	return c.faults.has(OverUnderVoltage) || c.faults.has(ShortGround) || c.faults.has(ShortSupply)
}

// sample is the analogue half of every model: what a conversion centred on the
// given moment finds at its input, in mV, and at its own temperature sensor, in
// °C. Averaging n conversions divides the noise by √n.
func (c *Chip) sample(at time.Duration, n int) (mV, coldC float64) {
	hotC, coldC := c.junctions.at(at)
	if c.faults.on != 0 {
		mV = c.faultyInput(at, hotC, coldC)
	} else {
		mV = emf(c.typ, hotC) - emf(c.typ, coldC)
	}
	d := &c.deviation
	microvolt := d.OffsetMicrovolt
	if d.NoiseMicrovolt != 0 {
		noise := d.NoiseMicrovolt * c.rng.NormFloat64()
		if n > 1 {
			noise /= math.Sqrt(float64(n))
		}
		microvolt += noise
	}
	coldC += d.coldError(at - c.poweredAt)
	if d.ColdNoiseC != 0 {
		coldC += d.ColdNoiseC * c.rng.NormFloat64()
	}
	if c.faults.has(ColdOffset) {
		coldC += c.faults.value[ColdOffset]
	}
	return mV*(1+d.Gain) + microvolt/1000, coldC
}

// faultyInput is the input voltage in mV with the faults that change it. An
// open or shorted probe gives 0 mV: the reading then is the cold junction's,
// the most plausible and so the most dangerous one.
func (c *Chip) faultyInput(at time.Duration, hotC, coldC float64) float64 {
	s := &c.faults
	if s.has(Open) || c.overRange() {
		return 0
	}
	if s.has(Slipped) {
		hotC += s.value[Slipped] * (coldC - hotC)
	}
	if s.has(Drift) && at > c.driftFrom {
		hotC += s.value[Drift] * (at - c.driftFrom).Hours()
	}
	if s.has(Noisy) {
		hotC += s.value[Noisy] * c.rng.NormFloat64()
	}
	probe := s.probe(c.typ)
	mV := emf(probe, hotC) - emf(probe, coldC)
	if s.has(Reversed) {
		return -mV
	}
	return mV
}

// steps is a value in units of a chip's least step, rounded to the nearest and
// held within a field's range.
func steps(value, perUnit float64, least, most int32) int32 {
	s := math.Floor(value*perUnit + 0.5)
	return int32(min(max(s, float64(least)), float64(most)))
}

// Package bench puts a simulated kiln behind emulated chips and relays and
// lets time pass as fast as the machine can, so that the unchanged daemon can
// be run, measured and replayed. It owns the simulated time: Sleep of its clock
// is what moves the kiln on.
package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync/atomic"
	"time"

	"calx/sensor/thermocouple"
	"calx/sim/chip"
	"calx/sim/kiln"
)

// Options say what to simulate.
type Options struct {
	Kiln     kiln.Params
	AmbientC float64    // of the room and of the kiln at the start, °C
	Model    chip.Model // amplifier at the probe
	Seed     uint64     // of all noise
	Start    time.Time  // wall clock at the start
	Mishaps  []Mishap   // what goes wrong, and when
	// Speed is simulated seconds a second; 0 means as fast as possible.
	Speed float64
	// MainsSwing is how far the mains voltage wanders around its nominal value,
	// as a share: 0.02 is ±2 % in half an hour.
	MainsSwing float64
	Ideal      bool // a chip without noise
	// WaterKg is the water in the moulds at the start, free and bound, which
	// takes heat from the load until it has gone.
	WaterKg float64
	// Main puts a second contactor in series with the heat relay.
	Main bool
	// Second is a further amplifier with a probe of its own, beside the first.
	Second *Second
	// Lease is how long a pin stays on that is not driven again; 0 is for ever.
	// It stands for the warden, a process of its own that cannot run in
	// simulated time.
	Lease time.Duration
	// From is where to begin instead of a cold kiln at Start.
	From *State
}

// Second is a second thermocouple in the chamber.
type Second struct {
	Model chip.Model
	// Spread is how much hotter its place is than that of the first, as a share
	// of the chamber's height above the room; -0.02 is 14 °C colder at 720 °C.
	Spread float64
}

// Bench is a simulated workshop. Its methods belong to one goroutine, except
// Mono and Wall. It is the clock of the daemon that runs in it.
type Bench struct {
	o        Options
	kiln     *kiln.Kiln
	chip     *chip.Chip
	second   *chip.Chip // may be nil
	relay    *chip.Relay
	main     *chip.Relay // may be nil
	air      *chip.Relay
	door     *chip.Contact
	ports    []string
	now      time.Duration
	shared   atomic.Int64 // now, for other goroutines
	wallStep atomic.Int64 // what mishaps added to the wall clock
	pending  []Mishap
	active   []active
	dist     disturbance
	dead     bool // the board has no power
	peakC    float64
	waterJ   float64 // that what is left of the water will take
	heatedAt time.Duration
	slid     float64 // share of the cold junction that the probe shows
}

var number atomic.Int64

// New builds the workshop and registers its SPI ports and its pins. Close takes
// them out again.
func New(o Options) (b *Bench, err error) {
	if o.Start.IsZero() {
		o.Start = time.Date(2000, 1, 1, 20, 0, 0, 0, time.UTC)
	}
	b = &Bench{o: o, kiln: kiln.New(o.Kiln, o.AmbientC), pending: sorted(o.Mishaps), dist: calm(), peakC: math.Inf(-1), waterJ: o.WaterKg * waterJPerKg}
	if err := b.build(fmt.Sprintf("SIM%d", number.Add(1)-1)); err != nil {
		return nil, errors.Join(fmt.Errorf("bench: %w", err), b.Close())
	}
	for _, m := range o.Mishaps {
		if err := b.fitted(m); err != nil {
			return nil, errors.Join(fmt.Errorf("bench: %w", err), b.Close())
		}
	}
	if o.From != nil {
		if err := b.restore(*o.From); err != nil {
			return nil, errors.Join(fmt.Errorf("bench: %w", err), b.Close())
		}
	}
	b.show()
	// The chip needs a moment after power-up before its first frame is good.
	b.pass(time.Second)
	return b, nil
}

// build makes chips and pins and registers them, all under names that begin
// with id.
func (b *Bench) build(id string) (err error) {
	sim := func() time.Duration { return b.now }
	if b.chip, err = b.amplifier(b.o.Model, b.o.Seed, id+".0"); err != nil {
		return err
	}
	if s := b.o.Second; s != nil {
		if b.second, err = b.amplifier(s.Model, b.o.Seed+1, id+".1"); err != nil {
			return err
		}
	}
	for _, r := range []struct {
		to     **chip.Relay
		name   string
		fitted bool
	}{{&b.relay, "_HEAT", true}, {&b.main, "_MAIN", b.o.Main}, {&b.air, "_AIR", true}} {
		if !r.fitted {
			continue
		}
		made, err := chip.NewRelay(chip.RelayOptions{Name: id + r.name, Now: sim})
		if err == nil {
			err = made.Register()
		}
		if err != nil {
			return err
		}
		*r.to = made
	}
	door, err := chip.NewContact(id + "_DOOR")
	if err == nil {
		err = door.Register()
	}
	if err != nil {
		return err
	}
	b.door = door
	return nil
}

// amplifier makes and registers one.
func (b *Bench) amplifier(m chip.Model, seed uint64, name string) (*chip.Chip, error) {
	letter, err := thermocouple.ParseType(b.o.Kiln.Probe.Type)
	if err != nil {
		return nil, err
	}
	o := chip.Options{Model: m, Type: letter, Now: func() time.Duration { return b.now }, Seed: seed, Stall: b.pass}
	if !b.o.Ideal {
		o.Deviation = chip.TypicalNoise(m, letter)
	}
	c, err := chip.New(o)
	if err != nil {
		return nil, err
	}
	if err := c.Register(name); err != nil {
		return nil, err
	}
	b.ports = append(b.ports, name)
	return c, nil
}

// Close takes ports and pins out of the registries.
func (b *Bench) Close() error {
	var errs []error
	for _, c := range []*chip.Chip{b.chip, b.second} {
		if c != nil {
			errs = append(errs, c.Unregister())
		}
	}
	for _, r := range []*chip.Relay{b.relay, b.main, b.air} {
		if r != nil {
			errs = append(errs, r.Unregister())
		}
	}
	if b.door != nil {
		errs = append(errs, b.door.Unregister())
	}
	return errors.Join(errs...)
}

// Truth is what nobody in a real workshop can see.
type Truth struct {
	JunctionC, ElementC, HotFaceC, LoadC, ShellC float64
	Closed                                       bool          // the elements are connected to the mains
	Cycles                                       int           // of the heat relay
	EnergyJ                                      float64       // from the mains
	PeakC                                        float64       // highest JunctionC since New
	HeatedAt                                     time.Duration // when the elements last were under power; 0 = never since New
}

// Truth is the present state.
func (b *Bench) Truth() Truth {
	k := b.kiln
	return Truth{k.JunctionC(), k.ElementC(), k.HotFaceC(), k.LoadC(), k.ShellC(), b.conducts(), b.relay.Cycles(), k.EnergyJ(), b.peakC, b.heatedAt}
}

// Mono is the time since the workshop was built. It may be called from
// anywhere.
func (b *Bench) Mono() time.Duration { return time.Duration(b.shared.Load()) }

// Wall is the clock on the wall of the workshop, which a mishap may set. It may
// be called from anywhere.
func (b *Bench) Wall() time.Time {
	return b.o.Start.Add(time.Duration(b.shared.Load() + b.wallStep.Load()))
}

// Sleep lets d pass in the workshop. It returns ErrPowerCut at the moment at
// which the power goes, and at once while it is gone.
func (b *Bench) Sleep(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if b.o.Speed > 0 {
		t := time.NewTimer(time.Duration(float64(d) / b.o.Speed))
		defer t.Stop()
		select {
		case <-t.C:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	for end := b.now + d; b.now < end && !b.dead; {
		b.step(min(end-b.now, time.Second))
	}
	if b.dead {
		return ErrPowerCut
	}
	return nil
}

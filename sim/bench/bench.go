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
}

// Bench is a simulated workshop. Its methods belong to one goroutine, except
// Mono and Wall. It is the clock of the daemon that runs in it.
type Bench struct {
	o        Options
	kiln     *kiln.Kiln
	chip     *chip.Chip
	relay    *chip.Relay
	air      *chip.Relay
	port     string
	now      time.Duration
	shared   atomic.Int64 // now, for other goroutines
	wallStep atomic.Int64 // what mishaps added to the wall clock
	onTime   time.Duration
	pending  []Mishap
	active   []active
	dist     disturbance
}

var number atomic.Int64

// New builds the workshop and registers its SPI port and its pins. Close takes
// them out again.
func New(o Options) (*Bench, error) {
	if o.Start.IsZero() {
		o.Start = time.Date(2000, 1, 1, 20, 0, 0, 0, time.UTC)
	}
	id := number.Add(1) - 1
	b := &Bench{o: o, kiln: kiln.New(o.Kiln, o.AmbientC), port: fmt.Sprintf("SIM%d.0", id), pending: sorted(o.Mishaps)}
	b.dist = calm()
	letter, err := thermocouple.ParseType(o.Kiln.Probe.Type)
	if err != nil {
		return nil, fmt.Errorf("bench: %w", err)
	}
	sim := func() time.Duration { return b.now }
	c := chip.Options{Model: o.Model, Type: letter, Now: sim, Seed: o.Seed}
	if !o.Ideal {
		c.Deviation = chip.TypicalNoise(o.Model, letter)
	}
	if b.chip, err = chip.New(c); err != nil {
		return nil, err
	}
	if b.relay, err = chip.NewRelay(chip.RelayOptions{Name: fmt.Sprintf("SIM%d_HEAT", id), Now: sim}); err != nil {
		return nil, err
	}
	if b.air, err = chip.NewRelay(chip.RelayOptions{Name: fmt.Sprintf("SIM%d_AIR", id), Now: sim}); err != nil {
		return nil, err
	}
	if err := errors.Join(b.chip.Register(b.port), b.relay.Register(), b.air.Register()); err != nil {
		b.Close()
		return nil, err
	}
	b.show()
	// The chip needs a moment after power-up before its first frame is good.
	b.pass(time.Second)
	return b, nil
}

// Close takes port and pins out of the registries.
func (b *Bench) Close() error {
	return errors.Join(b.chip.Unregister(), b.relay.Unregister(), b.air.Unregister())
}

// Port is the name of the SPI port of the amplifier.
func (b *Bench) Port() string { return b.port }

// HeatPin is the name of the pin of the heat relay.
func (b *Bench) HeatPin() string { return b.relay.Name() }

// AirPin is the name of the pin of the fresh-air relay.
func (b *Bench) AirPin() string { return b.air.Name() }

// Truth is what nobody in a real workshop can see.
type Truth struct {
	JunctionC, ElementC, HotFaceC, LoadC, ShellC float64
	Closed                                       bool // the contact conducts
	Cycles                                       int
	EnergyJ                                      float64 // from the mains
}

// Truth is the present state.
func (b *Bench) Truth() Truth {
	k := b.kiln
	return Truth{k.JunctionC(), k.ElementC(), k.HotFaceC(), k.LoadC(), k.ShellC(), b.relay.Closed(), b.relay.Cycles(), k.EnergyJ()}
}

// Mono is the time since the workshop was built. It may be called from
// anywhere.
func (b *Bench) Mono() time.Duration { return time.Duration(b.shared.Load()) }

// Wall is the clock on the wall of the workshop, which a mishap may set. It may
// be called from anywhere.
func (b *Bench) Wall() time.Time {
	return b.o.Start.Add(time.Duration(b.shared.Load() + b.wallStep.Load()))
}

// Sleep lets d pass in the workshop.
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
	b.pass(d)
	return nil
}

// pass moves everything on, in steps of at most a second.
func (b *Bench) pass(d time.Duration) {
	for d > 0 {
		step := min(d, time.Second)
		b.mishaps()
		before := b.onTime
		b.now += step
		b.onTime = b.relay.OnTime()
		s := step.Seconds()
		b.kiln.Step(s, kiln.Input{
			On:         math.Min((b.onTime-before).Seconds()/s, 1) * b.dist.elements,
			MainsRatio: b.dist.mains * b.swing(),
			DoorOpen:   b.dist.door,
			AirOn:      b.air.Closed(),
			AmbientC:   b.o.AmbientC,
			LoadHeatW:  b.dist.heatW,
		})
		b.show()
		d -= step
	}
	b.shared.Store(int64(b.now))
}

// show tells the chip where its junctions are. The amplifier sits in a box
// beside the kiln and warms a little with its case.
func (b *Bench) show() {
	const besideTheKiln = 0.08
	cold := b.o.AmbientC + besideTheKiln*(b.kiln.ShellC()-b.o.AmbientC)
	b.chip.Set(b.kiln.JunctionC(), cold)
}

// swing is the mains voltage over its nominal value: two slow waves whose
// periods never meet.
func (b *Bench) swing() float64 {
	if b.o.MainsSwing == 0 {
		return 1
	}
	t := b.now.Seconds()
	return 1 + b.o.MainsSwing*(0.6*math.Sin(2*math.Pi*t/1790)+0.4*math.Sin(2*math.Pi*t/431))
}

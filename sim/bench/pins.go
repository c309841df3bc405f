package bench

import (
	"errors"
	"time"

	"periph.io/x/conn/v3/gpio"

	"calx/controller"
	"calx/sensor"
	"calx/sim/chip"
)

// Port is the name of the SPI port of the amplifier.
func (b *Bench) Port() string { return b.ports[0] }

// SecondPort is that of the second amplifier, "" without one.
func (b *Bench) SecondPort() string {
	if b.second == nil {
		return ""
	}
	return b.ports[1]
}

// HeatPin is the name of the pin of the heat relay.
func (b *Bench) HeatPin() string { return b.relay.Name() }

// MainPin is the name of the pin of the second contactor, "" without one.
func (b *Bench) MainPin() string {
	if b.main == nil {
		return ""
	}
	return b.main.Name()
}

// AirPin is the name of the pin of the fresh-air relay.
func (b *Bench) AirPin() string { return b.air.Name() }

// DoorPin is the name of the pin of the switch at the door, which is high while
// the door is open.
func (b *Bench) DoorPin() string { return b.door.Name() }

// Door is what the switch at the door says. With it a Bench is a
// controller.Doorway.
func (b *Bench) Door() sensor.Door {
	if b.door.Open() {
		return sensor.DoorOpen
	}
	return sensor.DoorShut
}

// Outputs is the heater of a bench for whoever has no warden and no registry to
// go through: a controller.Heater on the pins themselves.
type Outputs struct{ b *Bench }

// Outputs gives the lines into one's hand.
func (b *Bench) Outputs() Outputs { return Outputs{b} }

// Set drives every line that is fitted. The main contactor closes before the
// heat relay and opens after it.
func (o Outputs) Set(want controller.Lines) error {
	heat, main := o.b.relay, o.b.main
	if main == nil {
		return errors.Join(put(heat, want.Heat), put(o.b.air, want.Air))
	}
	err := put(o.b.air, want.Air)
	if want.Main {
		return errors.Join(err, put(main, true), put(heat, want.Heat))
	}
	return errors.Join(err, put(heat, false), put(main, false))
}

func put(r *chip.Relay, on bool) error { return r.Out(gpio.Level(on)) }

// off drops every coil.
func (b *Bench) off() {
	for _, r := range []*chip.Relay{b.relay, b.main, b.air} {
		if r != nil {
			_ = put(r, false)
		}
	}
}

// expire lets go of the pins that nobody has driven for longer than the lease.
func (b *Bench) expire() {
	if b.o.Lease == 0 {
		return
	}
	for _, r := range []*chip.Relay{b.relay, b.main, b.air} {
		if r != nil && bool(r.Read()) && b.now-r.Driven() > b.o.Lease {
			_ = put(r, false)
		}
	}
}

// conducts reports whether the elements are connected to the mains.
func (b *Bench) conducts() bool {
	return b.relay.Closed() && (b.main == nil || b.main.Closed())
}

// closedTimes is how long the heat relay and the main contactor have conducted
// in all, up to now; a contactor that is not fitted always does.
func (b *Bench) closedTimes() (heat, main time.Duration) {
	if b.main == nil {
		return b.relay.OnTime(), b.now
	}
	return b.relay.OnTime(), b.main.OnTime()
}

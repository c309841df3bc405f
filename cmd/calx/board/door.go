package board

import (
	"errors"
	"fmt"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"

	"calx/cmd/calx/config"
	"calx/cmd/calx/plug"
	"calx/sensor"
)

// Door is the switch at the door of the kiln. It implements
// controller.Doorway, and belongs to one goroutine.
type Door struct {
	name     string
	openHigh bool
	high     func() (bool, error)
	close    func() error
	complain func(error)
	broken   bool
}

// OpenDoor opens the switch that the configuration names, with its pull
// towards the level of an open door, so that a broken wire is an open door.
// complain is told once when the switch cannot be read any more, and with nil
// when it can again. Without a switch it returns nil.
func OpenDoor(c config.Door, complain func(error)) (*Door, error) {
	if !c.Fitted() {
		return nil, nil
	}
	d := &Door{name: c.Pin, openHigh: c.Open != "low", complain: complain}
	in, err := plug.OpenInput(c.Pin, d.openHigh)
	if err == nil {
		d.high, d.close = in.High, in.Close
		return d, nil
	}
	pin := gpioreg.ByName(c.Pin)
	if pin == nil || !errors.Is(err, plug.ErrNoLine) {
		return nil, fmt.Errorf("board: door switch: %w", err)
	}
	if err := d.listen(pin); err != nil {
		return nil, fmt.Errorf("board: door switch: %w", err)
	}
	return d, nil
}

// listen takes a pin that only this process's registry knows.
func (d *Door) listen(pin gpio.PinIn) error {
	pull := gpio.PullDown
	if d.openHigh {
		pull = gpio.PullUp
	}
	if err := pin.In(pull, gpio.NoEdge); err != nil {
		return fmt.Errorf("pin %s cannot be an input: %w", d.name, err)
	}
	d.high = func() (bool, error) { return bool(pin.Read()), nil }
	d.close = func() error { return nil }
	return nil
}

// Door says how the door stands. A switch that cannot be read is an open door,
// never an unknown one: where somebody fitted a switch, not knowing means no
// heat.
func (d *Door) Door() sensor.Door {
	high, err := d.high()
	if broken := err != nil; broken != d.broken {
		d.broken = broken
		d.complain(err)
	}
	if err != nil || high == d.openHigh {
		return sensor.DoorOpen
	}
	return sensor.DoorShut
}

// Close lets go of the line.
func (d *Door) Close() error { return d.close() }

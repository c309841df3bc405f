package board

import (
	"errors"
	"fmt"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"

	"calx/cmd/calx/config"
	"calx/cmd/calx/plug"
	"calx/controller"
)

// Output is the heat relay, the main contactor and the fresh-air relay, as far
// as they are fitted.
type Output interface {
	controller.Heater
	// Dead is closed when the process that owns the lines is gone.
	Dead() <-chan struct{}
	Close() error
}

// OpenOutput opens the lines of the heater. Lines of the kernel are owned by
// the warden, a process of its own. A pin that only this process's registry
// knows cannot be reached from another process and is driven from here.
func OpenOutput(h config.Heater) (Output, error) {
	w := Wiring(h)
	if pin := gpioreg.ByName(h.Pin); pin != nil && !kernelLine(w.Heat) {
		p, err := newPins(pin, h)
		if err != nil {
			return nil, err
		}
		return p, nil
	}
	c, err := plug.Start(plug.Config{Wiring: w})
	if err != nil {
		return nil, err // and not c, which as an Output would not be nil
	}
	return c, nil
}

// Wiring is what the warden must know of the heater.
func Wiring(h config.Heater) plug.Wiring {
	spec := func(name string) plug.Spec { return plug.Spec{Name: name, ActiveLow: name != "" && h.Active == "low"} }
	return plug.Wiring{
		Heat: spec(h.Pin), Main: spec(h.Main), Air: spec(h.Air),
		Beat: plug.Spec{Name: h.Heartbeat}, Watchdog: h.Watchdog,
	}
}

// kernelLine reports whether the kernel has such a line, whoever holds it.
func kernelLine(s plug.Spec) bool {
	l, err := plug.OpenLine(s)
	if err == nil {
		_ = l.Close()
		return true
	}
	return !errors.Is(err, plug.ErrNoLine)
}

// pins drives registered pins from this process. It never reads a pin back:
// with some drivers that turns an output into an input.
type pins struct {
	heat, main, air gpio.PinOut // main and air may be nil
	on, off         gpio.Level
	dead            chan struct{}
}

func newPins(heat gpio.PinOut, h config.Heater) (*pins, error) {
	p := &pins{heat: heat, on: gpio.High, off: gpio.Low, dead: make(chan struct{})}
	if h.Active == "low" {
		p.on, p.off = gpio.Low, gpio.High
	}
	for _, o := range []struct {
		name, what string
		pin        *gpio.PinOut
	}{{h.Main, "main contactor", &p.main}, {h.Air, "fresh-air relay", &p.air}} {
		if o.name == "" {
			continue
		}
		found := gpioreg.ByName(o.name)
		if found == nil {
			return nil, errors.Join(fmt.Errorf("board: there is no pin %s for the %s", o.name, o.what), p.Close())
		}
		*o.pin = found
	}
	return p, p.Close()
}

// Set keeps the rules of the warden: no heat without the main contactor, which
// closes before the heat relay and opens after it.
func (p *pins) Set(want controller.Lines) error {
	first, second := p.heat, p.main
	a, b := want.Heat && want.Main, want.Main
	if want.Main {
		first, second, a, b = second, first, b, a
	}
	return errors.Join(p.put(first, a), p.put(second, b), p.put(p.air, want.Air))
}

func (p *pins) put(pin gpio.PinOut, on bool) error {
	switch {
	case pin == nil:
		return nil
	case on:
		return pin.Out(p.on)
	}
	return pin.Out(p.off)
}

func (p *pins) Dead() <-chan struct{} { return p.dead }
func (p *pins) Close() error          { return p.Set(controller.Lines{}) }

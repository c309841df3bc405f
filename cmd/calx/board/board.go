// Package board opens what the configuration names: thermocouple amplifiers
// and output lines. It is the only place that knows how a name becomes a
// device; a name in periph's registries and a line of the kernel are looked up
// the same way whether metal or an emulator stands behind them.
package board

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spireg"
	"periph.io/x/host/v3"

	"calx/cmd/calx/config"
	"calx/cmd/calx/plug"
	"calx/controller"
	"calx/sensor"
	"calx/sensor/max31855"
	"calx/sensor/max31856"
	"calx/sensor/max6675"
	"calx/sensor/thermocouple"
	"calx/storage/record"
)

// Init finds the buses of this board, once.
var Init = sync.OnceValue(func() error {
	if _, err := host.Init(); err != nil {
		return fmt.Errorf("board: the drivers of this board cannot start: %w", err)
	}
	return nil
})

// Probe is an amplifier with its thermocouple.
type Probe struct {
	Channel record.Channel
	NoiseC  float64 // standard deviation of one reading, °C
	device
	port spi.PortCloser
}

// device is what all amplifiers have in common.
type device interface {
	Read(at time.Duration) sensor.Reading
	Period() time.Duration
	Halt() error
	String() string
}

// Close lets go of the port.
func (p *Probe) Close() error { return errors.Join(p.Halt(), p.port.Close()) }

// OpenProbe opens one channel of the configuration.
func OpenProbe(c config.Channel) (*Probe, error) {
	t, err := thermocouple.ParseType(c.Type)
	if err != nil {
		return nil, err
	}
	port, err := spireg.Open(c.Port)
	if err != nil {
		return nil, fmt.Errorf("board: SPI port %s of %q: %w; on a Raspberry Pi, switch SPI on with dtparam=spi=on", c.Port, c.Role, err)
	}
	p := &Probe{Channel: record.Channel{Role: c.Role, Chip: c.Chip, Type: t.String(), Port: c.Port}, port: port}
	switch c.Chip {
	case "max31855":
		// Quantised to 0.25 °C, with about that much noise on a short lead.
		p.NoiseC = 0.25
		p.device, err = max31855.New(port, &max31855.Opts{Type: t})
	case "max31856":
		o := max31856.DefaultOpts
		o.Type = t
		if c.Mains != 0 {
			o.MainsHz = int(c.Mains)
		}
		if c.Averaging != 0 {
			o.Averaging = c.Averaging
		}
		p.NoiseC = 0.1
		p.device, err = max31856.New(port, &o)
	case "max6675":
		p.NoiseC = 0.3
		p.device, err = max6675.New(port, nil)
	default:
		err = fmt.Errorf("board: chip is %q; it must be max31855, max31856 or max6675", c.Chip)
	}
	if err != nil {
		return nil, errors.Join(err, port.Close())
	}
	return p, nil
}

// OpenProbes opens every channel, the chamber first. On error nothing is left
// open.
func OpenProbes(cs []config.Channel, period time.Duration) (probes []*Probe, err error) {
	defer func() {
		if err != nil {
			for _, p := range probes {
				err = errors.Join(err, p.Close())
			}
			probes = nil
		}
	}()
	for _, c := range cs {
		p, err := OpenProbe(c)
		if err != nil {
			return probes, err
		}
		if c.Role == "chamber" {
			probes = append([]*Probe{p}, probes...)
		} else {
			probes = append(probes, p)
		}
		if p.Period() > period {
			return probes, fmt.Errorf("board: %v needs %v for a reading, the period is %v; lengthen the period or average less", p, p.Period(), period)
		}
	}
	return probes, nil
}

// Output is the heat relay, and the fresh-air relay where there is one.
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
		return newPins(pin, h)
	}
	return plug.Start(plug.Config{Wiring: w})
}

// Wiring is what the warden must know of the heater.
func Wiring(h config.Heater) plug.Wiring {
	spec := func(name string) plug.Spec { return plug.Spec{Name: name, ActiveLow: name != "" && h.Active == "low"} }
	return plug.Wiring{Heat: spec(h.Pin), Air: spec(h.Air), Beat: plug.Spec{Name: h.Heartbeat}, Watchdog: h.Watchdog}
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
	heat, air gpio.PinOut
	on, off   gpio.Level
	dead      chan struct{}
}

func newPins(heat gpio.PinOut, h config.Heater) (*pins, error) {
	p := &pins{heat: heat, on: gpio.High, off: gpio.Low, dead: make(chan struct{})}
	if h.Active == "low" {
		p.on, p.off = gpio.Low, gpio.High
	}
	if h.Air != "" {
		air := gpioreg.ByName(h.Air)
		if air == nil {
			return nil, fmt.Errorf("board: there is no pin %s for the fresh-air relay", h.Air)
		}
		p.air = air
	}
	return p, p.Set(controller.Lines{})
}

func (p *pins) level(on bool) gpio.Level {
	if on {
		return p.on
	}
	return p.off
}

func (p *pins) Set(want controller.Lines) error {
	err := p.heat.Out(p.level(want.Heat))
	if p.air != nil {
		err = errors.Join(err, p.air.Out(p.level(want.Air)))
	}
	return err
}

func (p *pins) Dead() <-chan struct{} { return p.dead }
func (p *pins) Close() error          { return p.Set(controller.Lines{}) }

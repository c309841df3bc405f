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

	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spireg"
	"periph.io/x/host/v3"

	"calx/cmd/calx/config"
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

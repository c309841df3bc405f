package max31855

import (
	"encoding/binary"
	"fmt"
	"time"

	"calx/sensor"
	"calx/sensor/thermocouple"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

// conversion is the longest a conversion takes and period what a caller with a
// jittery clock can safely ask for. Data sheet 19-5793, electrical
// characteristics, from memory.
const (
	conversion = 100 * time.Millisecond
	period     = 125 * time.Millisecond
)

// clock is a fifth of the 5 MHz the data sheet allows.
const clock = physic.MegaHertz

// Opts says which chip it is.
type Opts struct {
	// Type the part is made for: the letter in its name (MAX31855K). Software
	// cannot change it. One of E, J, K, N, R, S, T.
	Type thermocouple.Type
}

// DefaultOpts is the common type K part.
var DefaultOpts = Opts{Type: thermocouple.K}

// Dev is one chip. It is not safe for concurrent use.
type Dev struct {
	conn  spi.Conn
	name  string
	typ   thermocouple.Type
	pace  sensor.Pace
	frame [4]byte
}

// New prepares to read the chip on p; nil options mean [DefaultOpts]. It does
// not touch the bus: whether a chip answers, the first Read tells. The error is
// about the options or comes from p.
func New(p spi.Port, o *Opts) (*Dev, error) {
	if o == nil {
		o = &DefaultOpts
	}
	if slope(o.Type) == 0 {
		return nil, fmt.Errorf("max31855: no chip is made for type %s; want E, J, K, N, R, S or T", o.Type)
	}
	c, err := p.Connect(clock, spi.Mode0, 8)
	if err != nil {
		return nil, fmt.Errorf("max31855: %w", err)
	}
	return &Dev{
		conn: c,
		name: fmt.Sprintf("MAX31855%s{%s}", o.Type, p),
		typ:  o.Type,
	}, nil
}

// Read fetches the newest conversion. It never panics and never gives a hot
// junction along with a fault; ColdC stays a number where only the probe is at
// fault. Within 100 ms of the last Read it answers Stale without touching the
// bus, see the package comment. at must come from a monotonic clock.
func (d *Dev) Read(at time.Duration) sensor.Reading {
	if !d.pace.Ready(at, conversion) {
		return sensor.Failed(at, sensor.Stale)
	}
	if err := d.conn.Tx(nil, d.frame[:]); err != nil {
		return sensor.Failed(at, sensor.BusError)
	}
	hot, cold, f := decode(binary.BigEndian.Uint32(d.frame[:]))
	r := sensor.Reading{At: at, HotCode: hot, ColdCode: cold, Fault: f}
	return r.Resolve(Temperatures(d.typ, hot, cold))
}

// Period is the shortest sensible poll interval: the longest conversion and a
// margin for the caller's jitter.
func (d *Dev) Period() time.Duration { return period }

// String names the chip and its port, for example "MAX31855K{SPI0.0}".
func (d *Dev) String() string { return d.name }

// Halt does nothing: the chip has no inert state and drives nothing.
func (d *Dev) Halt() error { return nil }

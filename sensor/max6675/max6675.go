package max6675

import (
	"encoding/binary"
	"fmt"
	"math"
	"time"

	"calx/sensor"
	"calx/sensor/thermocouple"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

// conversion is the longest a conversion takes and period what a caller with a
// jittery clock can safely ask for. Data sheet 19-2235, electrical
// characteristics, from memory.
const (
	conversion = 220 * time.Millisecond
	period     = 250 * time.Millisecond
)

// clock is a quarter of the 4.3 MHz the data sheet allows.
const clock = physic.MegaHertz

// Opts holds what the chip does not tell.
type Opts struct {
	// BoardC is the assumed temperature of the chip, °C, from sensor.MinColdC to
	// sensor.MaxColdC; kept to the nearest 0.0625 °C. Zero means 0 °C.
	BoardC float64
}

// DefaultOpts assumes a controller box a little above room temperature.
var DefaultOpts = Opts{BoardC: 25}

// Dev is one chip. It is not safe for concurrent use.
type Dev struct {
	conn  spi.Conn
	name  string
	board int32 // steps of boardStepC
	pace  sensor.Pace
	frame [2]byte
}

// New prepares to read the chip on p; nil options mean [DefaultOpts]. It does
// not touch the bus: whether a chip answers, the first Read tells. The error is
// about the options or comes from p.
func New(p spi.Port, o *Opts) (*Dev, error) {
	if o == nil {
		o = &DefaultOpts
	}
	if !sensor.ColdPlausible(o.BoardC) {
		return nil, fmt.Errorf("max6675: board temperature %v °C; want %v to %v °C",
			o.BoardC, sensor.MinColdC, sensor.MaxColdC)
	}
	c, err := p.Connect(clock, spi.Mode0, 8)
	if err != nil {
		return nil, fmt.Errorf("max6675: %w", err)
	}
	return &Dev{
		conn:  c,
		name:  fmt.Sprintf("MAX6675{%s}", p),
		board: int32(math.Round(o.BoardC / boardStepC)),
	}, nil
}

// Read fetches the newest conversion. It never panics and never gives a
// temperature along with a fault. ColdC is NaN; ColdCode keeps the assumed board
// temperature, so that the log can be re-derived. Within 220 ms of the last Read
// it answers Stale without touching the bus, see the package comment. at must
// come from a monotonic clock.
func (d *Dev) Read(at time.Duration) sensor.Reading {
	if !d.pace.Ready(at, conversion) {
		return sensor.Failed(at, sensor.Stale)
	}
	if err := d.conn.Tx(nil, d.frame[:]); err != nil {
		return sensor.Failed(at, sensor.BusError)
	}
	hot, f := decode(binary.BigEndian.Uint16(d.frame[:]))
	r := sensor.Reading{At: at, HotCode: hot, ColdCode: d.board, Fault: f}
	return r.Resolve(Temperatures(thermocouple.K, hot, d.board))
}

// Period is the shortest sensible poll interval: the longest conversion and a
// margin for the caller's jitter.
func (d *Dev) Period() time.Duration { return period }

// String names the chip and its port, for example "MAX6675{SPI0.1}".
func (d *Dev) String() string { return d.name }

// Halt does nothing: the chip has no inert state and drives nothing.
func (d *Dev) Halt() error { return nil }

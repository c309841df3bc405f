package max31856

import (
	"errors"
	"fmt"
	"time"

	"calx/sensor"
	"calx/sensor/thermocouple"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

// clock is a fifth of the 5 MHz the data sheet allows.
const clock = physic.MegaHertz

// Opts is how the chip is to work.
type Opts struct {
	// Type of the thermocouple connected, any of the eight.
	Type thermocouple.Type
	// Averaging is how many samples make one conversion: 1, 2, 4, 8 or 16. More
	// is quieter and slower, and a broken probe is found later.
	Averaging int
	// MainsHz is the mains frequency to be rejected: 50 or 60.
	MainsHz int
}

// DefaultOpts is quiet enough for control and can be polled four times a second.
var DefaultOpts = Opts{Type: thermocouple.K, Averaging: 4, MainsHz: 50}

func (o *Opts) check() error {
	var errs []error
	if _, ok := typeCode(o.Type); !ok {
		errs = append(errs, fmt.Errorf("thermocouple type %s; want B, E, J, K, N, R, S or T", o.Type))
	}
	if _, ok := averagingCode(o.Averaging); !ok {
		errs = append(errs, fmt.Errorf("averaging of %d samples; want 1, 2, 4, 8 or 16", o.Averaging))
	}
	if o.MainsHz != 50 && o.MainsHz != 60 {
		errs = append(errs, fmt.Errorf("mains of %d Hz; want 50 or 60", o.MainsHz))
	}
	return errors.Join(errs...)
}

// Dev is one chip. It is not safe for concurrent use.
type Dev struct {
	conn     spi.Conn
	name     string
	typ      thermocouple.Type
	image    [writable]byte // what the chip must hold
	first    time.Duration  // from configuring to the first conversion, at most
	repeat   time.Duration  // from one conversion to the next, at most
	pace     sensor.Pace
	settling bool // configured, but the time of it is not known yet
	w, r     [1 + registers]byte
	set      [1 + writable]byte // what configure and Halt send
}

// New configures the chip on p and starts its conversions; nil options mean
// [DefaultOpts]. The error names every option that is wrong, or a transfer that
// failed. A chip that does not answer is no error here: Read tells.
func New(p spi.Port, o *Opts) (*Dev, error) {
	if o == nil {
		o = &DefaultOpts
	}
	if err := o.check(); err != nil {
		return nil, fmt.Errorf("max31856: %w", err)
	}
	c, err := p.Connect(clock, spi.Mode1, 8)
	if err != nil {
		return nil, fmt.Errorf("max31856: %w", err)
	}
	d := &Dev{
		conn:     c,
		name:     fmt.Sprintf("MAX31856%s{%s}", o.Type, p),
		typ:      o.Type,
		image:    image(o),
		settling: true,
	}
	d.first, d.repeat = conversions(o)
	if err := d.fetch(); err != nil {
		return nil, fmt.Errorf("max31856: %w", err)
	}
	if err := d.configure(); err != nil {
		return nil, fmt.Errorf("max31856: %w", err)
	}
	return d, nil
}

// conversions are the longest times to the first result after configuring,
// taken as that of a single shot, and from one result to the next in automatic
// mode: one sample, further samples, and the open test. Data sheet 19-7534,
// electrical characteristics, from memory.
func conversions(o *Opts) (first, repeat time.Duration) {
	const (
		openTest = 15 * time.Millisecond
		first60  = 155 * time.Millisecond
		first50  = 185 * time.Millisecond
		repeat60 = 90 * time.Millisecond
		repeat50 = 110 * time.Millisecond
	)
	further := time.Duration(o.Averaging - 1)
	if o.MainsHz == 50 {
		return first50 + openTest + further*(time.Second/25), repeat50 + openTest + further*(time.Second/50)
	}
	return first60 + openTest + further*(time.Second/30), repeat60 + openTest + further*(time.Second/60)
}

// fetch reads all registers into d.r[1:] in one transfer.
func (d *Dev) fetch() error {
	d.w[0] = regCR0
	return d.conn.Tx(d.w[:], d.r[:])
}

// configure expects fetched registers. The notch may only be changed while the
// chip is at rest, so it is stopped with its old notch first, then told
// everything, then started.
func (d *Dev) configure() error {
	if err := d.setCR0(d.r[1+regCR0] & cr0Notch50); err != nil {
		return err
	}
	copy(d.set[1:], d.image[:])
	d.set[1+regCR0] &^= cr0Auto
	if err := d.conn.Tx(d.set[:], nil); err != nil {
		return err
	}
	return d.setCR0(d.image[regCR0])
}

func (d *Dev) setCR0(v byte) error {
	d.set[0], d.set[1] = addrWrite|regCR0, v
	return d.conn.Tx(d.set[:2], nil)
}

// Read fetches all registers and gives the newest conversion. It never panics
// and never gives a hot junction along with a fault; ColdC stays a number where
// only the probe is at fault. If the chip has lost its configuration the answer
// is ConfigLost (and BusError, if it cannot be written either), the chip is
// configured again, and readings are Stale until it has converted. Sooner than a
// conversion after the last Read the answer is Stale without touching the bus.
// at must come from a monotonic clock.
func (d *Dev) Read(at time.Duration) sensor.Reading {
	if d.settling {
		d.settling = false
		d.pace.Restart(at, d.first)
	}
	if !d.pace.Ready(at, d.repeat) {
		return sensor.Failed(at, sensor.Stale)
	}
	if err := d.fetch(); err != nil {
		return sensor.Failed(at, sensor.BusError)
	}
	read := d.r[1:]
	r := sensor.Reading{At: at, Fault: judge(read, &d.image)}
	r.HotCode, r.ColdCode = codes(read)
	if r.Fault == sensor.ConfigLost {
		d.pace.Restart(at, d.first)
		if d.configure() != nil {
			r.Fault |= sensor.BusError
		}
	}
	return r.Resolve(Temperatures(d.typ, r.HotCode, r.ColdCode))
}

// Period is the shortest sensible poll interval: the longest conversion and 15 %
// for the caller's jitter, in whole 10 ms.
func (d *Dev) Period() time.Duration {
	const step, margin = 10 * time.Millisecond, 1.15
	return (time.Duration(float64(d.repeat)*margin) + step - 1) / step * step
}

// String names the chip, its type and its port: "MAX31856K{SPI0.0}".
func (d *Dev) String() string { return d.name }

// Halt stops the conversions. A later Read answers ConfigLost and starts them
// again.
func (d *Dev) Halt() error {
	if err := d.setCR0(d.image[regCR0] &^ cr0Auto); err != nil {
		return fmt.Errorf("max31856: halt: %w", err)
	}
	return nil
}

package chip

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spireg"
)

// wiring is what a model asks of its SPI bus.
type wiring struct {
	fastest physic.Frequency
	modes   []spi.Mode
}

// Clock limits and modes: data sheets 19-5793 and 19-2235 (from memory) and
// 19-7534, serial interface.
var wirings = [models]wiring{
	MAX31855: {5 * physic.MegaHertz, []spi.Mode{spi.Mode0}},
	MAX31856: {5 * physic.MegaHertz, []spi.Mode{spi.Mode1, spi.Mode3}},
	MAX6675:  {4300 * physic.KiloHertz, []spi.Mode{spi.Mode0}},
}

// maxTransfer is the longest transfer of a Linux SPI device file by default.
const maxTransfer = 4096

// Register makes the chip the SPI port of that name, for example "SIM0.0", to
// be opened with spireg.Open. It fails on a name that is taken.
func (c *Chip) Register(name string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.name != "" {
		return fmt.Errorf("sim/chip: %s is registered as %s already", c.model, c.name)
	}
	err := spireg.Register(name, nil, -1, func() (spi.PortCloser, error) {
		return &port{c: c, name: name}, nil
	})
	if err != nil {
		return fmt.Errorf("sim/chip: register %s: %w", c.model, err)
	}
	c.name = name
	return nil
}

// Unregister takes the port's name out of the registry; handles that are open
// keep working.
func (c *Chip) Unregister() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.name == "" {
		return fmt.Errorf("sim/chip: %s is not registered", c.model)
	}
	if err := spireg.Unregister(c.name); err != nil {
		return fmt.Errorf("sim/chip: %w", err)
	}
	c.name = ""
	return nil
}

// String names the chip as wired, for example "max31855{SIM0.0}".
func (c *Chip) String() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.model.String() + "{" + c.name + "}"
}

// FaultPin reports whether a MAX31856 asserts its FAULT pin; the other models
// have none.
func (c *Chip) FaultPin() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	d, ok := c.dev.(*max31856)
	if !ok {
		return false
	}
	d.update(c.now())
	return d.faultPin()
}

// port is one opened handle.
type port struct {
	c    *Chip
	name string

	mu        sync.Mutex
	limit     physic.Frequency // 0: none
	connected bool
	closed    bool
}

func (p *port) String() string { return p.name }

func (p *port) Close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return p.errorf("closed already")
	}
	p.closed = true
	return nil
}

func (p *port) LimitSpeed(f physic.Frequency) error {
	if f <= 0 {
		return p.errorf("speed limit %s is not above 0", f)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.limit = f
	return nil
}

// Connect refuses what the chip's data sheet rules out, where a real bus would
// deliver wrong bits.
func (p *port) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	w := wirings[p.c.model]
	speed := f
	if p.limit != 0 && (speed == 0 || p.limit < speed) {
		speed = p.limit
	}
	switch {
	case p.closed:
		return nil, p.errorf("connect: port is closed")
	case p.connected:
		return nil, p.errorf("connect: already connected")
	case bits != 8:
		return nil, p.errorf("connect: %d bits a word, want 8", bits)
	case !slices.Contains(w.modes, mode):
		return nil, p.errorf("connect: %s takes SPI %v, not %v", p.c.model, w.modes, mode)
	case speed <= 0 || speed > w.fastest:
		return nil, p.errorf("connect: %s takes up to %s, not %s", p.c.model, w.fastest, speed)
	}
	p.connected = true
	return &connection{p}, nil
}

func (p *port) errorf(format string, args ...any) error {
	return fmt.Errorf("sim/chip: "+p.name+": "+format, args...)
}

// connection is the host's end of a connected port.
type connection struct{ p *port }

func (c *connection) String() string      { return c.p.name }
func (c *connection) Duplex() conn.Duplex { return conn.Full }
func (c *connection) MaxTxSize() int      { return maxTransfer }

// Tx is one transaction: CS low, all bytes, CS high. Either slice may be empty.
func (c *connection) Tx(w, r []byte) error {
	if err := c.usable(len(w), len(r)); err != nil {
		return err
	}
	return c.p.c.transact(c.p.name, w, r, true)
}

// TxPackets is a series of transactions; packets joined by KeepCS are one.
func (c *connection) TxPackets(packets []spi.Packet) error {
	for _, k := range packets {
		if k.BitsPerWord != 0 && k.BitsPerWord != 8 {
			return c.p.errorf("packet of %d bits a word, want 8", k.BitsPerWord)
		}
		if err := c.usable(len(k.W), len(k.R)); err != nil {
			return err
		}
	}
	for _, k := range packets {
		if err := c.p.c.transact(c.p.name, k.W, k.R, !k.KeepCS); err != nil {
			return err
		}
	}
	return nil
}

func (c *connection) usable(w, r int) error {
	c.p.mu.Lock()
	closed := c.p.closed
	c.p.mu.Unlock()
	switch {
	case closed:
		return c.p.errorf("transfer: port is closed")
	case w == 0 && r == 0:
		return c.p.errorf("transfer: nothing to send or receive")
	case w != 0 && r != 0 && w != r:
		return c.p.errorf("transfer: %d bytes out and %d in, want as many", w, r)
	case max(w, r) > maxTransfer:
		return c.p.errorf("transfer: %d bytes, want at most %d", max(w, r), maxTransfer)
	}
	return nil
}

// errIO is what a host sees of a transfer its own controller gave up.
var errIO = errors.New("input/output error")

// stallSlice is how often a transfer that hangs looks whether it may go on.
const stallSlice = time.Second

// hang keeps a transfer from returning for as long as the fault says or lasts.
func (c *Chip) hang() {
	if c.stall == nil {
		return
	}
	for waited := time.Duration(0); ; waited += stallSlice {
		c.mu.Lock()
		left := time.Duration(c.faults.value[Hang]*float64(time.Second)) - waited
		on := c.faults.has(Hang)
		c.mu.Unlock()
		if !on || left <= 0 {
			return
		}
		c.stall(min(left, stallSlice))
	}
}

// transact moves bytes between host and chip. CS is left low if release is
// false, and the next call goes on in the same transaction.
func (c *Chip) transact(name string, w, r []byte, release bool) error {
	c.hang()
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.faults.has(TransferError) && c.chance(c.faults.value[TransferError]) {
		return fmt.Errorf("sim/chip: %s: transfer: %w", name, errIO)
	}
	now := c.now()
	if !c.selected {
		c.selected = true
		c.dev.begin(now)
	}
	for i := range max(len(w), len(r)) {
		var in byte
		if i < len(w) {
			in = w[i]
		}
		var out byte
		if c.bitError {
			out = c.noisyByte(in)
		} else {
			out = c.dev.xfer(in)
		}
		if i < len(r) {
			r[i] = out
		}
	}
	if release {
		c.selected = false
		c.dev.end(now)
	}
	return nil
}

// noisyByte exchanges one byte over a faulty bus.
func (c *Chip) noisyByte(in byte) byte {
	flip := c.faults.has(BitFlips)
	if flip {
		in ^= c.flips()
	}
	out := c.dev.xfer(in)
	if flip {
		out ^= c.flips()
	}
	if c.faults.has(BusLow) {
		return 0
	}
	if c.faults.has(BusHigh) {
		return 0xFF
	}
	return out
}

// flips draws which bits of a byte change on the wire.
func (c *Chip) flips() byte {
	var m byte
	for bit := range 8 {
		if c.chance(c.faults.value[BitFlips]) {
			m |= 1 << bit
		}
	}
	return m
}

func (c *Chip) chance(p float64) bool { return c.rng.Float64() < p }

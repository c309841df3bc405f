package max31856

import (
	"errors"
	"math"
	"testing"
	"time"

	"calx/sensor"
	"calx/sensor/thermocouple"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spitest"
)

// powerOn are the defaults of the data sheet's register map.
var powerOn = [registers]byte{0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80}

// fetched is the transfer that reads all registers.
func fetched(regs []byte) conntest.IO {
	return conntest.IO{W: make([]byte, 1+registers), R: append([]byte{0}, regs...)}
}

// configured are the transfers that set up type K, averaging 4, 50 Hz on a chip
// whose notch bit was as given.
func configured(notch byte) []conntest.IO {
	return []conntest.IO{
		{W: []byte{0x80, notch}}, // stop, notch as it was
		{W: []byte{0x80, 0x11, 0x23, 0x00, 0x46, 0xF6, 0x7F, 0xFF, 0x80, 0x00, 0x00}}, // everything, at rest
		{W: []byte{0x80, 0x91}}, // start
	}
}

func TestPlayback(t *testing.T) {
	good := frame(&DefaultOpts, 0x2E0C00, 0x1900, 0)
	p := &spitest.Playback{Playback: conntest.Playback{DontPanic: true}}
	p.Ops = append(p.Ops, fetched(powerOn[:]))
	p.Ops = append(p.Ops, configured(0)...)
	p.Ops = append(p.Ops,
		fetched(good),
		fetched(frame(&DefaultOpts, 0x2E0C00, 0x1900, 0x01)), // open
		fetched(powerOn[:])) // brown-out
	p.Ops = append(p.Ops, configured(0)...)
	p.Ops = append(p.Ops, fetched(frame(&DefaultOpts, 0xFFFF00, 0x1900, 0)))

	d, err := New(p, nil)
	require.NoError(t, err)
	at := time.Hour
	assert.Equal(t, sensor.Stale, d.Read(at).Fault, "may be left from an earlier run")
	assert.Equal(t, sensor.Stale, d.Read(at+d.first-1).Fault, "not converted yet")
	at += d.first

	r := d.Read(at)
	assert.Equal(t, sensor.Reading{At: at, HotC: 736.75, ColdC: 25, HotCode: 94304, ColdCode: 1600}, r)
	assert.Equal(t, sensor.Stale, d.Read(at+d.repeat-1).Fault)

	at += d.Period()
	r = d.Read(at)
	assert.Equal(t, sensor.Open, r.Fault)
	assert.True(t, math.IsNaN(r.HotC))
	assert.Equal(t, 25.0, r.ColdC)

	at += d.Period()
	r = d.Read(at)
	assert.Equal(t, sensor.ConfigLost, r.Fault)
	assert.True(t, math.IsNaN(r.HotC) && math.IsNaN(r.ColdC))
	assert.Equal(t, sensor.Stale, d.Read(at+d.first-1).Fault, "configured again, not converted yet")

	at += d.first
	r = d.Read(at)
	assert.True(t, r.OK())
	assert.Equal(t, -0.0625, r.HotC)

	at += d.Period()
	assert.Equal(t, sensor.BusError, d.Read(at).Fault, "nothing left to play back")
	require.NoError(t, p.Close())
}

// chip is a register file on a wire: enough to lose its configuration.
type chip struct {
	t      *testing.T
	regs   [registers]byte
	fail   bool
	stuck  *byte // what every bit of the data line gives
	writes int
	mode   spi.Mode
	clock  physic.Frequency
}

func (c *chip) String() string               { return "chip" }
func (c *chip) Duplex() conn.Duplex          { return conn.Full }
func (c *chip) TxPackets([]spi.Packet) error { return errors.New("not used") }

func (c *chip) Connect(f physic.Frequency, m spi.Mode, _ int) (spi.Conn, error) {
	c.clock, c.mode = f, m
	return c, nil
}

func (c *chip) Tx(w, r []byte) error {
	if c.fail {
		return errors.New("input/output error")
	}
	if w[0]&addrWrite == 0 {
		copy(r[1:], c.regs[w[0]:])
		for i := range r {
			if c.stuck != nil {
				r[i] = *c.stuck
			}
		}
		return nil
	}
	c.writes++
	before := c.regs[regCR0]
	copy(c.regs[w[0]&^addrWrite:writable], w[1:])
	if c.t != nil && before&cr0Auto != 0 && (before^c.regs[regCR0])&cr0Notch50 != 0 {
		c.t.Error("the notch was changed while the chip converted")
	}
	return nil
}

// convert is what the chip does between two polls, if it is told to.
func (c *chip) convert() {
	if c.regs[regCR0]&cr0Auto != 0 {
		copy(c.regs[regCJTH:], []byte{0x19, 0x00, 0x2E, 0x0C, 0x00, 0x00})
	}
}

// TestBrownOutAtAnyTime resets the chip, or one register, between polls: the next
// reading is refused and the one after the first conversion good again.
func TestBrownOutAtAnyTime(t *testing.T) {
	for _, hz := range []int{50, 60} {
		c := &chip{t: t, regs: powerOn}
		c.regs[regCR0] = cr0Auto // an earlier run at 60 Hz
		d, err := New(c, &Opts{Type: thermocouple.N, Averaging: 16, MainsHz: hz})
		require.NoError(t, err)
		at := time.Duration(0)
		d.Read(at)
		for reg := -1; reg < writable; reg++ {
			at += d.first
			c.convert()
			require.True(t, d.Read(at).OK())
			if reg < 0 {
				c.regs = powerOn
			} else {
				c.regs[reg] ^= 0x04
			}
			at += d.Period()
			require.Equal(t, sensor.ConfigLost, d.Read(at).Fault, "register %d", reg)
		}
	}
}

func TestDeadBus(t *testing.T) {
	for _, level := range []byte{0x00, 0xFF} {
		c := &chip{stuck: &level}
		d, err := New(c, nil)
		require.NoError(t, err)
		writes := c.writes
		d.Read(0)
		r := d.Read(time.Second)
		assert.Equal(t, sensor.DeadBus, r.Fault)
		assert.True(t, math.IsNaN(r.HotC) && math.IsNaN(r.ColdC))
		assert.Equal(t, writes, c.writes, "nothing to gain by writing")
		c.stuck = nil // the plug is back in; the chip has kept its configuration
		c.convert()
		assert.True(t, d.Read(2*time.Second).OK())
	}
}

func TestBusError(t *testing.T) {
	c := &chip{fail: true}
	_, err := New(c, nil)
	assert.EqualError(t, err, "max31856: input/output error")
	c.fail = false
	d, err := New(c, nil)
	require.NoError(t, err)
	d.Read(0)
	c.fail = true
	assert.Equal(t, sensor.BusError, d.Read(time.Second).Fault)
	assert.EqualError(t, d.Halt(), "max31856: halt: input/output error")
	c.fail = false
	c.convert()
	assert.True(t, d.Read(2*time.Second).OK())
}

func TestHalt(t *testing.T) {
	c := &chip{}
	d, err := New(c, nil)
	require.NoError(t, err)
	require.NoError(t, d.Halt())
	assert.Zero(t, c.regs[regCR0]&cr0Auto)
	d.Read(0)
	assert.Equal(t, sensor.ConfigLost, d.Read(time.Second).Fault)
	assert.NotZero(t, c.regs[regCR0]&cr0Auto, "started again")
}

func TestNew(t *testing.T) {
	_, err := New(&chip{}, &Opts{Type: 'X', Averaging: 3, MainsHz: 400})
	for _, text := range []string{
		"type Type(0x58); want B, E, J", "averaging of 3 samples; want 1, 2, 4, 8 or 16", "mains of 400 Hz; want 50 or 60",
	} {
		assert.ErrorContains(t, err, text)
	}
	_, err = New(&chip{}, &Opts{})
	assert.Error(t, err)
	_, err = New(&spitest.Playback{Initialized: true}, nil)
	assert.ErrorContains(t, err, "max31856: ")

	c := &chip{}
	d, err := New(c, nil)
	require.NoError(t, err)
	assert.Equal(t, spi.Mode1, c.mode)
	assert.LessOrEqual(t, c.clock, 5*physic.MegaHertz)
	assert.Equal(t, "MAX31856K{chip}", d.String())
	var _ conn.Resource = d
}

// TestPeriod: times worked by hand from the data sheet's figures (from memory):
// 110 + 3·20 + 15 = 185 ms and 90 + 15 = 105 ms, each and 15 %.
func TestPeriod(t *testing.T) {
	d, err := New(&chip{}, &DefaultOpts)
	require.NoError(t, err)
	assert.Equal(t, 220*time.Millisecond, d.Period())
	d, err = New(&chip{}, &Opts{Type: thermocouple.K, Averaging: 1, MainsHz: 60})
	require.NoError(t, err)
	assert.Equal(t, 130*time.Millisecond, d.Period())
}

func TestNoAllocation(t *testing.T) {
	level := byte(0xFF)
	for _, prepare := range []func(*chip){
		func(c *chip) { c.convert() },
		func(c *chip) { c.convert(); c.regs[regSR] = 0xFF },
		func(c *chip) { c.stuck = &level },
		func(c *chip) { c.regs = powerOn },
	} {
		c := &chip{}
		d, err := New(c, nil)
		require.NoError(t, err)
		at := time.Duration(0)
		d.Read(at)
		assert.Zero(t, testing.AllocsPerRun(100, func() {
			prepare(c)
			at += time.Second
			d.Read(at)
		}))
	}
}

func BenchmarkRead(b *testing.B) {
	c := &chip{}
	d, err := New(c, nil)
	require.NoError(b, err)
	c.convert()
	b.ReportAllocs()
	for i := time.Duration(0); b.Loop(); i++ {
		d.Read(i * time.Second)
	}
}

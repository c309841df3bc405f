package max31855

import (
	"encoding/binary"
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

func playback(words ...uint32) *spitest.Playback {
	p := &spitest.Playback{Playback: conntest.Playback{DontPanic: true}}
	for _, w := range words {
		p.Ops = append(p.Ops, conntest.IO{R: binary.BigEndian.AppendUint32(nil, w)})
	}
	return p
}

func TestRead(t *testing.T) {
	p := playback(
		0x2E0C1900, // 736.75 °C over 25 °C
		0x00011901, // open
		0x00000000, // line low
		0x2E0C7F00, // cold junction 127 °C
		0x7FFC1900, // 2047.75 °C: no such voltage
		0xFFFC1900, // -0.25 °C over 25 °C: the probe is colder than the board
	)
	d, err := New(p, nil)
	require.NoError(t, err)
	at := time.Duration(0)
	next := func() sensor.Reading {
		at += d.Period()
		return d.Read(at)
	}

	r := next()
	assert.True(t, r.OK())
	assert.InDelta(t, 729.91, r.HotC, 0.005)
	assert.Equal(t, 25.0, r.ColdC)
	assert.Equal(t, int32(2947), r.HotCode)
	assert.Equal(t, int32(400), r.ColdCode)
	assert.Equal(t, at, r.At)

	r = next()
	assert.Equal(t, sensor.Open, r.Fault)
	assert.True(t, math.IsNaN(r.HotC))
	assert.Equal(t, 25.0, r.ColdC, "the board is still known")

	r = next()
	assert.Equal(t, sensor.DeadBus, r.Fault)
	assert.True(t, math.IsNaN(r.HotC) && math.IsNaN(r.ColdC))

	r = next()
	assert.Equal(t, sensor.ColdRange, r.Fault)
	assert.True(t, math.IsNaN(r.HotC))
	assert.Equal(t, 127.0, r.ColdC)

	r = next()
	assert.Equal(t, sensor.Unlinearised, r.Fault)
	assert.True(t, math.IsNaN(r.HotC))

	r = next()
	assert.True(t, r.OK())
	assert.InDelta(t, 0, r.HotC, 1.5, "the line is that far off near 0 °C")

	r = next() // nothing left to play back
	assert.Equal(t, sensor.BusError, r.Fault)
	assert.False(t, r.OK())
	require.NoError(t, p.Close())
}

func TestTooEarly(t *testing.T) {
	p := playback(0x2E0C1900, 0x2E101900)
	d, err := New(p, nil)
	require.NoError(t, err)
	assert.True(t, d.Read(time.Second).OK())
	for _, early := range []time.Duration{0, 1, 99 * time.Millisecond} {
		assert.Equal(t, sensor.Stale, d.Read(time.Second+early).Fault)
	}
	assert.Equal(t, 1, p.Count, "the bus is left alone, or the chip never converts")
	assert.True(t, d.Read(time.Second+conversion).OK())
	require.NoError(t, p.Close())
}

func TestNew(t *testing.T) {
	_, err := New(playback(), &Opts{Type: thermocouple.B})
	assert.EqualError(t, err, "max31855: no chip is made for type B; want E, J, K, N, R, S or T")
	_, err = New(playback(), &Opts{})
	assert.Error(t, err)
	_, err = New(&spitest.Playback{Initialized: true}, nil)
	assert.ErrorContains(t, err, "max31855: ")

	d, err := New(playback(), &Opts{Type: thermocouple.S})
	require.NoError(t, err)
	assert.Equal(t, "MAX31855S{playback}", d.String())
	assert.NoError(t, d.Halt())
	assert.Greater(t, d.Period(), conversion)
	var _ conn.Resource = d
}

// wire is a port whose one answer can be changed; it allocates nothing.
type wire struct {
	answer []byte
	fail   error
	mode   spi.Mode
	clock  physic.Frequency
}

func (w *wire) String() string      { return "wire" }
func (w *wire) Duplex() conn.Duplex { return conn.Full }
func (w *wire) Tx(_, r []byte) error {
	copy(r, w.answer)
	return w.fail
}
func (w *wire) TxPackets([]spi.Packet) error { return errors.New("not used") }
func (w *wire) Connect(f physic.Frequency, m spi.Mode, _ int) (spi.Conn, error) {
	w.clock, w.mode = f, m
	return w, nil
}

func TestModeAndClock(t *testing.T) {
	w := &wire{}
	_, err := New(w, nil)
	require.NoError(t, err)
	assert.Equal(t, spi.Mode0, w.mode)
	assert.LessOrEqual(t, w.clock, 5*physic.MegaHertz)
}

// TestNoAllocation covers every kind of answer.
func TestNoAllocation(t *testing.T) {
	for _, word := range []uint32{0x2E0C1900, 0x00011901, 0, 0x2E0C7F00, 0x7FFC1900, 0x2E0E1900} {
		w := &wire{answer: binary.BigEndian.AppendUint32(nil, word)}
		d, err := New(w, nil)
		require.NoError(t, err)
		at := time.Duration(0)
		assert.Zero(t, testing.AllocsPerRun(100, func() {
			at += period
			d.Read(at)
		}), "%08X", word)
	}
}

func BenchmarkRead(b *testing.B) {
	w := &wire{answer: []byte{0x2E, 0x0C, 0x19, 0x00}}
	d, err := New(w, nil)
	require.NoError(b, err)
	b.ReportAllocs()
	for i := time.Duration(0); b.Loop(); i++ {
		d.Read(i * period)
	}
}

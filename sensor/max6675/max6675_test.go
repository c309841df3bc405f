package max6675

import (
	"encoding/binary"
	"errors"
	"math"
	"testing"
	"time"

	"calx/sensor"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spitest"
)

func playback(words ...uint16) *spitest.Playback {
	p := &spitest.Playback{Playback: conntest.Playback{DontPanic: true}}
	for _, w := range words {
		p.Ops = append(p.Ops, conntest.IO{R: binary.BigEndian.AppendUint16(nil, w)})
	}
	return p
}

func TestRead(t *testing.T) {
	p := playback(
		0x0C80, // 100 °C
		0x0004, // open
		0x0000, // line low
		0xFFFF, // line high
		0x8C80, // dummy sign set
		0x7FF8, // end of scale
	)
	d, err := New(p, nil)
	require.NoError(t, err)
	at := 10 * time.Second
	r := d.Read(at)
	assert.True(t, r.OK())
	assert.InDelta(t, 99.5, r.HotC, 0.1, "100 °C is shown 0.5 °C high")
	assert.True(t, math.IsNaN(r.ColdC))
	assert.Equal(t, int32(400), r.HotCode)
	assert.Equal(t, int32(board25), r.ColdCode, "the assumption, for the log")

	assert.Equal(t, sensor.Stale, d.Read(at+conversion-1).Fault)
	for _, want := range []sensor.Fault{
		sensor.Open, sensor.DeadBus, sensor.DeadBus, sensor.Corrupt, sensor.HotRange,
		sensor.BusError, // nothing left to play back
	} {
		at += d.Period()
		r := d.Read(at)
		assert.Equal(t, want, r.Fault)
		assert.True(t, math.IsNaN(r.HotC) && math.IsNaN(r.ColdC))
	}
	require.NoError(t, p.Close())
}

func TestNew(t *testing.T) {
	for _, c := range []float64{-10.1, 70.1, math.NaN(), math.Inf(1)} {
		_, err := New(playback(), &Opts{BoardC: c})
		assert.ErrorContains(t, err, "want -10 to 70 °C")
	}
	_, err := New(&spitest.Playback{Initialized: true}, nil)
	assert.ErrorContains(t, err, "max6675: ")
	d, err := New(playback(), &Opts{BoardC: -3.03})
	require.NoError(t, err)
	assert.Equal(t, int32(-48), d.board)
	assert.Equal(t, "MAX6675{playback}", d.String())
	assert.NoError(t, d.Halt())
	assert.Greater(t, d.Period(), conversion)
	var _ conn.Resource = d
}

// wire is a port with one fixed answer; it allocates nothing.
type wire struct {
	answer [2]byte
	mode   spi.Mode
	clock  physic.Frequency
}

func (w *wire) String() string               { return "wire" }
func (w *wire) Duplex() conn.Duplex          { return conn.Full }
func (w *wire) Tx(_, r []byte) error         { copy(r, w.answer[:]); return nil }
func (w *wire) TxPackets([]spi.Packet) error { return errors.New("not used") }
func (w *wire) Connect(f physic.Frequency, m spi.Mode, _ int) (spi.Conn, error) {
	w.clock, w.mode = f, m
	return w, nil
}

func TestModeClockAllocation(t *testing.T) {
	for _, word := range []uint16{0x5B40, 0x0004, 0, 0xFFFF, 0x8000, 0x7FF8} {
		w := &wire{answer: [2]byte{byte(word >> 8), byte(word)}}
		d, err := New(w, nil)
		require.NoError(t, err)
		assert.Equal(t, spi.Mode0, w.mode)
		assert.LessOrEqual(t, w.clock, 4300*physic.KiloHertz)
		at := time.Duration(0)
		assert.Zero(t, testing.AllocsPerRun(100, func() {
			at += period
			d.Read(at)
		}), "%04X", word)
	}
}

func BenchmarkRead(b *testing.B) {
	d, err := New(&wire{answer: [2]byte{0x5B, 0x40}}, nil)
	require.NoError(b, err)
	b.ReportAllocs()
	for i := time.Duration(0); b.Loop(); i++ {
		d.Read(i * period)
	}
}

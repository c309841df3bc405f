package chip_test

import (
	"fmt"
	"math"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spireg"

	"calx/sensor/thermocouple"
	"calx/sim/chip"
)

// ports counts the ports, so that no two tests share a name.
var ports atomic.Int64

// rig is a chip on a registered port with a host connected to it.
type rig struct {
	*chip.Chip
	t    testing.TB
	now  time.Duration
	name string
	conn spi.Conn
}

func newRig(t testing.TB, o chip.Options) *rig {
	t.Helper()
	r := &rig{t: t, name: fmt.Sprintf("SIM%d.0", ports.Add(1))}
	o.Now = func() time.Duration { return r.now }
	c, err := chip.New(o)
	require.NoError(t, err)
	require.NoError(t, c.Register(r.name))
	t.Cleanup(func() { require.NoError(t, c.Unregister()) })
	r.Chip = c

	p, err := spireg.Open(r.name)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, p.Close()) })
	mode := spi.Mode0
	if o.Model == chip.MAX31856 {
		mode = spi.Mode1
	}
	r.conn, err = p.Connect(4*physic.MegaHertz, mode, 8)
	require.NoError(t, err)
	return r
}

// word reads a frame of n bytes after a pause.
func (r *rig) word(n int, pause time.Duration) uint32 {
	r.t.Helper()
	r.now += pause
	var b [4]byte
	require.NoError(r.t, r.conn.Tx(nil, b[:n]))
	var w uint32
	for _, x := range b[:n] {
		w = w<<8 | uint32(x)
	}
	return w
}

// read gives n registers of a MAX31856 from the address on.
func (r *rig) read(addr byte, n int) []byte {
	r.t.Helper()
	w, b := make([]byte, n+1), make([]byte, n+1)
	w[0] = addr
	require.NoError(r.t, r.conn.Tx(w, b))
	return b[1:]
}

func (r *rig) write(addr byte, values ...byte) {
	r.t.Helper()
	require.NoError(r.t, r.conn.Tx(append([]byte{addr | 0x80}, values...), nil))
}

// hot14 and cold12 decode a MAX31855 frame as its data sheet says.
func hot14(w uint32) float64  { return float64(int32(w)>>18) / 4 }
func cold12(w uint32) float64 { return float64(int32(w<<16)>>20) / 16 }

// hotFor is the junction temperature at which a linear chip of the slope (in
// µV/°C) reads readC over coldC; ok is false where no probe gets there.
func hotFor(t thermocouple.Type, slope, readC, coldC float64) (hotC float64, ok bool) {
	cold, err := t.EMF(coldC)
	if err != nil {
		return math.NaN(), false
	}
	hotC, err = t.Temperature(slope*(readC-coldC)/1000 + cold)
	return hotC, err == nil
}

// slopes of the letter versions, µV/°C: data sheet 19-5793, table 1, from
// memory; each equals E(1000 °C)/1000, for T E(400 °C)/400 (NIST SRD 60).
var slopes = map[thermocouple.Type]float64{
	'K': 41.276, 'J': 57.953, 'N': 36.256, 'S': 9.587, 'R': 10.506, 'E': 76.373, 'T': 52.18,
}

package twin

import (
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"math"

	"calx/sim/kiln"
)

// Body is the temperatures of one modelled kiln, °C: element, hot face, load,
// core of the load, sheath, junction, gas, case, and then the wall from the hot
// face outwards. It is never changed, only replaced; nil is a kiln of which
// nothing is known.
type Body []float64

// The places in a Body.
const (
	elementAt = iota
	hotFaceAt
	loadAt
	coreAt
	sheathAt
	junctionAt
	gasAt
	shellAt
	wallAt
)

// JunctionC is what its probe would read, °C; NaN when nothing is known.
func (b Body) JunctionC() float64 {
	if len(b) <= junctionAt {
		return math.NaN()
	}
	return b[junctionAt]
}

func bodyOf(s kiln.State) Body {
	b := make(Body, wallAt+len(s.WallC))
	b.fill(s)
	return b
}

// fill takes over the temperatures of s.
func (b Body) fill(s kiln.State) {
	b[elementAt], b[hotFaceAt], b[loadAt], b[coreAt] = s.ElementC, s.HotFaceC, s.LoadC, s.LoadCoreC
	b[sheathAt], b[junctionAt], b[gasAt], b[shellAt] = s.SheathC, s.JunctionC, s.GasC, s.ShellC
	copy(b[wallAt:], s.WallC)
}

func (b Body) state(roomC float64) kiln.State {
	return kiln.State{ElementC: b[elementAt], HotFaceC: b[hotFaceAt], LoadC: b[loadAt], LoadCoreC: b[coreAt],
		SheathC: b[sheathAt], JunctionC: b[junctionAt], GasC: b[gasAt], ShellC: b[shellAt], AmbientC: roomC, WallC: b[wallAt:]}
}

// shifted is the body byC warmer: all in the chamber by that much, the core of
// the load by half, the wall the less the deeper.
func (b Body) shifted(byC float64) Body {
	out := append(Body(nil), b...)
	for i := range out {
		switch n := float64(len(b) - wallAt); {
		case i == coreAt:
			out[i] += byC / 2
		case i == shellAt:
		case i >= wallAt:
			near := 1 - float64(i-wallAt)/n
			out[i] += byC * near * near
		default:
			out[i] += byC
		}
	}
	return out
}

// towards is the body a share of the way to another.
func (b Body) towards(c Body, share float64) Body {
	out := make(Body, len(b))
	for i := range out {
		out[i] = b[i] + share*(c[i]-b[i])
	}
	return out
}

// changed is the body after the change from one to another.
func (b Body) changed(from, to Body) Body {
	out := make(Body, len(b))
	for i := range out {
		out[i] = b[i] + to[i] - from[i]
	}
	return out
}

// MarshalText keeps a snapshot short: the bits of the numbers, in base 64.
func (b Body) MarshalText() ([]byte, error) {
	raw := make([]byte, 0, 8*len(b))
	for _, v := range b {
		raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(v))
	}
	return base64.StdEncoding.AppendEncode(nil, raw), nil
}

// UnmarshalText reads it back, bit for bit. Errors: text that is not such
// numbers.
func (b *Body) UnmarshalText(text []byte) error {
	raw, err := base64.StdEncoding.AppendDecode(nil, text)
	if err != nil || len(raw)%8 != 0 {
		return fmt.Errorf("twin: a body is %d bytes that are no numbers in base 64", len(text))
	}
	*b = nil
	for ; len(raw) > 0; raw = raw[8:] {
		*b = append(*b, math.Float64frombits(binary.LittleEndian.Uint64(raw)))
	}
	return nil
}

package chip_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"calx/sensor/thermocouple"
	"calx/sim/chip"
)

// Register addresses and bits by the names of data sheet 19-7534.
const (
	cr0, cr1, mask, cjhf, lthfth, ltlfth, cjto, cjth, ltcbh, sr = 0, 1, 2, 3, 5, 7, 9, 0xA, 0xC, 0xF

	auto, oneShot, openTest, coldOff, interrupt, clearFaults, notch50 = 0x80, 0x40, 0x10, 8, 4, 2, 1
)

func new31856(t testing.TB, typ thermocouple.Type) *rig {
	return newRig(t, chip.Options{Model: chip.MAX31856, Type: typ})
}

// code is the type's code in CR1.
var code = map[thermocouple.Type]byte{'B': 0, 'E': 1, 'J': 2, 'K': 3, 'N': 4, 'R': 5, 'S': 6, 'T': 7}

// hot19 and cold14 decode result registers as the data sheet says.
func hot19(b []byte) float64 {
	return float64((int32(b[0])<<24|int32(b[1])<<16|int32(b[2])<<8)>>13) / 128
}

func cold14(b []byte) float64 { return float64(int16(b[0])<<8|int16(b[1])) / 256 }

// Defaults of data sheet 19-7534's register map (those of MASK, limits and CR1
// confirmed by public drivers, the others from memory).
var defaults = []byte{0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0, 0, 0, 0, 0, 0, 0, 0}

func TestMAX31856Registers(t *testing.T) {
	r := new31856(t, thermocouple.K)
	assert.Equal(t, defaults, r.read(cr0, 16))

	r.write(cr1, 0xC4, 0x3F, 50, 0xF6, 0x40, 0x01, 0x80, 0x02, 0x11)
	assert.Equal(t, []byte{0x44, 0x3F, 50, 0xF6, 0x40, 0x01, 0x80, 0x02, 0x11}, r.read(cr1, 9), "addresses step")
	r.write(ltcbh, 1, 2, 3, 4)
	assert.Equal(t, make([]byte, 4), r.read(ltcbh, 4), "results cannot be written")
	r.write(cjth, 0x19, 0x03)
	assert.Equal(t, []byte{0, 0}, r.read(cjth, 2), "belongs to the sensor while it is on")
	r.write(cr0, coldOff)
	r.write(cjth, 0x19, 0x03)
	assert.Equal(t, []byte{0x19, 0}, r.read(cjth, 2), "the lowest two bits do not exist")

	r.write(cr0, auto|clearFaults)
	assert.Equal(t, []byte{auto}, r.read(cr0, 1), "fault clear clears itself")
	assert.NoError(t, r.Inject(chip.Fault{Kind: chip.BrownOut}))
	assert.Equal(t, defaults, r.read(cr0, 16), "a brown-out forgets everything")
	r.Set(700, 25)
	r.now += time.Minute
	assert.Equal(t, defaults, r.read(cr0, 16), "and converts no more")
}

// The codes of data sheet 19-7534, tables of the linearised and the cold-junction
// temperature (which points: from memory). Type S reaches 1600 °C, K the others;
// -250 °C, outside every type, is left to the voltage mode below.
func TestMAX31856DataSheetCodes(t *testing.T) {
	tests := []struct {
		hotC float64
		code []byte
	}{
		{1600, []byte{0x64, 0, 0}}, {1000, []byte{0x3E, 0x80, 0}}, {100.9375, []byte{0x06, 0x4F, 0}},
		{25, []byte{0x01, 0x90, 0}}, {0.0625, []byte{0, 0x01, 0}}, {0.0078125, []byte{0, 0, 0x20}},
		{0, []byte{0, 0, 0}}, {-0.0625, []byte{0xFF, 0xFF, 0}}, {-1, []byte{0xFF, 0xF0, 0}},
	}
	for _, tt := range tests {
		typ := thermocouple.K
		if tt.hotC > 1372 {
			typ = thermocouple.S
		}
		r := new31856(t, typ)
		r.Set(tt.hotC, 23.4)
		r.write(cr1, code[typ])
		r.write(cr0, auto)
		r.now += time.Second
		// What the ADC adds to the ideal code is less than half a step: the
		// junction is exact, the cold-junction register rounds by 1/128 °C,
		// which for K is 1 step at most.
		got := r.read(ltcbh, 3)
		assert.InDelta(t, hot19(tt.code), hot19(got), 1.01/128, "%v °C: got % x", tt.hotC, got)

		r.Set(tt.hotC, 25) // exact in the cold-junction register
		r.now += time.Second
		assert.Equal(t, append(tt.code, 0), r.read(ltcbh, 4), "%v °C", tt.hotC)
	}

	cold := map[float64][]byte{
		127.984375: {0x7F, 0xFC}, 127: {0x7F, 0}, 125: {0x7D, 0}, 64: {0x40, 0}, 25: {0x19, 0}, 0.5: {0, 0x80},
		0.015625: {0, 0x04}, 0: {0, 0}, -0.5: {0xFF, 0x80}, -25: {0xE7, 0}, -55: {0xC9, 0},
	}
	r := new31856(t, thermocouple.K)
	r.write(cr0, auto)
	for coldC, want := range cold {
		r.Set(25, coldC)
		r.now += time.Second
		assert.Equal(t, want, r.read(cjth, 2), "%v °C", coldC)
	}
}

// Voltage mode, data sheet 19-7534: code = gain × 1.6 × 2^17 × V, without a
// cold junction. -250 °C's code 0xF06000 stands for -19.073 mV at gain 8.
func TestMAX31856VoltageMode(t *testing.T) {
	r := newRig(t, chip.Options{Model: chip.MAX31856, Type: thermocouple.K,
		Deviation: chip.Deviation{OffsetMicrovolt: -32000 / (8 * 1.6 * (1 << 17)) * 1e6}})
	r.Set(30, 30)
	r.write(cr1, 0x08)
	r.write(cr0, auto)
	r.now += time.Second
	assert.Equal(t, []byte{0xF0, 0x60, 0, 0}, r.read(ltcbh, 4))

	r.SetDeviation(chip.Deviation{})
	r.write(cr0, 0)
	r.write(cr1, 0x0C)
	r.write(cr0, auto)
	r.Set(1000, 0)
	r.now += time.Second
	assert.Equal(t, []byte{0x7F, 0xFF, 0xE0, 0}, r.read(ltcbh, 4), "41 mV is beyond ±19.531 mV")
	assert.NoError(t, r.Misuse())
}

// The chip knows every type over the range of its ITS-90 inverse functions, and
// flags what is outside.
func TestMAX31856Linearises(t *testing.T) {
	for typ, c := range code {
		r := new31856(t, typ)
		r.write(cr1, c)
		r.write(cr0, auto)
		minC, maxC := typ.InverseRange()
		for f := 0.0; f <= 1; f += 1.0 / 64 {
			hotC := minC + f*(maxC-minC)
			r.Set(hotC, 25)
			r.now += time.Second
			b := r.read(ltcbh, 4)
			assert.InDelta(t, hotC, hot19(b), 0.5/128+1e-6, "type %v", typ)
			assert.Zero(t, b[3], "type %v at %v °C", typ, hotC)
		}
		r.SetDeviation(chip.Deviation{OffsetMicrovolt: 200})
		r.now += time.Second
		b := r.read(ltcbh, 4)
		assert.InDelta(t, maxC, hot19(b), 0.5/128+1e-6)
		assert.EqualValues(t, 0x40, b[3], "type %v above its range", typ)
		r.Set(minC, 25)
		r.SetDeviation(chip.Deviation{OffsetMicrovolt: -200})
		r.now += time.Second
		b = r.read(ltcbh, 4)
		assert.InDelta(t, minC, hot19(b), 0.5/128+1e-6)
		assert.EqualValues(t, 0x40, b[3], "type %v below its range", typ)
	}
}

func TestMAX31856ColdJunction(t *testing.T) {
	r := new31856(t, thermocouple.K)
	r.Set(700, 25)
	r.write(cjto, 0xF8) // -8 steps of 0.0625 °C
	r.write(cr0, auto)
	r.now += time.Second
	b := r.read(cjth, 5)
	assert.Equal(t, 24.5, cold14(b))
	// 0.5 °C × 40.5 µV/°C ÷ 41.9 µV/°C: Seebeck coefficients of NIST SRD 60.
	assert.InDelta(t, 700-0.483, hot19(b[2:]), 0.01)

	r.write(cr0, auto|coldOff)
	r.write(cjth, 0x1E, 0)
	r.now += time.Second
	b = r.read(cjth, 5)
	assert.Equal(t, 30.0, cold14(b), "as written, without the offset")
	assert.InDelta(t, 700+5*40.6/41.9, hot19(b[2:]), 0.05)
}

// Conversion times of data sheet 19-7534 (from memory).
func TestMAX31856Timing(t *testing.T) {
	tests := []struct {
		name     string
		cr0, cr1 byte
		ready    time.Duration
	}{
		{"one-shot 60 Hz", oneShot, 0x03, 143 * time.Millisecond},
		{"one-shot 50 Hz", oneShot | notch50, 0x03, 169 * time.Millisecond},
		{"one-shot 50 Hz, 16 averaged", oneShot | notch50, 0x43, 769 * time.Millisecond},
		{"one-shot 60 Hz, open test", oneShot | openTest, 0x03, 156300 * time.Microsecond},
		{"automatic 60 Hz", auto, 0x03, 82 * time.Millisecond},
		{"automatic 50 Hz", auto | notch50, 0x03, 98 * time.Millisecond},
		{"automatic 50 Hz, 4 averaged", auto | notch50, 0x23, 158 * time.Millisecond},
		{"automatic 60 Hz, longest open test", auto | 0x30, 0x03, 195400 * time.Microsecond},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := new31856(t, thermocouple.K)
			r.Set(500, 25)
			r.write(cr1, tt.cr1)
			r.write(cr0, tt.cr0)
			r.now += tt.ready - 1
			assert.Equal(t, []byte{0, 0, 0}, r.read(ltcbh, 3))
			assert.Equal(t, []byte{tt.cr0}, r.read(cr0, 1), "one-shot bit stands")
			r.now++
			assert.InDelta(t, 500, hot19(r.read(ltcbh, 3)), 0.01, "reading does not disturb the conversion")
			assert.Equal(t, []byte{tt.cr0 &^ oneShot}, r.read(cr0, 1), "one-shot bit cleared itself")

			r.Set(600, 25)
			r.now += time.Minute
			want := 600.0
			if tt.cr0&oneShot != 0 {
				want = 500
			}
			assert.InDelta(t, want, hot19(r.read(ltcbh, 3)), 0.01, "a minute later")
		})
	}
}

// A one-shot result waits for its reader, however much the plant moves on.
func TestMAX31856OneShotKept(t *testing.T) {
	r := new31856(t, thermocouple.K)
	r.write(cr0, oneShot)
	for range 10000 {
		r.Set(100+float64(r.now/time.Millisecond), 25) // 1 °C each ms
		r.now += time.Millisecond
	}
	assert.InDelta(t, 100+143.0/2, hot19(r.read(ltcbh, 3)), 0.1)
}

// Packets joined by KeepCS are one transaction.
func TestMAX31856Packets(t *testing.T) {
	r := new31856(t, thermocouple.K)
	got := make([]byte, 3)
	assert.NoError(t, r.conn.TxPackets(packets([]byte{mask}, got)))
	assert.Equal(t, defaults[mask:mask+3], got)
}

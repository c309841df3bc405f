package max6675

import (
	"math"
	"testing"

	"calx/sensor"
	"calx/sensor/thermocouple"

	"github.com/stretchr/testify/assert"
)

const board25 = 25 * 16 // steps of boardStepC

// Words made from the bit fields of data sheet table 1; the data sheet prints no
// table of codes.
func TestWords(t *testing.T) {
	for _, row := range []struct {
		word  uint16
		readC float64
		want  sensor.Fault
	}{
		{0x0320, 25, 0}, {0x0C80, 100, 0}, {0x5B40, 730, 0}, {0x7D00, 1000, 0}, {0x7FF8, 1023.75, 0},
		{0x5B41, 730, 0}, // bit 0 is high impedance
		{0x0004, 0, sensor.Open}, {0x5B44, 730, sensor.Open}, {0x7FFC, 1023.75, sensor.Open},
		{0x0000, 0, sensor.DeadBus}, {0x0001, 0, sensor.DeadBus},
		{0xFFFF, 1023.75, sensor.DeadBus}, {0xFFFE, 1023.75, sensor.DeadBus},
		{0xDB40, 730, sensor.Corrupt}, {0x5B42, 730, sensor.Corrupt},
	} {
		hot, f := decode(row.word)
		assert.Equal(t, row.readC, float64(hot)*hotStepC, "%04X", row.word)
		assert.Equal(t, row.want, f, "%04X", row.word)
	}
}

// TestCorrection goes the other way: a junction whose voltage stands in the NIST
// tables (SRD 60, type K), over a board at 25 °C (1.000 mV), as the chip shows
// it with its 41 µV/°C; the shown value is rounded to the chip's 0.25 °C.
func TestCorrection(t *testing.T) {
	const halfStep, tableC = 0.125, 0.03 // °C: the chip's, and 1 µV of the table
	for _, row := range []struct{ trueC, mV float64 }{
		{100, 4.096}, {200, 8.138}, {400, 16.397}, {500, 20.644}, {600, 24.905}, {800, 33.275}, {1000, 41.276},
	} {
		shown := math.Round(((row.mV-1.000)/0.041+25)/hotStepC) * hotStepC
		got, coldC, f := Temperatures(thermocouple.K, int32(shown/hotStepC), board25)
		assert.Equal(t, sensor.Fault(0), f)
		assert.InDelta(t, row.trueC, got, (halfStep+tableC)*1.06, "shown as %v °C", shown) // 41/38.98: K at 1000 °C
		assert.True(t, math.IsNaN(coldC))
	}
	hotC, _, _ := Temperatures(thermocouple.K, 2920, board25)
	assert.InDelta(t, 718.56, hotC, 0.005, "the worked value of the doc comment")
}

func TestFaults(t *testing.T) {
	for _, row := range []struct {
		name      string
		typ       thermocouple.Type
		hot, cold int32
		want      sensor.Fault
	}{
		{"end of scale", thermocouple.K, 4095, board25, sensor.HotRange},
		{"last code below", thermocouple.K, 4094, board25, 0},
		{"board too hot", thermocouple.K, 2920, 71 * 16, sensor.ColdRange},
		{"board too cold", thermocouple.K, 2920, -11 * 16, sensor.ColdRange},
		{"other type", thermocouple.N, 2920, board25, sensor.Unlinearised},
		{"no type", 0, 2920, board25, sensor.Unlinearised},
	} {
		hotC, _, f := Temperatures(row.typ, row.hot, row.cold)
		assert.Equal(t, row.want, f, row.name)
		assert.Equal(t, row.want != 0, math.IsNaN(hotC), row.name)
	}
}

// TestBoardAssumption: what the package comment promises.
func TestBoardAssumption(t *testing.T) {
	for _, hot := range []int32{1500, 2920, 4000} {
		a, _, _ := Temperatures(thermocouple.K, hot, 20*16)
		b, _, _ := Temperatures(thermocouple.K, hot, 30*16)
		assert.InDelta(t, a, b, 0.15)
	}
}

// usable says, by the letter of data sheet table 1, whether a frame may carry a
// temperature: bits 15, 2 and 1 are 0, and the code is neither 0 nor the last.
func usable(w uint16) bool {
	code := w >> 3 & 0xFFF
	return w>>15 == 0 && w>>2&1 == 0 && w>>1&1 == 0 && code != 0 && code != 0xFFF
}

func checkFrame(t testing.TB, w uint16) sensor.Reading {
	hot, f := decode(w)
	r := sensor.Reading{HotCode: hot, ColdCode: board25, Fault: f}.
		Resolve(Temperatures(thermocouple.K, hot, board25))
	if r.OK() != usable(w) || r.OK() == math.IsNaN(r.HotC) || !math.IsNaN(r.ColdC) {
		t.Fatalf("%04X: %v °C beside %v", w, r.HotC, r.Fault)
	}
	if hot < 0 || hot > 4095 || hot != int32(w>>3&0xFFF) {
		t.Fatalf("%04X: code %d", w, hot)
	}
	return r
}

func TestEveryFrame(t *testing.T) {
	last := math.Inf(-1)
	for w := range 1 << 16 {
		r := checkFrame(t, uint16(w))
		if !r.OK() || w&bitAny != 0 {
			continue
		}
		mV, err := thermocouple.K.EMF(25)
		assert.NoError(t, err)
		wantC, err := thermocouple.K.Temperature(0.041*(float64(w>>3)*0.25-25) + mV)
		assert.NoError(t, err)
		if math.Abs(wantC-r.HotC) > 1e-9 || r.HotC <= last {
			t.Fatalf("%04X: got %v °C, want %v °C, above %v", w, r.HotC, wantC, last)
		}
		last = r.HotC
	}
}

func FuzzFrame(f *testing.F) {
	for _, w := range []uint16{0, 0xFFFF, 0x5B40, 0x0004, 0x7FF8} {
		f.Add(w)
	}
	f.Fuzz(func(t *testing.T, w uint16) { checkFrame(t, w) })
}

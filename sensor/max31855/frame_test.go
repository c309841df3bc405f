package max31855

import (
	"math"
	"math/rand/v2"
	"testing"

	"calx/sensor"
	"calx/sensor/thermocouple"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const parts = "EJKNRST" // the letters a chip is made for

// The hot-junction codes of data sheet table 4.
func TestHotCodes(t *testing.T) {
	for _, row := range []struct {
		bits  uint32 // 14
		wantC float64
	}{
		{0b01100100000000, 1600}, {0b00111110100000, 1000}, {0b00000110010011, 100.75},
		{0b00000001100100, 25}, {0b00000000000000, 0}, {0b11111111111111, -0.25},
		{0b11111111111100, -1}, {0b11110000011000, -250},
	} {
		hot, _, f := decode(row.bits<<18 | 0x190<<4)
		assert.Equal(t, sensor.Fault(0), f)
		assert.Equal(t, row.wantC, float64(hot)*hotStepC, "%014b", row.bits)
	}
}

// The cold-junction codes of data sheet table 5.
func TestColdCodes(t *testing.T) {
	for _, row := range []struct {
		bits  uint32 // 12
		wantC float64
	}{
		{0b011111110000, 127}, {0b011001001001, 100.5625}, {0b000110010000, 25},
		{0b000000000000, 0}, {0b111111111111, -0.0625}, {0b111111110000, -1},
		{0b111011000000, -20}, {0b110010010000, -55},
	} {
		_, cold, f := decode(0x64<<18 | row.bits<<4)
		assert.Equal(t, sensor.Fault(0), f)
		assert.Equal(t, row.wantC, float64(cold)*coldStepC, "%012b", row.bits)
	}
}

// Whole words put together from the fields of tables 2, 4 and 5.
func TestWords(t *testing.T) {
	for _, row := range []struct {
		word        uint32
		hotC, coldC float64
		want        sensor.Fault
	}{
		{0x01901900, 25, 25, 0},
		{0x3E801900, 1000, 25, 0},
		{0x2E0C1900, 736.75, 25, 0},
		{0x064C6490, 100.75, 100.5625, 0},
		{0xFFFCFFF0, -0.25, -0.0625, 0},
		{0xF060C900, -250, -55, 0},
		{0x00011901, 0, 25, sensor.Open},
		{0x00011902, 0, 25, sensor.ShortGround},
		{0x00011904, 0, 25, sensor.ShortSupply},
		{0x2E0D1905, 736.75, 25, sensor.Open | sensor.ShortSupply},
		{0x2E0D1900, 736.75, 25, sensor.Corrupt}, // fault bit without a fault
		{0x2E0C1901, 736.75, 25, sensor.Corrupt}, // a fault without fault bit
		{0x2E0E1900, 736.75, 25, sensor.Corrupt}, // bit 17 must be 0
		{0x2E0C1908, 736.75, 25, sensor.Corrupt}, // bit 3 must be 0
		{0x00000000, 0, 0, sensor.DeadBus},
		{0xFFFFFFFF, -0.25, -0.0625, sensor.DeadBus},
	} {
		hot, cold, f := decode(row.word)
		assert.Equal(t, row.hotC, float64(hot)*hotStepC, "%08X", row.word)
		assert.Equal(t, row.coldC, float64(cold)*coldStepC, "%08X", row.word)
		assert.Equal(t, row.want, f, "%08X", row.word)
	}
}

// TestCorrection: worked by exact inversion of the ITS-90 reference functions
// (NIST SRD 60) with another program; slopes from data sheet table 1, from
// memory.
func TestCorrection(t *testing.T) {
	const rounding = 0.005 // °C, the vectors have two decimals
	for _, row := range []struct {
		typ          thermocouple.Type
		readC, coldC float64
		wantC        float64
	}{
		{thermocouple.K, 1000, 25, 999.20}, {thermocouple.K, 736.75, 25, 729.91},
		{thermocouple.K, 500, 40, 498.93}, {thermocouple.K, 150, 30, 150.45},
		{thermocouple.K, 25, 25, 25}, {thermocouple.N, 700, 30, 714.21},
		{thermocouple.S, 700, 30, 730.33}, {thermocouple.J, 500, 25, 525.13},
	} {
		hotC, coldC, f := Temperatures(row.typ, int32(row.readC*4), int32(row.coldC*16))
		assert.Equal(t, sensor.Fault(0), f)
		assert.InDelta(t, row.wantC, hotC, rounding+1e-9, "type %s reading %v °C", row.typ, row.readC)
		assert.Equal(t, row.coldC, coldC)
	}
}

// TestSlopes: each slope is the voltage printed for 1000 °C (type T: 400 °C) in
// the NIST tables, over the temperature.
func TestSlopes(t *testing.T) {
	for typ, mV := range map[thermocouple.Type]float64{
		thermocouple.E: 76.373, thermocouple.J: 57.953, thermocouple.K: 41.276, thermocouple.N: 36.256,
		thermocouple.R: 10.506, thermocouple.S: 9.587,
	} {
		assert.InDelta(t, mV/1000, slope(typ), 1e-9, "type %s", typ)
	}
	assert.InDelta(t, 20.872/400, slope(thermocouple.T), 5e-6)
	assert.Zero(t, slope(thermocouple.B))
	_, _, f := Temperatures(thermocouple.B, 4000, 400)
	assert.Equal(t, sensor.Unlinearised, f)
}

// TestEveryCode holds all 2^14 hot codes of every part, over cold junctions
// within and beyond the plausible, against the plain formula.
func TestEveryCode(t *testing.T) {
	colds := []float64{-55, -10.0625, -10, -0.0625, 0, 25, 70, 70.0625, 127.9375}
	for _, letter := range parts {
		typ := thermocouple.Type(letter)
		for _, coldC := range colds {
			last := math.Inf(-1)
			for hot := int32(-1 << 13); hot < 1<<13; hot++ {
				hotC, gotCold, f := Temperatures(typ, hot, int32(coldC*16))
				wantC, want := referee(typ, float64(hot)*0.25, coldC)
				if f != want || math.IsNaN(hotC) != (f != 0) || gotCold != coldC {
					t.Fatalf("type %s code %d cold %v °C: got %v °C, %v; want %v °C, %v", typ, hot, coldC, hotC, f, wantC, want)
				}
				if f != 0 {
					continue
				}
				if math.Abs(hotC-wantC) > 1e-9 || hotC <= last {
					t.Fatalf("type %s code %d cold %v °C: got %v °C, want %v °C, above %v", typ, hot, coldC, hotC, wantC, last)
				}
				last = hotC
			}
		}
	}
}

// referee is the correction in plain words.
func referee(typ thermocouple.Type, readC, coldC float64) (hotC float64, f sensor.Fault) {
	if coldC < -10 || coldC > 70 {
		return math.NaN(), sensor.ColdRange
	}
	cold, err := typ.EMF(coldC)
	if err != nil {
		return math.NaN(), sensor.Unlinearised
	}
	hotC, err = typ.Temperature(slope(typ)*(readC-coldC) + cold)
	if err != nil {
		return math.NaN(), sensor.Unlinearised
	}
	return hotC, 0
}

// usable says, by the letter of data sheet table 2 and nothing else, whether a
// frame may carry a temperature.
func usable(w uint32) bool {
	bit := func(n int) bool { return w>>n&1 == 1 }
	for _, n := range []int{17, 16, 3, 2, 1, 0} {
		if bit(n) {
			return false
		}
	}
	return w != 0
}

func checkFrame(t testing.TB, w uint32) {
	for _, letter := range parts {
		hot, cold, f := decode(w)
		r := sensor.Reading{HotCode: hot, ColdCode: cold, Fault: f}.
			Resolve(Temperatures(thermocouple.Type(letter), hot, cold))
		if r.OK() && !usable(w) {
			t.Fatalf("%08X: %v °C from a frame that is no good", w, r.HotC)
		}
		if r.OK() == math.IsNaN(r.HotC) || (r.Fault == 0) != r.OK() {
			t.Fatalf("%08X: %v °C beside %v", w, r.HotC, r.Fault)
		}
		if f == 0 && w != uint32(hot)<<18|uint32(cold)&0xFFF<<4 {
			t.Fatalf("%08X: codes %d and %d do not make the frame", w, hot, cold)
		}
		if r.OK() && (r.ColdC < sensor.MinColdC || r.ColdC > sensor.MaxColdC) {
			t.Fatalf("%08X: cold junction %v °C", w, r.ColdC)
		}
	}
}

func TestRandomFrames(t *testing.T) {
	rng := rand.New(rand.NewPCG(31855, 1))
	for range 200_000 {
		w := rng.Uint32()
		checkFrame(t, w)
		checkFrame(t, w&^0x0003000F) // most random frames fail on these bits
	}
	for hot := range uint32(1 << 14) { // a good frame with each bit flipped in turn
		w := hot<<18 | 0x190<<4
		checkFrame(t, w)
		for bit := range 32 {
			if bit == 17 || bit == 16 || bit < 4 {
				require.False(t, usable(w^1<<bit))
				checkFrame(t, w^1<<bit)
			}
		}
	}
}

func FuzzFrame(f *testing.F) {
	for _, w := range []uint32{0, math.MaxUint32, 0x2E0C1900, 0x00011901, 0xFFFCFFF0, 0xF060C900} {
		f.Add(w)
	}
	f.Fuzz(func(t *testing.T, w uint32) { checkFrame(t, w) })
}

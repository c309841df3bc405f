package max31856

import (
	"math"
	"math/rand/v2"
	"testing"

	"calx/sensor"
	"calx/sensor/thermocouple"

	"github.com/stretchr/testify/assert"
)

// frame is all registers as a configured chip returns them.
func frame(o *Opts, hot uint32, cold uint16, sr byte) []byte {
	m := image(o)
	return append(m[:], byte(cold>>8), byte(cold), byte(hot>>16), byte(hot>>8), byte(hot), sr)
}

// The hot-junction codes of the data sheet's table "linearized thermocouple
// temperature data format"; the selection of points is from memory, the codes
// follow from the register's weights.
func TestHotCodes(t *testing.T) {
	for _, row := range []struct {
		code24 uint32
		wantC  float64
	}{
		{0x640000, 1600}, {0x3E8000, 1000}, {0x064F00, 100.9375}, {0x019000, 25}, {0x000100, 0.0625},
		{0x000020, 0.0078125}, {0, 0}, {0xFFFF00, -0.0625}, {0xFFF000, -1}, {0xF06000, -250},
	} {
		for _, below := range []uint32{0, 0x1F} { // the five bits below the code mean nothing
			hot, _ := codes(frame(&DefaultOpts, row.code24|below, 0x1900, 0))
			assert.Equal(t, row.wantC, float64(hot)*hotStepC, "%06X", row.code24|below)
		}
	}
}

// The cold-junction codes, as above.
func TestColdCodes(t *testing.T) {
	for _, row := range []struct {
		code16 uint16
		wantC  float64
	}{
		{0x7FFC, 127.984375}, {0x7F00, 127}, {0x7D00, 125}, {0x4000, 64}, {0x1900, 25}, {0x0080, 0.5},
		{0x0004, 0.015625}, {0, 0}, {0xFF80, -0.5}, {0xE700, -25}, {0xC900, -55},
	} {
		_, cold := codes(frame(&DefaultOpts, 0x019000, row.code16, 0))
		assert.Equal(t, row.wantC, float64(cold)*coldStepC, "%04X", row.code16)
	}
}

// Bits of CR0, CR1 and the type codes: data sheet register descriptions.
func TestImage(t *testing.T) {
	codeOf := map[thermocouple.Type]byte{'B': 0, 'E': 1, 'J': 2, 'K': 3, 'N': 4, 'R': 5, 'S': 6, 'T': 7}
	avgOf := map[int]byte{1: 0x00, 2: 0x10, 4: 0x20, 8: 0x30, 16: 0x40}
	for typ, code := range codeOf {
		for samples, avg := range avgOf {
			for hz, cr0 := range map[int]byte{50: 0x91, 60: 0x90} {
				m := image(&Opts{Type: typ, Averaging: samples, MainsHz: hz})
				assert.Equal(t, [writable]byte{cr0, avg | code, 0x00, 70, 0xF6, 0x7F, 0xFF, 0x80, 0x00, 0x00}, m)
			}
		}
	}
}

// Bits of the fault status register.
func TestStatus(t *testing.T) {
	for bit, want := range []sensor.Fault{
		sensor.Open, sensor.OverUnder, sensor.Limit, sensor.Limit,
		sensor.Limit, sensor.Limit, sensor.HotRange, sensor.ColdRange,
	} {
		assert.Equal(t, want, status(1<<bit), "bit %d", bit)
	}
	for sr := range 256 {
		assert.Equal(t, sr != 0, status(byte(sr)) != 0)
	}
}

func TestTemperatures(t *testing.T) {
	for _, row := range []struct {
		name        string
		typ         thermocouple.Type
		hotC, coldC float64
		want        sensor.Fault
	}{
		{"ordinary", 'K', 736.75, 25, 0},
		{"below zero", 'K', -0.0078125, -0.015625, 0},
		{"top of K", 'K', 1372, 25, 0},
		{"above K", 'K', 1372.0078125, 25, sensor.HotRange},
		{"below what can be linearised", 'K', -200.0078125, 25, sensor.HotRange},
		{"type B in a cold kiln", 'B', 20, 20, sensor.HotRange},
		{"type B", 'B', 250, 20, 0},
		{"box on fire", 'K', 700, 70.015625, sensor.ColdRange},
		{"both", 'S', -60, -20, sensor.HotRange | sensor.ColdRange},
		{"no type", 0, 700, 25, sensor.Unlinearised},
	} {
		hotC, coldC, f := Temperatures(row.typ, int32(row.hotC*128), int32(row.coldC*64))
		assert.Equal(t, row.want, f, row.name)
		assert.Equal(t, row.coldC, coldC, row.name)
		if row.want == 0 {
			assert.Equal(t, row.hotC, hotC, row.name)
		} else {
			assert.True(t, math.IsNaN(hotC), row.name)
		}
	}
}

// TestEveryCode: all 2^19 hot codes and all 2^14 cold codes of every type.
func TestEveryCode(t *testing.T) {
	for _, letter := range thermocouple.Types {
		typ := thermocouple.Type(letter)
		minC, maxC := typ.InverseRange()
		for code := int32(-1 << 18); code < 1<<18; code++ {
			hotC, _, f := Temperatures(typ, code, 25*64)
			plain := float64(code) / 128
			if in := plain >= minC && plain <= maxC; in != (f == 0) || in && hotC != plain || !in && !math.IsNaN(hotC) {
				t.Fatalf("type %s code %d: %v °C, %v", typ, code, hotC, f)
			}
		}
		for code := int32(-1 << 13); code < 1<<13; code++ {
			_, coldC, f := Temperatures(typ, 700*128, code)
			plain := float64(code) / 64
			if in := plain >= -10 && plain <= 70; in != (f&sensor.ColdRange == 0) || coldC != plain {
				t.Fatalf("type %s cold code %d: %v °C, %v", typ, code, coldC, f)
			}
		}
	}
}

// TestJudgeEveryBit flips each bit of a good frame in turn: one that belongs to
// the configuration is ConfigLost, one of the status register its fault, and
// only those of the two temperatures pass.
func TestJudgeEveryBit(t *testing.T) {
	want := image(&DefaultOpts)
	good := frame(&DefaultOpts, 0x2E0C00, 0x1900, 0)
	assert.Equal(t, sensor.Fault(0), judge(good, &want))
	silent := map[int]byte{regCR0: 0x42, regCR1: 0x80, regMASK: 0xC0} // clear themselves, or unused
	for reg := range registers {
		for bit := range 8 {
			bad := append([]byte(nil), good...)
			bad[reg] ^= 1 << bit
			f := judge(bad, &want)
			switch {
			case reg < writable && silent[reg]>>bit&1 == 0:
				assert.Equal(t, sensor.ConfigLost, f, "register %02X bit %d", reg, bit)
			case reg == regSR:
				assert.Equal(t, status(1<<bit), f)
			default:
				assert.Equal(t, sensor.Fault(0), f, "register %02X bit %d", reg, bit)
			}
		}
	}
}

// TestPowerOn: the defaults of the data sheet's register map are a chip at rest
// with its open test off, whatever the options, and never a temperature.
func TestPowerOn(t *testing.T) {
	o := Opts{Type: thermocouple.K, Averaging: 1, MainsHz: 60} // as near as options come
	m := image(&o)
	assert.Equal(t, sensor.ConfigLost, judge(powerOn[:], &m))
	assert.Equal(t, sensor.Stale, judge(frame(&o, 0, 0, 0), &m), "configured, nothing converted yet")
	assert.Equal(t, sensor.DeadBus, judge(make([]byte, registers), &m))
}

// TestRandomRegisters: whatever comes, a fault goes with NaN and only a frame
// with the whole configuration and a clean status gives a number.
func TestRandomRegisters(t *testing.T) {
	rng := rand.New(rand.NewPCG(31856, 1))
	m := image(&DefaultOpts)
	read := make([]byte, registers)
	for i := range 200_000 {
		for j := range read {
			read[j] = byte(rng.Uint32())
		}
		if i%2 == 0 {
			copy(read, m[:])
			read[regSR] >>= rng.UintN(9) // a clean status now and then
		}
		r := sensor.Reading{Fault: judge(read, &m)}
		r.HotCode, r.ColdCode = codes(read)
		r = r.Resolve(Temperatures(DefaultOpts.Type, r.HotCode, r.ColdCode))
		if r.OK() == math.IsNaN(r.HotC) || r.OK() != (r.Fault == 0) {
			t.Fatalf("% X: %v °C beside %v", read, r.HotC, r.Fault)
		}
		if r.OK() && (i%2 != 0 || read[regSR] != 0) {
			t.Fatalf("% X: %v °C", read, r.HotC)
		}
	}
}

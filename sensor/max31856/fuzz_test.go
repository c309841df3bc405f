package max31856

import (
	"math"
	"testing"

	"calx/sensor"
	"calx/sensor/thermocouple"
)

// All registers, whatever they hold, for every type: a temperature only from a
// frame that holds the configuration, is no dead bus and reports no fault, and
// then inside the range of the type; otherwise a fault and no number.
func FuzzFrame(f *testing.F) {
	good := frame(&DefaultOpts, 0x2E0C00, 0x1900, 0)
	f.Add(good, uint8(3))
	f.Add(frame(&DefaultOpts, 0xF06000, 0xC900, 1), uint8(0))
	f.Add(powerOn[:], uint8(1))
	f.Add([]byte{}, uint8(255))
	f.Fuzz(func(t *testing.T, b []byte, typ uint8) {
		read := make([]byte, registers)
		copy(read, b)
		o := DefaultOpts
		o.Type = thermocouple.Type(thermocouple.Types[int(typ)%len(thermocouple.Types)])
		m := image(&o)
		if len(b) > registers { // a long one is a short one on the configuration that is wanted
			copy(read, m[:])
			copy(read[writable:], b[registers:])
		}
		r := sensor.Reading{Fault: judge(read, &m)}
		r.HotCode, r.ColdCode = codes(read)
		r = r.Resolve(Temperatures(o.Type, r.HotCode, r.ColdCode))
		if r.OK() != (r.Fault == 0) || r.OK() == math.IsNaN(r.HotC) {
			t.Fatalf("% X: %v °C beside %v", read, r.HotC, r.Fault)
		}
		if !r.OK() {
			return
		}
		minC, maxC := o.Type.InverseRange()
		if read[regSR] != 0 || !holdsImage(read, &m) || r.HotC < minC || r.HotC > maxC || !sensor.ColdPlausible(r.ColdC) {
			t.Fatalf("% X: %v °C, cold %v °C", read, r.HotC, r.ColdC)
		}
		// The codes are the registers, without the bits that mean nothing.
		hot, cold := uint32(r.HotCode)<<5, uint16(r.ColdCode)<<2
		for i, want := range []byte{byte(hot >> 16), byte(hot >> 8), byte(hot)} {
			mask := byte(0xFF)
			if i == 2 {
				mask = 0xE0
			}
			if (read[regLTCBH+i]^want)&mask != 0 {
				t.Fatalf("% X: hot code %d", read, r.HotCode)
			}
		}
		if read[regCJTH] != byte(cold>>8) || (read[regCJTH+1]^byte(cold))&0xFC != 0 {
			t.Fatalf("% X: cold code %d", read, r.ColdCode)
		}
	})
}

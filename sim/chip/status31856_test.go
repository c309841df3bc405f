package chip_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"calx/sensor/thermocouple"
	"calx/sim/chip"
)

// Sixteen automatic conversions share one open test, so a broken probe shows
// within 16 × 82 + 13.3 ms; with the test off it shows never.
func TestMAX31856OpenTest(t *testing.T) {
	for _, test := range []byte{0, openTest} {
		r := new31856(t, thermocouple.K)
		r.Set(500, 25)
		r.write(cr0, auto|test)
		r.now += 5 * time.Second
		assert.Zero(t, r.read(sr, 1)[0])
		assert.NoError(t, r.Inject(chip.Fault{Kind: chip.Open}))
		r.now += 100 * time.Millisecond
		assert.InDelta(t, 25, hot19(r.read(ltcbh, 3)), 0.01, "an open input reads the cold junction")
		r.now += 1400 * time.Millisecond
		assert.Equal(t, test>>4, r.read(sr, 1)[0])
		r.Clear(chip.Open)
		r.now += 1400 * time.Millisecond
		assert.Zero(t, r.read(sr, 1)[0])
	}
}

func TestMAX31856Limits(t *testing.T) {
	for _, mode := range []byte{0, interrupt} {
		r := new31856(t, thermocouple.K)
		at := func(hotC, coldC float64) byte {
			r.Set(hotC, coldC)
			r.now += time.Second
			r.Set(hotC, coldC)
			return r.read(sr, 1)[0]
		}
		// Cold junction 10..40 °C, hot junction 100..700 °C in 1/16 °C.
		r.write(mask, 0x37, 40, 10, 0x2B, 0xC0, 0x06, 0x40)
		r.write(cr0, auto|mode)
		assert.EqualValues(t, 0, at(500, 25))
		assert.EqualValues(t, 0x08, at(700.1, 25), "above the high limit")
		assert.True(t, r.FaultPin(), "hot junction high is not masked")
		if mode == interrupt {
			assert.EqualValues(t, 0x08, at(500, 25), "latched")
			r.write(cr0, auto|mode|clearFaults)
			assert.EqualValues(t, 0, at(500, 25), "until cleared")
			at(50, 25)
			assert.EqualValues(t, 0x04, at(500, 25), "also unread")
			r.write(cr0, auto|mode|clearFaults)
			continue
		}
		assert.EqualValues(t, 0x08, at(698.5, 25), "2 °C of hysteresis")
		assert.EqualValues(t, 0, at(697.9, 25))
		assert.EqualValues(t, 0x04, at(99.9, 25), "below the low limit")
		assert.False(t, r.FaultPin(), "hot junction low is masked")
		assert.EqualValues(t, 0x20, at(500, 40.1))
		assert.EqualValues(t, 0x10, at(500, 9.9))
		r.write(cr0, auto|mode|clearFaults)
		assert.EqualValues(t, 0x10, r.read(sr, 1)[0], "fault clear does nothing in comparator mode")
		assert.EqualValues(t, 0x80, at(500, 126)&0x80, "cold junction out of range")
	}
}

func TestMAX31856OverUnderVoltage(t *testing.T) {
	r := new31856(t, thermocouple.K)
	r.Set(500, 25)
	r.write(cr0, auto)
	r.now += time.Second
	before := r.read(cjth, 5)
	for _, k := range []chip.Kind{chip.OverUnderVoltage, chip.ShortGround, chip.ShortSupply} {
		assert.NoError(t, r.Inject(chip.Fault{Kind: k}))
		r.Set(600, 30)
		r.now += time.Minute
		assert.Equal(t, append(before, 2), r.read(cjth, 6), "%v suspends conversion", k)
		r.Set(500, 25)
		r.Clear()
		assert.EqualValues(t, 0, r.read(sr, 1)[0])
		r.now += 81 * time.Millisecond
		assert.Equal(t, append(before, 0), r.read(cjth, 6), "conversion begins anew")
	}
	r.Set(600, 30)
	r.now += time.Second
	assert.InDelta(t, 600, hot19(r.read(ltcbh, 3)), 0.01)
}

func TestMAX31856Misuse(t *testing.T) {
	r := new31856(t, thermocouple.K)
	r.write(cr0, auto)
	r.write(cr0, notch50)
	r.write(cr1, 0x04)
	r.write(cr0, auto|notch50, 0x03)
	assert.NoError(t, r.Misuse())
	r.write(cr0, auto)
	assert.ErrorContains(t, r.Misuse(), "notch filter changed")
}

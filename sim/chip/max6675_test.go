package chip_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"calx/sensor/thermocouple"
	"calx/sim/chip"
)

// Words made by hand from the bit fields in data sheet 19-2235: the hot
// junction is brought to where a 41 µV/°C chip must show the row.
func TestMAX6675Words(t *testing.T) {
	tests := []struct {
		readC float64
		word  uint32
	}{
		{0, 0}, {25, 0x0320}, {100, 0x0C80}, {730, 0x5B40}, {1000, 0x7D00}, {1023.75, 0x7FF8},
	}
	for _, tt := range tests {
		r := newRig(t, chip.Options{Model: chip.MAX6675, Type: thermocouple.K})
		hotC, ok := hotFor(thermocouple.K, 41, tt.readC, 25)
		assert.True(t, ok)
		r.Set(hotC, 25)
		w := r.word(2, powered)
		assert.Equalf(t, tt.word, w, "%v °C: got %#04x", tt.readC, w)
	}
	r := newRig(t, chip.Options{Model: chip.MAX6675, Type: thermocouple.K})
	r.Set(1300, 25)
	assert.EqualValues(t, 0x7FF8, r.word(2, powered), "above full scale")
	r.Set(-20, 25)
	r.now += powered
	assert.EqualValues(t, 0, r.word(2, powered), "below zero")
}

// Errors computed from NIST SRD 60 and 41 µV/°C, cold junction 25 °C, to
// 0.1 °C; a reading adds half a step.
func TestMAX6675LinearError(t *testing.T) {
	r := newRig(t, chip.Options{Model: chip.MAX6675, Type: thermocouple.K})
	for atC, errC := range map[float64]float64{100: 0.5, 370: -0.3, 500: 4.1, 730: 11.6, 800: 12.2, 1000: 7.3} {
		r.Set(atC, 25)
		r.now += powered
		assert.InDelta(t, errC, float64(r.word(2, powered)>>3)/4-atC, 0.05+0.125+1e-9, "%v °C", atC)
	}
}

// 170 ms for a conversion, which CS aborts: data sheet 19-2235, from memory.
func TestMAX6675Timing(t *testing.T) {
	r := newRig(t, chip.Options{Model: chip.MAX6675, Type: thermocouple.K})
	r.Set(25, 25)
	assert.EqualValues(t, 0, r.word(2, 169*time.Millisecond))
	assert.EqualValues(t, 0x0320, r.word(2, 170*time.Millisecond))
	r.Set(100, 25)
	for range 20 {
		assert.EqualValues(t, 0x0320, r.word(2, 160*time.Millisecond))
	}
	assert.EqualValues(t, 0x0C90, r.word(2, 170*time.Millisecond), "100 °C reads 100.5")
}

func TestMAX6675Faults(t *testing.T) {
	tests := []struct {
		fault chip.Fault
		word  uint32
	}{
		{chip.Fault{Kind: chip.Open}, 0x0320 | 4},
		{chip.Fault{Kind: chip.ShortGround}, 0x0320},
		{chip.Fault{Kind: chip.ShortSupply}, 0x7FF8},
		{chip.Fault{Kind: chip.OverUnderVoltage, Value: 1}, 0x7FF8},
		{chip.Fault{Kind: chip.OverUnderVoltage, Value: -1}, 0},
	}
	for _, tt := range tests {
		r := newRig(t, chip.Options{Model: chip.MAX6675, Type: thermocouple.K})
		r.Set(700, 25)
		assert.NoError(t, r.Inject(tt.fault))
		assert.Equal(t, tt.word, r.word(2, powered), "%v", tt.fault)
	}
}

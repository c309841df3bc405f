package sensor_test

import (
	"math"
	"testing"
	"time"

	"calx/sensor"
	"calx/sensor/max31855"
	"calx/sensor/max31856"
	"calx/sensor/max6675"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// The drivers are one thing to a caller.
type driver interface {
	Read(at time.Duration) sensor.Reading
	Period() time.Duration
	String() string
	Halt() error
}

var _ = []driver{(*max31855.Dev)(nil), (*max31856.Dev)(nil), (*max6675.Dev)(nil)}

func TestFaultNames(t *testing.T) {
	assert.Equal(t, "ok", sensor.Fault(0).String())
	assert.Equal(t, "open, cold_range", (sensor.Open | sensor.ColdRange).String())
	assert.Equal(t, "unlinearised", sensor.Unlinearised.String(), "the last fault has the last name")
	names := sensor.Names()
	assert.Equal(t, sensor.Unlinearised, sensor.Fault(1)<<(len(names)-1))
	names[0] = "changed"
	assert.Equal(t, "open", sensor.Names()[0])
}

func TestResolve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		chip := sensor.Fault(rapid.Uint16Range(0, 1<<13-1).Draw(t, "chip"))
		found := sensor.Fault(rapid.SampledFrom([]uint16{0, 0, uint16(sensor.ColdRange), uint16(sensor.Unlinearised)}).Draw(t, "found"))
		got := sensor.Reading{Fault: chip}.Resolve(730, 25, found)
		want := chip
		switch {
		case chip == 0:
			want = found
		case chip&sensor.Unsure == 0:
			want |= found & sensor.ColdRange
		}
		assert.Equal(t, want, got.Fault)
		assert.Equal(t, got.Fault == 0, got.OK())
		assert.Equal(t, got.Fault != 0, math.IsNaN(got.HotC))
		assert.Equal(t, got.Fault&sensor.Unsure != 0, math.IsNaN(got.ColdC))
		again := got.Resolve(730, 25, found)
		assert.Equal(t, got.Fault, again.Fault, "from a log")
		assert.Equal(t, math.Float64bits(got.HotC), math.Float64bits(again.HotC), "from a log")
		assert.Equal(t, math.Float64bits(got.ColdC), math.Float64bits(again.ColdC), "from a log")
	})
}

func TestOK(t *testing.T) {
	assert.True(t, sensor.Reading{HotC: 730}.OK())
	for _, c := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		assert.False(t, sensor.Reading{HotC: c}.OK())
	}
	assert.False(t, sensor.Failed(0, sensor.Open).OK())
	assert.False(t, sensor.Failed(0, 0).OK())
}

func TestColdPlausible(t *testing.T) {
	for c, want := range map[float64]bool{-10.1: false, -10: true, 25: true, 70: true, 70.1: false, math.Inf(-1): false} {
		assert.Equal(t, want, sensor.ColdPlausible(c), "%v °C", c)
	}
	assert.False(t, sensor.ColdPlausible(math.NaN()))
}

func TestPace(t *testing.T) {
	const wait = 100 * time.Millisecond
	var p sensor.Pace
	for _, row := range []struct {
		at   time.Duration
		want bool
		why  string
	}{
		{5 * time.Second, true, "first"},
		{5*time.Second + wait - 1, false, "too early"},
		{5*time.Second + wait, true, "exactly the wait"},
		{5*time.Second + wait + 1, false, "the wait counts from the last reading"},
		{time.Second, false, "backwards"},
		{time.Second + wait - 1, false, "waiting anew"},
		{time.Second + wait, true, "recovered"},
	} {
		assert.Equal(t, row.want, p.Ready(row.at, wait), row.why)
	}
	p.Restart(2*time.Second, 3*wait)
	assert.False(t, p.Ready(2*time.Second+2*wait, wait), "a longer first wait")
	assert.True(t, p.Ready(2*time.Second+3*wait, wait))
}

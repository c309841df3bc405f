package thermocouple_test

import (
	"math"
	"testing"

	"calx/sensor/thermocouple"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestRelinearise makes what a linear chip would show and undoes it.
func TestRelinearise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		typ := anyType(t)
		lo, hi := typ.InverseRange()
		hotC := rapid.Float64Range(lo, hi).Draw(t, "hotC")
		coldC := rapid.Float64Range(0, 70).Draw(t, "coldC")
		slope := rapid.Float64Range(0.005, 0.08).Draw(t, "mV/°C")
		hot, err := typ.EMF(hotC)
		require.NoError(t, err)
		cold, err := typ.EMF(coldC)
		require.NoError(t, err)
		got := typ.Relinearise((hot-cold)/slope+coldC, coldC, slope)
		if math.IsNaN(got) { // rounding may pass either end
			require.True(t, hotC-lo < 1e-6 || hi-hotC < 1e-6, "%v °C", hotC)
			return
		}
		require.InDelta(t, hotC, got, 1e-6)
	})
	nan, inf := math.NaN(), math.Inf(1)
	for _, in := range [][3]float64{
		{nan, 25, 0.04}, {inf, 25, 0.04}, {-inf, 25, 0.04}, {500, nan, 0.04}, {500, inf, 0.04}, {500, -300, 0.04},
		{500, 25, nan}, {500, 25, inf}, {2000, 25, 0.04}, {-2000, 25, 0.04},
	} {
		assert.True(t, math.IsNaN(thermocouple.K.Relinearise(in[0], in[1], in[2])), "%v", in)
	}
	assert.True(t, math.IsNaN(thermocouple.Type('X').Relinearise(500, 25, 0.04)))
	lo, hi := thermocouple.Type('X').InverseRange()
	assert.True(t, math.IsNaN(lo) && math.IsNaN(hi))
}

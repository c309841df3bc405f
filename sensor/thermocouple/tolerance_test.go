package thermocouple_test

import (
	"math"
	"testing"

	"calx/sensor/thermocouple"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Figures worked by hand from IEC 60584-2, table 1 (now IEC 60584-1:2013); the
// rise of R and S above 1100 °C is from memory of that table.
func TestTolerance(t *testing.T) {
	for _, row := range []struct {
		typ         thermocouple.Type
		class       thermocouple.Class
		hotC, wantC float64
	}{
		{thermocouple.K, 1, 20, 1.5},
		{thermocouple.K, 1, 375, 1.5}, // where both terms meet
		{thermocouple.K, 1, 730, 2.92},
		{thermocouple.K, 2, 333, 2.5},
		{thermocouple.K, 2, 730, 5.475},
		{thermocouple.K, 2, 1200, 9},
		{thermocouple.K, 3, -200, 3},
		{thermocouple.N, 2, 1000, 7.5},
		{thermocouple.E, 1, 800, 3.2},
		{thermocouple.E, 2, 900, 6.75},
		{thermocouple.J, 1, 750, 3},
		{thermocouple.J, 2, 100, 2.5},
		{thermocouple.T, 1, 350, 1.4},
		{thermocouple.T, 2, 133, 1},
		{thermocouple.T, 3, -100, 1.5},
		{thermocouple.S, 1, 730, 1},
		{thermocouple.R, 1, 1600, 2.5},
		{thermocouple.S, 2, 730, 1.825},
		{thermocouple.R, 2, 600, 1.5},
		{thermocouple.B, 2, 1700, 4.25},
		{thermocouple.B, 3, 800, 4},
		{thermocouple.B, 3, 1000, 5},
	} {
		got, err := row.typ.Tolerance(row.class, row.hotC)
		require.NoError(t, err)
		assert.InDelta(t, row.wantC, got, 1e-9, "type %s class %d at %v °C", row.typ, row.class, row.hotC)
	}
}

func TestToleranceErrors(t *testing.T) {
	_, err := thermocouple.J.Tolerance(thermocouple.Class3, -20)
	assert.EqualError(t, err, "no such tolerance class 3 for type J in IEC 60584-1")
	for _, row := range []struct {
		typ   thermocouple.Type
		class thermocouple.Class
	}{{thermocouple.B, 1}, {thermocouple.R, 3}, {thermocouple.S, 3}, {thermocouple.K, 0}, {thermocouple.K, 4}} {
		_, err := row.typ.Tolerance(row.class, 700)
		assert.ErrorIs(t, err, thermocouple.ErrClass)
	}
	_, err = thermocouple.Type('X').Tolerance(1, 100)
	assert.ErrorIs(t, err, thermocouple.ErrType)
	_, err = thermocouple.K.Tolerance(1, 1100)
	assert.EqualError(t, err, "type K: 1100 °C is outside the class 1 tolerance range of -40 to 1000 °C")
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1)})).Draw(t, "hotC")
		class := thermocouple.Class(rapid.IntRange(1, 3).Draw(t, "class"))
		got, err := anyType(t).Tolerance(class, c)
		if err != nil {
			require.True(t, math.IsNaN(got))
			return
		}
		require.True(t, got >= 0.5 && got <= 9, "%v °C", got)
	})
}

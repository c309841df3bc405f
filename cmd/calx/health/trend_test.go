package health

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// norris is the data set Norris of the NIST Statistical Reference Datasets
// (linear regression, lower level of difficulty; J. Norris, calibration of ozone
// monitors), as y, x.
var norris = [][2]float64{
	{0.1, 0.2}, {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6}, {9.2, 10.1}, {228.1, 226.5}, {668.5, 666.3}, {998.5, 996.3}, {449.1, 448.6},
	{778.9, 777.0}, {559.2, 558.2}, {0.3, 0.4}, {0.1, 0.6}, {778.1, 775.5}, {668.8, 666.9}, {339.3, 338.0}, {448.9, 447.5}, {10.8, 11.6},
	{557.7, 556.0}, {228.3, 228.1}, {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2}, {0.3, 0.3}, {0.6, 0.3}, {557.6, 556.8},
	{339.3, 339.1}, {888.0, 887.2}, {998.5, 999.0}, {778.9, 779.0}, {10.2, 11.1}, {117.6, 118.3}, {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9}, {0.2, 0.5},
}

// Certified values of NIST StRD for Norris, all to fifteen figures.
func TestNorris(t *testing.T) {
	var x, y []float64
	for _, p := range norris {
		x, y = append(x, p[1]), append(y, p[0])
	}
	l, err := Fit(x, y)
	require.NoError(t, err)
	assert.Equal(t, 36, l.N)
	assert.InEpsilon(t, -0.262323073774029, l.Intercept, 1e-11)
	assert.InEpsilon(t, 1.00211681802045, l.Slope, 1e-13)
	assert.InEpsilon(t, 0.232818234301152, l.InterceptSE, 1e-11)
	assert.InEpsilon(t, 0.429796848199937e-3, l.SlopeSE, 1e-11)
	assert.InEpsilon(t, 0.884796396144373, l.ResidualSD, 1e-11)
	assert.True(t, l.Told())
	// At zero the line is its intercept, certified standard error and all.
	lo, hi := l.Band(0)
	assert.InEpsilon(t, l.t()*0.232818234301152, (hi-lo)/2, 1e-11)
}

// Student's t, two-sided 95 %: NIST/SEMATECH e-Handbook of Statistical Methods,
// table 1.3.6.7.2, column 0.975.
func TestStudent(t *testing.T) {
	for nu, want := range map[int]float64{1: 12.706, 2: 4.303, 5: 2.571, 10: 2.228, 30: 2.042, 100: 1.984} {
		assert.InDelta(t, want, Line{N: nu + 2}.t(), 5e-4, "%d", nu)
	}
}

// The place where a line crosses a value lies between the places where the
// edges of its confidence band do.
func TestCrossing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(4, 40).Draw(t, "n")
		slope := rapid.SampledFrom([]float64{-3, -0.4, 0.7, 5}).Draw(t, "slope")
		var x, y []float64
		for i := range n {
			x = append(x, float64(i))
			y = append(y, 10+slope*float64(i)+rapid.Float64Range(-0.5, 0.5).Draw(t, "noise"))
		}
		l, err := Fit(x, y)
		require.NoError(t, err)
		target := rapid.Float64Range(-100, 100).Draw(t, "target")
		at, lo, hi, ok := l.Crossing(target)
		if !ok {
			return
		}
		require.InDelta(t, target, l.At(at), 1e-6)
		require.LessOrEqual(t, lo, at+1e-9)
		require.GreaterOrEqual(t, hi, at-1e-9)
		for _, e := range []float64{lo, hi} {
			band := l.t() * l.ResidualSD * math.Sqrt(1/float64(n)+(e-l.meanX)*(e-l.meanX)/l.sxx)
			require.InDelta(t, band, math.Abs(target-l.At(e)), 1e-6*(1+band))
		}
	})
}

func TestNoTrendIsTold(t *testing.T) {
	_, err := Fit([]float64{1, 2}, []float64{1, 2})
	assert.ErrorIs(t, err, ErrFew)
	_, err = Fit([]float64{1, 1, 1}, []float64{1, 2, 3})
	assert.ErrorIs(t, err, ErrFew)
	l, err := Fit([]float64{0, 1, 2, 3}, []float64{1, 1.1, 0.9, 1})
	require.NoError(t, err)
	assert.False(t, l.Told())
	_, _, _, ok := l.Crossing(0)
	assert.False(t, ok)
}

package chart

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// curve draws a random curve with gaps.
func curve(t *rapid.T) ([]dot, time.Duration) {
	n := rapid.IntRange(1, 400).Draw(t, "n")
	out := make([]dot, n)
	var at time.Duration
	for i := range out {
		out[i] = dot{at, rapid.Float64Range(0, 1000).Draw(t, "v")}
		if rapid.IntRange(0, 9).Draw(t, "gap") == 0 {
			out[i].v = math.NaN()
		}
		at += time.Duration(rapid.IntRange(1, 3000).Draw(t, "dt")) * time.Millisecond
	}
	return out, max(out[n-1].t, time.Second)
}

func TestDecimateHidesNoSpike(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, end := curve(t)
		n := rapid.IntRange(1, 60).Draw(t, "columns")
		out := decimate(in, end, n)
		width := max(end/time.Duration(n), 1)
		extremes := func(ds []dot) (lo, hi map[time.Duration]float64) {
			lo, hi = map[time.Duration]float64{}, map[time.Duration]float64{}
			for _, d := range ds {
				if math.IsNaN(d.v) {
					continue
				}
				c := d.t / width
				if _, ok := lo[c]; !ok {
					lo[c], hi[c] = d.v, d.v
				}
				lo[c], hi[c] = min(lo[c], d.v), max(hi[c], d.v)
			}
			return lo, hi
		}
		wantLo, wantHi := extremes(in)
		gotLo, gotHi := extremes(out)
		assert.Equal(t, wantLo, gotLo, "lowest of each column")
		assert.Equal(t, wantHi, gotHi, "highest of each column")
		perColumn := map[time.Duration]int{}
		for i, d := range out {
			if i > 0 {
				assert.LessOrEqual(t, out[i-1].t, d.t, "order")
			}
			if !math.IsNaN(d.v) {
				perColumn[d.t/width]++
			}
		}
		for c, k := range perColumn {
			// a gap of a whole column can cut one column in two
			assert.LessOrEqual(t, k, 8, "column %d", c)
		}
	})
}

func TestDecimateKeepsWideGapsAndJoinsNarrowOnes(t *testing.T) {
	nan := math.NaN()
	at := func(s int, v float64) dot { return dot{time.Duration(s) * time.Second, v} }
	for _, tt := range []struct {
		name string
		in   []dot
		runs int
	}{
		{"none", []dot{at(0, 1), at(50, 2), at(100, 3)}, 1},
		{"one reading within a column", []dot{at(0, 1), at(1, nan), at(2, 2), at(100, 3)}, 1},
		{"three columns", []dot{at(0, 1), at(1, nan), at(40, 2), at(100, 3)}, 2},
		{"at both ends", []dot{at(0, nan), at(10, 2), at(90, 3), at(100, nan)}, 1},
		{"nothing but gaps", []dot{at(0, nan), at(100, nan)}, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			assert.Len(t, runs(decimate(tt.in, 100*time.Second, 10)), tt.runs)
		})
	}
}

func TestGapsReachFromGoodToGood(t *testing.T) {
	nan := math.NaN()
	in := []dot{{0, 1}, {10, nan}, {20, nan}, {30, 2}, {35, nan}, {38, 3}, {90, nan}}
	assert.Equal(t, []stretch{{0, 30}, {30, 38}, {38, 90}}, gaps(in, 0))
	assert.Equal(t, []stretch{{0, 90}}, gaps(in, 1))
	assert.Empty(t, gaps([]dot{{0, 1}}, 0))
}

// The mean over all columns is the integral of the held curve: nothing is lost
// or counted twice at the edges of columns.
func TestLevelsKeepTheIntegral(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, end := curve(t)
		n := rapid.IntRange(1, 50).Draw(t, "columns")
		for i := range in {
			if math.IsNaN(in[i].v) {
				in[i].v = 0
			}
		}
		want := 0.0
		for i := 1; i < len(in); i++ {
			want += in[i-1].v * float64(in[i].t-in[i-1].t)
		}
		ls := levels(in, end, n)
		got := 0.0
		for c, l := range ls {
			if math.IsNaN(l.mean) {
				continue
			}
			covered := min(float64(end)/float64(n)*float64(c+1), float64(in[len(in)-1].t)) - float64(end)/float64(n)*float64(c)
			got += l.mean * max(covered, 0)
			assert.LessOrEqual(t, l.low, l.mean+1e-9)
			assert.LessOrEqual(t, l.mean, l.high+1e-9)
		}
		// the last value stands for a nanosecond beyond the integral
		assert.InDelta(t, want, got, 1e-6*float64(end)*1000)
	})
}

func TestLevelsShowASinglePulse(t *testing.T) {
	in := make([]dot, 3600)
	for i := range in {
		in[i] = dot{time.Duration(i) * time.Second, 0}
	}
	in[1234].v = 1
	highest := 0.0
	for _, l := range levels(in, time.Hour, 10) {
		highest = max(highest, l.high)
	}
	assert.Equal(t, 1.0, highest)
	last := levels([]dot{{0, 0.2}, {time.Hour, 0.9}}, time.Hour, 4)
	require.Len(t, last, 4)
	assert.Equal(t, 0.9, last[3].high, "the reading at the very end")
}

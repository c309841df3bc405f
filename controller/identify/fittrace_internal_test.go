package identify

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func never(float64) float64 { return math.Inf(1) }

// Whatever a log holds, a trace of it is bounded, its duties are shares, and
// the heat in it is that of the samples.
func TestTraceOfAnything(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		odd := rapid.OneOf(rapid.Float64Range(-1e4, 1e4), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1)}))
		rec := Recorded{Name: "x", RoomC: odd.Draw(r, "room")}
		at := time.Duration(0)
		for range rapid.IntRange(0, 60).Draw(r, "n") {
			at += time.Duration(rapid.Int64Range(-1e9, 400e9).Draw(r, "after"))
			rec.Samples = append(rec.Samples, Sample{At: at, HotC: odd.Draw(r, "hot"), On: odd.Draw(r, "on"), Door: odd.Draw(r, "door")})
		}
		tr := newTrace(rec, never)
		require.LessOrEqual(r, len(tr.steps), mostSteps)
		for _, s := range tr.steps {
			require.True(r, s.on >= 0 && s.on <= 1 && s.door >= 0 && s.door <= 1)
		}
	})
}

func TestTraceKeepsTheHeat(t *testing.T) {
	rec := Recorded{Name: "x", RoomC: 20}
	want := 0.0
	for s := range 3600 {
		on := float64(s * 7 % 3 / 2)
		want += on
		rec.Samples = append(rec.Samples, Sample{At: time.Duration(s) * time.Second, HotC: 20, On: on, Door: math.NaN()})
	}
	tr := newTrace(rec, never)
	_, _, _, onS := tr.extent()
	assert.InDelta(t, want, onS, 10)
	h, _, _, _ := tr.extent()
	assert.InDelta(t, 1, h, 0.01)
}

// A gap is without heat, and neither it nor the time after it tells anything; a
// glitch of a few seconds is bridged.
func TestTraceWithGaps(t *testing.T) {
	rec := Recorded{Name: "x", RoomC: 20}
	for s := 0; s < 6*3600; s++ {
		if s >= 3*3600 && s < 3*3600+600 {
			continue
		}
		hot := 20.0
		if s > 3600 && s < 3625 {
			hot = math.NaN()
		}
		rec.Samples = append(rec.Samples, Sample{At: time.Duration(s) * time.Second, HotC: hot, On: 1, Door: math.NaN()})
	}
	tr := newTrace(rec, never)
	assert.Equal(t, 20.0, tr.steps[361].hotC, "bridged")
	assert.Zero(t, tr.steps[1100].on, "no heat in a gap")
	assert.False(t, tr.steps[1100].told())
	h, _, _, _ := tr.extent()
	assert.InDelta(t, 6-(600+recoverS)/3600.0, h, 0.02)
}

// The autocorrelation time of an autoregression of first order is
// (1+a)/(1-a): Sokal, Monte Carlo Methods in Statistical Mechanics, 1989,
// section 3, for an exponential.
func TestAutocorrelation(t *testing.T) {
	const a = 0.8
	v, seed := make([]float64, 20000), uint64(1)
	for i := 1; i < len(v); i++ {
		seed = seed*6364136223846793005 + 1442695040888963407 // Knuth's MMIX generator
		v[i] = a*v[i-1] + float64(seed>>11)/(1<<53) - 0.5
	}
	assert.InEpsilon(t, (1+a)/(1-a), autocorrelation([][]float64{v}, math.Inf(1)), 0.15)
}

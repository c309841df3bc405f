package identify_test

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller/guard"
	"calx/controller/identify"
	"calx/controller/law"
	"calx/sim/kiln"
)

const roomC = 20

// shipped are the kilns that come with calx; some of them under -short.
func shipped(t testing.TB) map[string]kiln.Params {
	out := map[string]kiln.Params{}
	names := kiln.Shipped()
	if testing.Short() {
		names = names[:3]
	}
	for _, n := range names {
		text, err := kiln.ShippedFile(n)
		require.NoError(t, err)
		out[n], err = kiln.Load(n, text)
		require.NoError(t, err)
	}
	return out
}

func TestPlantOfEveryShippedKiln(t *testing.T) {
	for name, p := range shipped(t) {
		plant := identify.Plant(p, roomC)
		require.NoError(t, plant.Check(), name)
		assert.Equal(t, p.RatedW(), plant.PowerW, name)
		assert.GreaterOrEqual(t, plant.Points[len(plant.Points)-1].TempC, p.MaxC(), "%s: tabled up to its maximum", name)
		for i, q := range plant.Points {
			require.LessOrEqual(t, len(q.Nodes), law.MaxNodes)
			if i == 0 {
				continue
			}
			was := plant.Points[i-1]
			if was.TempC >= 100 { // below, the wire's heat capacity grows faster than it radiates
				assert.Less(t, q.ElementLagS, was.ElementLagS, "%s: radiation makes a hot wire quicker, %g °C", name, q.TempC)
			}
			assert.Less(t, q.ProbeLagS, was.ProbeLagS, "%s: and a hot probe, %g °C", name, q.TempC)
		}
		_, err := law.New(plant, law.Options{})
		assert.NoError(t, err, name)
	}
}

// stepRise is the rise of the junction after a step of duty by 0.1, from a kiln
// at rest at tC, at each of the times, °C. The whole kiln and its condensed
// plant answer side by side.
func stepRise(t testing.TB, p kiln.Params, plant law.Plant, tC float64, at []time.Duration) (whole, condensed []float64) {
	const by = 0.1
	rest := p.Balance(tC, roomC)
	calm, moved := kiln.New(p, roomC), kiln.New(p, roomC)
	require.NoError(t, calm.Restore(rest.State))
	require.NoError(t, moved.Restore(rest.State))
	l, err := law.New(plant, law.Options{})
	require.NoError(t, err)
	low, high := l.Start(tC), l.Start(tC)
	low.Duty, high.Duty = rest.Duty, rest.Duty+by
	for s, k := 1, 0; k < len(at); s++ {
		calm.Step(1, kiln.Input{On: rest.Duty, MainsRatio: 1, AmbientC: roomC})
		moved.Step(1, kiln.Input{On: rest.Duty + by, MainsRatio: 1, AmbientC: roomC})
		low, high = l.Advance(low, low.Duty), l.Advance(high, high.Duty)
		if time.Duration(s)*time.Second == at[k] {
			whole = append(whole, moved.JunctionC()-calm.JunctionC())
			condensed = append(condensed, l.MeanC(high)-l.MeanC(low))
			k++
		}
	}
	return whole, condensed
}

// The handful of stores that the law works with answers a step of duty as the
// whole kiln does, over the half hour that the law looks ahead.
func TestCondensedPlantAnswersAsTheKilnDoes(t *testing.T) {
	t.Parallel()
	const part, leastC = 0.2, 0.8
	at := []time.Duration{time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 30 * time.Minute}
	t.Logf("%-24s %5s  rise of the junction in °C, kiln/plant, after %v", "kiln", "°C", at)
	all := shipped(t)
	for _, name := range slices.Sorted(maps.Keys(all)) {
		p := all[name]
		plant := identify.Plant(p, roomC)
		for _, tC := range []float64{150, 400, 700} {
			whole, condensed := stepRise(t, p, plant, tC, at)
			t.Logf("%-24s %5.0f  %s", name, tC, pairs(whole, condensed))
			for i := range at {
				assert.InDelta(t, whole[i], condensed[i], part*whole[i]+leastC, "%s at %g °C after %v", name, tC, at[i])
			}
		}
	}
}

func pairs(whole, condensed []float64) string {
	var b strings.Builder
	for i := range whole {
		fmt.Fprintf(&b, " %6.2f/%-6.2f", whole[i], condensed[i])
	}
	return b.String()
}

func TestResponse(t *testing.T) {
	t.Parallel()
	for name, p := range shipped(t) {
		plant := identify.Plant(p, roomC)
		r := identify.Response(p, plant)
		require.Len(t, r, len(plant.Points))
		env := p.Envelope(roomC)
		for i, x := range r {
			q := plant.Points[i]
			assert.Equal(t, q.TempC, x.TempC)
			assert.InDelta(t, q.ElementLagS+q.ProbeLagS, x.LagS, 1e-9)
			assert.Equal(t, math.Max(env.FullPowerRate(q.TempC), 0), x.FullCPerH)
			assert.True(t, x.CoastC >= 0 && x.CoastC < 80, "%s coasts by %g °C at %g °C", name, x.CoastC, x.TempC)
		}
		assert.Greater(t, r[0].CoastC, 10.0, "%s: a cold probe lags far behind", name)
		assert.Less(t, r[len(r)-1].CoastC, 1.0, "%s: a hot one does not", name)
	}
}

func TestGuard(t *testing.T) {
	p := shipped(t)["bench-9l-brick"]
	l := identify.Guard(p, identify.Plant(p, roomC))
	assert.Equal(t, p.MaxC(), l.MaxC)
	assert.Equal(t, guard.DefaultLimits(p.MaxC()).NoReadingS, l.NoReadingS)
	assert.NotEmpty(t, l.Response)
}

// A colder room takes more to heat, and changes nothing else.
func TestRoom(t *testing.T) {
	p := shipped(t)["bench-9l-brick"]
	cold := identify.Plant(p, -10)
	assert.Equal(t, -10.0, cold.AmbientC)
	require.NoError(t, cold.Check())
	assert.Equal(t, identify.Plant(p, roomC).Points[5].ProbeLagS, cold.Points[5].ProbeLagS)
}

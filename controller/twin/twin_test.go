package twin

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/kiln"
)

func shipped(tb testing.TB, name string) kiln.Params {
	text, err := kiln.ShippedFile(name)
	require.NoError(tb, err)
	p, err := kiln.Load(name, text)
	require.NoError(tb, err)
	return p
}

// pair is a kiln and its twin, ticked together.
type pair struct {
	k *kiln.Kiln
	t *Twin
	s State
}

func newPair(tb testing.TB) *pair {
	p := shipped(tb, "bench-9l-brick")
	return &pair{k: kiln.New(p, 20), t: New(p, 20)}
}

// run ticks n seconds: the relay is commanded on for a share of each, and heats
// with real.
func (p *pair) run(n int, on, real float64) {
	for range n {
		p.k.Step(1, kiln.Input{On: real, MainsRatio: 1, AmbientC: 20})
		p.s = p.t.After(p.s, Tick{DtS: 1, OnS: on, ChamberC: p.k.JunctionC(), ColdC: 20, Doubt: 0.1})
	}
}

// The twin of the same kiln, with steps of 5 s instead of 1 s, stays with it.
func TestTwinStaysWithItsKiln(t *testing.T) {
	p := newPair(t)
	p.run(3*3600, 0.3, 0.3)
	assert.InDelta(t, p.k.JunctionC(), p.s.Open.JunctionC(), 2)
	assert.InDelta(t, 0, p.s.Older.SeenC, 0.5)
	assert.InDelta(t, 1, p.s.Arrives.Share, 0.05)
	assert.Less(t, p.s.Cold.JunctionC(), p.k.JunctionC())
}

func TestWeldedRelayIsSurplus(t *testing.T) {
	p := newPair(t)
	p.run(3600, 0.3, 0.3)
	p.run(60, 0, 1)
	assert.Greater(t, p.s.Older.SurplusShare(), 0.75)
	assert.Greater(t, p.s.Older.FullC, 8.0)
}

func TestNoHeatIsMissing(t *testing.T) {
	p := newPair(t)
	p.run(3600, 0.3, 0.3)
	p.run(70, 1, 0)
	assert.InDelta(t, 1, p.s.Older.MissingShare(), 0.3)
	assert.Greater(t, p.s.Older.GivenC, 14.0)
}

// What a lying probe hides is seen in Open, which hears no reading.
func TestOpenHearsNoReading(t *testing.T) {
	p := newPair(t)
	for range 3 * 3600 {
		p.k.Step(1, kiln.Input{On: 0.3, MainsRatio: 1, AmbientC: 20})
		p.s = p.t.After(p.s, Tick{DtS: 1, OnS: 0.3, ChamberC: 20 + 0.85*(p.k.JunctionC()-20), ColdC: 20, Doubt: 0.1})
	}
	assert.InDelta(t, p.k.JunctionC(), p.s.MayBeC(), 3)
}

// Through a gap the twin cools as the kiln does.
func TestGapCools(t *testing.T) {
	p := newPair(t)
	p.run(3600, 0.5, 0.5)
	p.k.Step(1, kiln.Input{AmbientC: 20, MainsRatio: 1})
	for range 1799 {
		p.k.Step(1, kiln.Input{AmbientC: 20, MainsRatio: 1})
	}
	p.s = p.t.After(p.s, Tick{DtS: 1800, ChamberC: math.NaN(), ColdC: 20})
	assert.InDelta(t, p.k.JunctionC(), p.s.Open.JunctionC(), 5)
}

func TestStateSurvivesTheSnapshot(t *testing.T) {
	p := newPair(t)
	p.run(1000, 0.3, 0.3)
	text, err := json.Marshal(p.s)
	require.NoError(t, err)
	var back State
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, p.s, back, "bit for bit")
	assert.Less(t, len(text), 6000)
	assert.Error(t, new(Body).UnmarshalText([]byte("no body")))
}

// A state of another kiln, or one that is spoilt, begins anew and does no harm.
func TestForeignState(t *testing.T) {
	p := newPair(t)
	p.s = State{Open: Body{1, 2}, Closed: Body{math.NaN()}}
	p.run(20, 0.3, 0.3)
	assert.InDelta(t, p.k.JunctionC(), p.s.Open.JunctionC(), 2)
}

func BenchmarkAfter(b *testing.B) {
	p := newPair(b)
	p.run(100, 0.3, 0.3)
	for b.Loop() {
		p.s = p.t.After(p.s, Tick{DtS: 1, OnS: 0.3, ChamberC: 60, ColdC: 20, Doubt: 0.1})
	}
}

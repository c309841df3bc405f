package kiln_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/sim/kiln"
)

func anyKiln(t *rapid.T, tb testing.TB) kiln.Params {
	return load(tb, rapid.SampledFrom(kiln.Shipped()).Draw(t, "kiln"))
}

func anyInput(t *rapid.T) kiln.Input {
	return kiln.Input{
		On:         rapid.Float64Range(0, 1).Draw(t, "on"),
		MainsRatio: rapid.Float64Range(0.8, 1.2).Draw(t, "mains"),
		DoorOpen:   rapid.SampledFrom([]float64{0, 0, 0.3, 1}).Draw(t, "door"),
		AirOn:      rapid.Bool().Draw(t, "air"),
		AmbientC:   rapid.Float64Range(-10, 40).Draw(t, "ambient"),
		LoadHeatW:  rapid.Float64Range(-100, 1500).Draw(t, "load heat"),
	}
}

// bodies lists every temperature of a state.
func bodies(s kiln.State) []float64 {
	return append([]float64{s.ElementC, s.HotFaceC, s.LoadC, s.LoadCoreC, s.SheathC, s.JunctionC, s.GasC, s.ShellC}, s.WallC...)
}

func TestEnergyBalance(t *testing.T) {
	rapid.Check(t, func(t2 *rapid.T) {
		k := kiln.New(anyKiln(t2, t), 20)
		start, dt := k.StoredJ(), rapid.SampledFrom([]float64{0.25, 1, 10}).Draw(t2, "dt")
		for range 10 {
			in := anyInput(t2)
			for range 100 {
				k.Step(dt, in)
			}
		}
		in := k.EnergyJ() + k.State().LoadHeatJ
		open := k.StoredJ() - start - in + k.LostJ()
		if turned := k.EnergyJ() + k.LostJ(); math.Abs(open) > 1e-9*turned {
			t2.Fatalf("%g J of %g J are unaccounted for", open, turned)
		}
	})
}

// With no heat no body passes the hottest start or the room, either way.
func TestNothingPassesTheHottest(t *testing.T) {
	rapid.Check(t, func(t2 *rapid.T) {
		k := kiln.New(anyKiln(t2, t), 20)
		for range rapid.IntRange(0, 5).Draw(t2, "stretches") {
			in := anyInput(t2)
			for range 120 {
				k.Step(5, in)
			}
		}
		in := anyInput(t2)
		in.On, in.LoadHeatW = 0, 0
		low, high := in.AmbientC, in.AmbientC
		for _, c := range bodies(k.State()) {
			low, high = math.Min(low, c), math.Max(high, c)
		}
		dt := rapid.SampledFrom([]float64{0.25, 1, 10}).Draw(t2, "dt")
		for range 100 {
			k.Step(dt, in)
			for i, c := range bodies(k.State()) {
				if !(c >= low-1e-6 && c <= high+1e-6) {
					t2.Fatalf("body %d is at %g C, outside %g to %g", i, c, low, high)
				}
			}
		}
	})
}

// More power never leaves a body cooler.
func TestMonotoneInPower(t *testing.T) {
	rapid.Check(t, func(t2 *rapid.T) {
		p := anyKiln(t2, t)
		less, more := kiln.New(p, 20), kiln.New(p, 20)
		for range 15 {
			in := anyInput(t2)
			extra := in
			extra.On = math.Min(1, in.On+rapid.Float64Range(0, 0.5).Draw(t2, "extra"))
			for range 30 {
				less.Step(1, in)
				more.Step(1, extra)
			}
			a, b := bodies(less.State()), bodies(more.State())
			for i := range a {
				if b[i] < a[i]-1e-6 {
					t2.Fatalf("body %d: %g C with more power, %g C with less", i, b[i], a[i])
				}
			}
		}
	})
}

func TestRestoreGoesOnBitForBit(t *testing.T) {
	p := load(t, "studio-40l-brick")
	in := kiln.Input{On: 0.7, MainsRatio: 1.02, AmbientC: 18, AirOn: true}
	a, b := kiln.New(p, 20), kiln.New(p, 5)
	for range 5000 {
		a.Step(1, in)
	}
	require.NoError(t, b.Restore(a.State()))
	for range 5000 {
		a.Step(1, in)
		b.Step(1, in)
	}
	assert.Equal(t, a.State(), b.State())

	bad := a.State()
	bad.WallC = bad.WallC[1:]
	assert.ErrorContains(t, b.Restore(bad), "it belongs to another kiln")
	bad = a.State()
	bad.LoadC = math.NaN()
	assert.ErrorContains(t, b.Restore(bad), "not a finite number")
	assert.Equal(t, a.State(), b.State())
}

func TestBadInputIsNoHeat(t *testing.T) {
	p := load(t, "bench-9l-brick")
	k := kiln.New(p, 20)
	nan, inf := math.NaN(), math.Inf(1)
	k.Step(1, kiln.Input{On: nan, MainsRatio: 1, AmbientC: 20})
	k.Step(1, kiln.Input{On: -1, MainsRatio: 1, AmbientC: 20})
	k.Step(1, kiln.Input{On: 1, MainsRatio: nan, AmbientC: nan, LoadHeatW: inf, DoorOpen: nan})
	assert.Zero(t, k.EnergyJ())
	assert.InDelta(t, 20, k.JunctionC(), 1e-9)
	before := k.State()
	for _, dt := range []float64{0, -1, nan, inf} {
		k.Step(dt, kiln.Input{On: 1, MainsRatio: 1})
	}
	assert.Equal(t, before, k.State())
	k.Step(1, kiln.Input{On: 5, MainsRatio: 1, AmbientC: 20})
	assert.InEpsilon(t, 230*230/p.Elements.ResistanceOhm(20), k.PowerW(), 1e-6, "more than on is on")
}

func TestDoorAirAndBurningMatter(t *testing.T) {
	p := load(t, "bench-9l-brick")
	soaked := p.Balance(700, 20).State
	after := func(in kiln.Input) float64 {
		k := kiln.New(p, 20)
		require.NoError(t, k.Restore(soaked))
		in.AmbientC = 20
		for range 300 {
			k.Step(1, in)
		}
		return k.JunctionC()
	}
	shut := after(kiln.Input{})
	assert.Less(t, after(kiln.Input{DoorOpen: 1}), shut-50)
	assert.Less(t, after(kiln.Input{AirOn: true}), shut-1)
	assert.Greater(t, after(kiln.Input{LoadHeatW: 500}), shut+5)
}

// Balance against the model itself, 10 h later.
func TestBalanceHolds(t *testing.T) {
	for _, name := range kiln.Shipped() {
		p := load(t, name)
		b := p.Balance(600, 20)
		require.True(t, b.Duty > 0.05 && b.Duty < 1, name)
		assert.Equal(t, b.Duty, p.BalanceDuty(600), name)
		k := kiln.New(p, 20)
		require.NoError(t, k.Restore(b.State))
		for range 3600 {
			k.Step(10, kiln.Input{On: b.Duty, MainsRatio: 1, AmbientC: 20})
		}
		assert.InDelta(t, 600, k.JunctionC(), 1e-3, name)
		assert.InDelta(t, b.ElementC, k.ElementC(), 1e-2, name)
	}
	p := load(t, "bench-9l-brick")
	assert.Zero(t, p.BalanceDuty(20))
	last := 0.0
	for tC := 30.0; tC <= 1400; tC += 10 {
		duty := p.BalanceDuty(tC)
		require.Greater(t, duty, last, "at %g C", tC)
		last = duty
	}
}

// The shipped kilns heat as kilns of their size do (common practice, no
// source): small fibre within the hour, 150 L of brick in a morning, and the
// 120 V ones run out of breath.
func TestShippedKilnsAreRealistic(t *testing.T) {
	minutesTo := func(name string, tC float64) float64 {
		p := load(t, name)
		k := kiln.New(p, 20)
		for s := 5; s < 12*3600; s += 5 {
			k.Step(5, kiln.Input{On: 1, MainsRatio: 1, AmbientC: 20})
			if k.JunctionC() >= tC {
				return float64(s) / 60
			}
		}
		return math.Inf(1)
	}
	assert.InDelta(t, 75, minutesTo("jewellery-3l-fibre", 1000), 15)
	assert.InDelta(t, 300, minutesTo("studio-150l-brick", 1000), 60)
	assert.Greater(t, minutesTo("bench-12l-brick-120v", 920), 600.0)

	weak := load(t, "bench-12l-brick-120v").Envelope(20)
	assert.Less(t, weak.TopC, 950.0)
	assert.Less(t, weak.FullPowerRate(730), 120.0)
	assert.Zero(t, weak.FullPowerRate(1000))
	assert.Greater(t, load(t, "studio-60l-fibre").FullPowerRate(730), 120.0)
}

func TestEnvelopeRates(t *testing.T) {
	p := load(t, "bench-9l-brick")
	e := p.Envelope(20)
	assert.InDelta(t, p.MaxC(), e.TopC, 2)
	for tC := 500.0; tC < 1100; tC += 50 {
		assert.Greater(t, e.FullPowerRate(tC), e.FullPowerRate(tC+50), "at %g C", tC)
		assert.Less(t, e.CoolRate(tC), e.CoolRate(tC+50), "at %g C", tC)
	}
	assert.Zero(t, e.CoolRate(15))
	assert.Equal(t, e.CoolRate(400), p.CoolRate(400))
	assert.Zero(t, kiln.Envelope{}.FullPowerRate(-1))
}

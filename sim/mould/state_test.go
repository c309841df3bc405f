package mould_test

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/mould"
)

func model(t testing.TB, names ...string) *mould.Model {
	t.Helper()
	var list []mould.Params
	for _, name := range names {
		list = append(list, load(t, name))
	}
	m, err := mould.New(list, mould.Env{Air: mould.DefaultKilnAir})
	require.NoError(t, err)
	return m
}

// climb is 100 K/h to 720 °C.
func climb(tS float64) (float64, bool) { return math.Min(20+tS/36, 720), false }

// same compares states as stored.
func same(t *testing.T, want, got mould.State, about string) {
	t.Helper()
	a, err := want.MarshalBinary()
	require.NoError(t, err)
	b, err := got.MarshalBinary()
	require.NoError(t, err)
	assert.Equal(t, a, b, about)
}

// A state stored and read back goes on bit for bit, at any second.
func TestResumeBitForBit(t *testing.T) {
	m := model(t, "woody-pod-90", "branch-bare-100")
	whole := m.Start(20)
	cut := m.Start(20)
	for n := 1; n <= 7*3600; n++ {
		c, _ := climb(float64(n))
		m.Step(&whole, 1, c, n%7 == 0)
		m.Step(&cut, 1, c, n%7 == 0)
		switch n {
		case 4*3600 + 3:
			data, err := cut.MarshalBinary()
			require.NoError(t, err)
			cut = mould.State{}
			require.NoError(t, cut.UnmarshalBinary(data))
			require.NoError(t, m.CheckState(&cut))
		case 5*3600 + 17:
			data, err := json.Marshal(cut)
			require.NoError(t, err)
			cut = mould.State{}
			require.NoError(t, json.Unmarshal(data, &cut))
		case 6*3600 + 1:
			cut = cut.Clone()
		}
	}
	same(t, whole, cut, "after three interruptions")
}

func TestCloneSharesNothing(t *testing.T) {
	m := model(t, "woody-pod-90")
	s := m.Start(20)
	before, err := s.MarshalBinary()
	require.NoError(t, err)
	c := s.Clone()
	m.Step(&c, 3600, 700, false)
	after, err := s.MarshalBinary()
	require.NoError(t, err)
	assert.Equal(t, before, after)
}

func TestUnmarshalRefuses(t *testing.T) {
	s := model(t, "woody-pod-90").Start(20)
	data, err := s.MarshalBinary()
	require.NoError(t, err)
	var got mould.State
	for n := range len(data) {
		if n > 200 && n%97 != 0 {
			continue
		}
		assert.Error(t, got.UnmarshalBinary(data[:n]), n)
	}
	assert.ErrorContains(t, got.UnmarshalBinary(append(data, 0)), "1 bytes too many")
	data[0] = 9
	assert.ErrorContains(t, got.UnmarshalBinary(data), "version 9 is not known")
	assert.Equal(t, mould.State{}, got, "a failed read changes nothing")
	assert.ErrorContains(t, model(t, "cone-150", "woody-pod-90").CheckState(&s), "holds 1 kinds of mould, the files hold 2")
	s.Flasks[0].Heat[3] = math.NaN()
	assert.ErrorContains(t, model(t, "woody-pod-90").CheckState(&s), "not finite")
}

// Samples a second, 20 s or an hour apart tell the same story of a straight
// ramp, and a forecast foretells what the observer then sees.
func TestStepAndForecastAgree(t *testing.T) {
	m := model(t, "woody-pod-90")
	fine, coarse := m.Start(20), m.Start(20)
	for n := 1; n <= 10*3600; n++ {
		c, _ := climb(float64(n))
		m.Step(&fine, 1, c, false)
		if n%3600 == 0 {
			m.Step(&coarse, 3600, c, false)
		}
	}
	foretold := m.Forecast(m.Start(20), climb, 10*3600, 600, func(float64, *mould.Reading) bool { return true })
	want := m.Read(&fine).Flasks[0]
	for about, s := range map[string]mould.State{"hourly": coarse, "forecast": foretold} {
		got := m.Read(&s).Flasks[0]
		assert.InDelta(t, want.CoreC, got.CoreC, 0.2, about)
		assert.InDelta(t, want.DryS, got.DryS, 30, about)
		assert.InDelta(t, want.ClearS, got.ClearS, 60, about)
	}
}

func TestForecastStops(t *testing.T) {
	m := model(t, "woody-pod-90")
	calls := 0
	var atS float64
	end := m.Forecast(m.Start(20), climb, 24*3600, 300, func(tS float64, r *mould.Reading) bool {
		calls++
		atS = tS
		return r.Flasks[0].ClearS < 0
	})
	assert.Equal(t, atS, end.TimeS)
	assert.Less(t, end.TimeS, 12*3600.0)
	assert.InDelta(t, end.TimeS/300, calls, 2)
}

func TestStepDoesNotAllocate(t *testing.T) {
	m := model(t, "woody-pod-90", "cone-150")
	s := m.Start(20)
	var r mould.Reading
	m.Step(&s, 20, 25, false)
	m.ReadInto(&s, &r)
	tS := 20.0
	assert.Zero(t, testing.AllocsPerRun(500, func() {
		tS += 20
		c, _ := climb(tS)
		m.Step(&s, 20, c, false)
		m.ReadInto(&s, &r)
	}))
}

// A sample that cannot be changes nothing but the clock.
func TestBadSamples(t *testing.T) {
	m := model(t, "woody-pod-90")
	s := m.Start(20)
	for _, c := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		m.Step(&s, 60, c, false)
	}
	m.Step(&s, math.NaN(), 700, false)
	m.Step(&s, -5, 700, false)
	m.Step(&s, math.Inf(1), 700, false)
	require.NoError(t, m.CheckState(&s))
	assert.InDelta(t, 20, m.Read(&s).Flasks[0].CoreC, 1e-6)
	assert.Equal(t, 180.0, s.TimeS)
}

// Monte Carlo over the pieces gives what whole runs give.
func TestBurnEqualsForecast(t *testing.T) {
	m := model(t, "woody-pod-90", "branch-bare-100")
	track := m.Track(m.Start(20), climb, 24*3600)
	for _, v := range []mould.Variation{mould.Nominal, {Access: 0.6, Kinetics: 3, Section: 1.2, Conductivity: 1}} {
		varied := m.Vary(v)
		burnt := varied.Burn(track)
		end := varied.Forecast(varied.Start(20), climb, 24*3600, 24*3600, func(float64, *mould.Reading) bool { return true })
		for i, f := range varied.Read(&end).Flasks {
			for n, p := range f.Pieces {
				assert.InEpsilon(t, p.ClearS, burnt.ClearS[i][n], 0.01, "%+v %s %s", v, f.Name, p.Material)
			}
		}
	}
	assert.Equal(t, -1.0, m.Burn(m.Track(m.Start(20), climb, 3600)).LastClearS, "an hour is not enough")
}

func Example() {
	data, err := mould.ShippedFile("woody-pod-90")
	if err != nil {
		panic(err)
	}
	p, err := mould.Load("woody-pod-90.yaml", data)
	if err != nil {
		panic(err)
	}
	m, err := mould.New([]mould.Params{p}, mould.Env{Air: mould.DefaultKilnAir})
	if err != nil {
		panic(err)
	}
	history := func(tS float64) (chamberC float64, airOn bool) { return math.Min(20+tS/36, 720), false }
	end := m.Forecast(m.Start(20), history, 24*3600, 24*3600, func(float64, *mould.Reading) bool { return true })
	f := m.Read(&end).Flasks[0]
	fmt.Printf("dry after %.1f h, clear after %.1f h\n", f.DryS/3600, f.ClearS/3600)
	// Output:
	// dry after 4.4 h, clear after 7.4 h
}

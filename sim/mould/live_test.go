package mould_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/mould"
)

// More air, more access and thinner pieces never take longer; all that is
// common practice says air is what a mould is short of.
func TestWhatHelps(t *testing.T) {
	base := load(t, "cone-150")
	clear := func(change func(*mould.Params, *mould.Env)) float64 {
		p, e := base, mould.Env{Air: mould.DefaultKilnAir}
		change(&p, &e)
		m, err := mould.New([]mould.Params{p}, e)
		require.NoError(t, err)
		return m.Burn(m.Track(m.Start(20), climb, 60*3600)).LastClearS / 3600
	}
	usual := clear(func(*mould.Params, *mould.Env) {})
	better := map[string]float64{
		"bare":          clear(func(p *mould.Params, _ *mould.Env) { p.Flask.Sleeve = mould.SleeveNone }),
		"perforated":    clear(func(p *mould.Params, _ *mould.Env) { p.Flask.Sleeve = mould.SleevePerforated }),
		"wide sprue":    clear(func(p *mould.Params, _ *mould.Env) { p.Sprue.Diameter *= 1.5 }),
		"more kiln air": clear(func(_ *mould.Params, e *mould.Env) { e.Air.ChangesPerH = 20 }),
	}
	worse := map[string]float64{
		"blocked sprue": clear(func(p *mould.Params, _ *mould.Env) { p.Sprue.Open = false }),
		"on a shelf":    clear(func(p *mould.Params, _ *mould.Env) { p.Flask.Stands = mould.OnShelf }),
	}
	for name, h := range better {
		assert.Less(t, h, usual, name)
	}
	for name, h := range worse {
		assert.Greater(t, h, usual, name)
	}
	t.Logf("cone in 150 mm: %.1f h; better %v; worse %v", usual, better, worse)
}

// A witness pulls a model with the wrong conductivity to the truth, and the
// books still balance.
func TestCorrect(t *testing.T) {
	truth := model(t, "woody-pod-90")
	wrong := truth.Vary(mould.Variation{Access: 1, Kinetics: 1, Section: 1, Conductivity: 0.75})
	real, alone, helped := truth.Start(20), wrong.Start(20), wrong.Start(20)
	stored := wrong.StoredJ(&helped, 0)
	sumAlone, sumHelped := 0.0, 0.0
	for n := 1; n <= 8*3600; n++ {
		c, _ := climb(float64(n))
		truth.Step(&real, 1, c, false)
		wrong.Step(&alone, 1, c, false)
		wrong.Step(&helped, 1, c, false)
		if n%5 == 0 {
			witness := truth.Read(&real).Flasks[0].CoreC
			wrong.Correct(&helped, 0, witness+2*math.Sin(float64(n)/50))
			sumAlone += math.Abs(wrong.Read(&alone).Flasks[0].CoreC - witness)
			sumHelped += math.Abs(wrong.Read(&helped).Flasks[0].CoreC - witness)
		}
	}
	count := 8 * 3600.0 / 5
	t.Logf("mean error of the core: %.1f K alone, %.1f K with a witness", sumAlone/count, sumHelped/count)
	assert.Less(t, sumHelped, sumAlone/3)
	// While the core boils it tells nothing; the time it ends is what helps.
	dryS := func(m *mould.Model, s *mould.State) float64 { return m.Read(s).Flasks[0].DryS }
	offAlone, offHelped := dryS(wrong, &alone)-dryS(truth, &real), dryS(wrong, &helped)-dryS(truth, &real)
	t.Logf("dry off by %.0f s alone, %.0f s with a witness", offAlone, offHelped)
	assert.Less(t, math.Abs(offHelped), math.Abs(offAlone)/2)
	f := helped.Flasks[0]
	gained := wrong.StoredJ(&helped, 0) - stored
	assert.InEpsilon(t, gained, f.InJ+f.CorrectedJ, 1e-9)
	before, err := helped.MarshalBinary()
	require.NoError(t, err)
	wrong.Correct(&helped, 0, math.NaN())
	wrong.Correct(&helped, 5, 100)
	after, err := helped.MarshalBinary()
	require.NoError(t, err)
	assert.Equal(t, before, after, "no witness, no change")
}

// Common practice: pour within minutes; a flask loses its surface fast while
// its core lags, and a large one holds longer.
func TestPourWindow(t *testing.T) {
	at := func(name string, limitC float64) mould.Window {
		m := model(t, name)
		s := m.Start(20)
		s = m.Forecast(s, func(tS float64) (float64, bool) { return math.Min(20+tS/36, 540), false }, 30*3600, 30*3600,
			func(float64, *mould.Reading) bool { return true })
		return m.PourWindow(&s, 0, 20, limitC, 4*3600)
	}
	small, large := at("thin-leaf-65", 450), at("cone-150", 450)
	t.Logf("540 to 450 C: 65 mm core %.0f s, surface %.0f s; 150 mm core %.0f s, surface %.0f s", small.CoreS, small.SurfaceS, large.CoreS, large.SurfaceS)
	assert.Greater(t, small.CoreS, 3*small.SurfaceS)
	assert.Greater(t, large.CoreS, 2*small.CoreS)
	assert.Less(t, small.SurfaceS, 300.0)
	assert.Equal(t, mould.Window{}, at("thin-leaf-65", 600), "colder than the limit from the start")
	assert.Equal(t, 14400.0, at("thin-leaf-65", 10).CoreS, "never that cold")
}

func TestReadTells(t *testing.T) {
	m := model(t, "test-plug-60")
	stages := map[mould.Stage]bool{}
	var last mould.Reading
	m.Forecast(m.Start(20), climb, 16*3600, 300, func(tS float64, r *mould.Reading) bool {
		f := r.Flasks[0]
		stages[f.Pieces[0].Stage] = true
		if f.Dry {
			assert.GreaterOrEqual(t, tS, f.DryS-1)
		}
		if len(last.Flasks) > 0 {
			assert.GreaterOrEqual(t, f.ClearFraction, last.Flasks[0].ClearFraction-1e-12, "nothing un-burns")
		}
		last = *r
		last.Flasks = append([]mould.FlaskReading(nil), r.Flasks...)
		return true
	})
	for s := mould.Raw; s <= mould.Ash; s++ {
		assert.True(t, stages[s], "%v is passed", s)
	}
	f := last.Flasks[0]
	assert.Equal(t, "test-plug-60", f.Name)
	assert.InDelta(t, 1, f.ClearFraction, 0.005)
	assert.Less(t, last.LeastOxygen, 0.2095)
	for _, w := range f.Warnings.List() {
		assert.NotEmpty(t, w.Text())
	}
}

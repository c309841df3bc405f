package mould

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/quantity"
)

// course is what a firing gave.
type course struct {
	lagH        [3]float64 // core behind chamber at 300, 500, 700 °C
	dryH        float64
	cristobalK  float64
	steamKPa    float64
	clearH      float64
	leastOxygen float64
	last        Reading
}

var lagMarksC = [3]float64{300, 500, 700}

func fire(t testing.TB, m *Model, h History, hours float64) course {
	t.Helper()
	var c course
	var coreS, chamberS [3]float64
	lastCore, lastChamber, lastS := 20.0, 20.0, 0.0
	crossing := func(at *float64, mark, before, now, tS float64) {
		if *at == 0 && now >= mark {
			*at = lastS + (tS-lastS)*(mark-before)/(now-before)
		}
	}
	end := m.Forecast(m.Start(20), h, hours*3600, 120, func(tS float64, r *Reading) bool {
		for n, mark := range lagMarksC {
			crossing(&coreS[n], mark, lastCore, r.Flasks[0].CoreC, tS)
			crossing(&chamberS[n], mark, lastChamber, r.ChamberC, tS)
		}
		lastCore, lastChamber, lastS = r.Flasks[0].CoreC, r.ChamberC, tS
		return true
	})
	c.last = m.Read(&end)
	f := c.last.Flasks[0]
	for n := range c.lagH {
		c.lagH[n] = (coreS[n] - chamberS[n]) / 3600
	}
	c.dryH, c.clearH = f.DryS/3600, f.ClearS/3600
	c.cristobalK, c.steamKPa = f.MostCristobaliteK, f.MostSteamIndex*strengthPa/1000
	c.leastOxygen = c.last.LeastOxygen
	return c
}

// Figures of an independent prototype of the same specification: explicit
// stepping on 20 by 30 cells, pieces at 10 s. Agreement shows that the model is
// written down right, not that moulds behave so. The herb stem comes out 1 %
// late because clear here counts char still to form; by the char present it is
// 4.63, 5.35 and 6.87 h on the straight schedule.
func TestAgainstIndependentPrototype(t *testing.T) {
	flasks := [3][2]float64{{75, 100}, {100, 150}, {150, 200}}
	for _, tt := range []struct {
		name       string
		history    History
		lag        [3][3]float64 // by flask
		dry        [3]float64
		cristobalK [3]float64
		steam      [3]float64
		clear      [4][3]float64 // by piece
	}{
		{
			"straight", straight,
			[3][3]float64{{1.27, 0.33, 0.28}, {2.12, 0.73, 0.52}, {3.74, 2.11, 1.63}},
			[3]float64{3.95, 4.80, 6.38}, [3]float64{278, 372, 544}, [3]float64{7.2, 12.5, 16.1},
			[4][3]float64{{4.65, 5.35, 6.85}, {8.10, 8.71, 9.80}, {10.80, 11.27, 11.80}, {5.11, 5.85, 7.29}},
		},
		{
			"stepped", stepped,
			[3][3]float64{{0.79, 0.33, 0.28}, {1.94, 0.54, 0.52}, {4.02, 1.45, 1.45}},
			[3]float64{7.35, 8.45, 10.63}, [3]float64{217, 248, 502}, [3]float64{3.5, 8.4, 12.8},
			[4][3]float64{{9.47, 9.92, 11.20}, {12.11, 12.88, 14.12}, {14.78, 15.42, 16.11}, {9.62, 10.14, 11.61}},
		},
	} {
		for n, size := range flasks {
			for p, piece := range []Pattern{woodyStem, herbStem, cone, seedHead} {
				row := [4]int{1, 0, 2, 3}[p]
				if testing.Short() && (p > 0 || n != 1) {
					continue
				}
				got := fire(t, compile(t, sleeved(size[0], size[1], piece)), tt.history, 20)
				t.Logf("%s %gx%g %-10s clear %.2f h, want %.2f", tt.name, size[0], size[1], piece.Material, got.clearH, tt.clear[row][n])
				assert.InEpsilon(t, tt.clear[row][n], got.clearH, 0.02, "clear, h")
				if p > 0 {
					continue
				}
				t.Logf("%s %gx%g lag %.2f h, want %.2f; dry %.2f h, want %.2f; dT %.0f K, want %.0f; steam %.1f kPa, want %.1f",
					tt.name, size[0], size[1], got.lagH, tt.lag[n], got.dryH, tt.dry[n], got.cristobalK, tt.cristobalK[n], got.steamKPa, tt.steam[n])
				for k := range got.lagH {
					assert.InEpsilon(t, tt.lag[n][k], got.lagH[k], 0.05, "lag at %g C, h", lagMarksC[k])
				}
				assert.InEpsilon(t, tt.dry[n], got.dryH, 0.03, "dry, h")
				assert.InEpsilon(t, tt.cristobalK[n], got.cristobalK, 0.03, "largest difference in the cristobalite window, K")
				assert.InEpsilon(t, tt.steam[n], got.steamKPa, 0.06, "steam, kPa")
			}
		}
	}
}

// The same prototype's sensitivity of the clear time of 12 mm of wood: sleeved
// plug and flask of 100 by 150 mm, straight to the top.
func TestSensitivityAgainstIndependentPrototype(t *testing.T) {
	topped := func(topC float64) History {
		return schedule(leg{0, 20}, leg{(topC - 20) / 100, topC})
	}
	vary := func(access, kinetics, k float64) Variation { return Variation{access, kinetics, 1, k} }
	for _, tt := range []struct {
		name        string
		vary        Variation
		change      func(*Params, *Env)
		topC        float64
		plug, flask float64 // h
	}{
		{"as it is", Nominal, nil, 720, 11.79, 8.71},
		{"access halved", vary(0.5, 1, 1), nil, 720, 19.21, 11.51},
		{"access doubled", vary(2, 1, 1), nil, 720, 8.09, 7.14},
		{"twenty moulds", Nominal, func(p *Params, _ *Env) { p.Count = 20 }, 720, 12.84, 9.75},
		{"little air", Nominal, func(_ *Params, e *Env) { e.Air.ChangesPerH = 0.5 }, 720, 12.21, 9.12},
		{"much air", Nominal, func(_ *Params, e *Env) { e.Air.ChangesPerH = 10 }, 720, 11.75, 8.66},
		{"slow chemistry", vary(1, 0.1, 1), nil, 720, 11.86, 8.77},
		{"fast chemistry", vary(1, 10, 1), nil, 720, 11.78, 8.70},
		{"conducts less", vary(1, 1, 0.7), nil, 720, 11.99, 9.20},
		{"conducts more", vary(1, 1, 1.3), nil, 720, 11.69, 8.43},
		{"cooler top", Nominal, nil, 620, 12.06, 8.81},
		{"hotter top", Nominal, nil, 780, 11.68, 8.68},
		{"pre-dried", Nominal, func(p *Params, _ *Env) { p.Wet = ptr(quantity.Fraction(0.2)) }, 720, 11.52, 7.95},
	} {
		for n, p := range []Params{plug(SleeveSteel, woodyStem), sleeved(100, 150, woodyStem)} {
			if testing.Short() && n == 0 {
				continue
			}
			e := Env{Air: DefaultKilnAir}
			if tt.change != nil {
				tt.change(&p, &e)
			}
			m, err := New([]Params{p}, e)
			require.NoError(t, err)
			m = m.Vary(tt.vary)
			got := m.Burn(m.Track(m.Start(20), topped(tt.topC), 22*3600)).LastClearS / 3600
			want := [2]float64{tt.plug, tt.flask}[n]
			t.Logf("%-15s %s: %.2f h, want %.2f", tt.name, p.Name, got, want)
			assert.InEpsilon(t, want, got, 0.02, "%s, %s", tt.name, p.Name)
		}
	}
}

// Common practice, no source: 10 to 15 mm of wood in a closed plug takes about
// half a day in a kiln that climbs slowly to 700 °C, and leaves soft ash; a bare
// plug is clear in about half the time.
func TestCommonPracticePlug(t *testing.T) {
	for _, mm := range []float64{10, 12, 15} {
		o := woodyStem
		o.Section = quantity.Length(mm / 1000)
		got := fire(t, compile(t, plug(SleeveSteel, o)), straight, 24)
		assert.InDelta(t, 12, got.clearH, 4.5, "%g mm, h", mm)
		t.Logf("%g mm: clear after %.1f h", mm, got.clearH)
		piece := got.last.Flasks[0].Pieces[0]
		assert.Equal(t, Ash, piece.Stage)
		assert.InDelta(t, 0.01, piece.AshKg/(600*o.volumeM3()), 1e-9)
		assert.False(t, got.last.Flasks[0].Warnings.Has(AshSoft), "soft at 720 C")
	}
	assert.InEpsilon(t, 5.72, fire(t, compile(t, plug(SleeveNone, woodyStem)), straight, 12).clearH, 0.02, "bare; the independent prototype's value")
}

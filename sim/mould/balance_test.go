package mould

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// full is up to 1000 °C and down again, in uneven steps.
var full = schedule(leg{0, 20}, leg{3, 900}, leg{4, 1000}, leg{6, 150}, leg{7, 400}, leg{8, 20})

func TestEnergyBalance(t *testing.T) {
	for name, p := range map[string]Params{"sleeved": sleeved(100, 150, woodyStem), "bare": plug(SleeveNone, cone)} {
		m := compile(t, p)
		s := m.Start(20)
		start := m.StoredJ(&s, 0)
		most, held := 0.0, 0.0
		check := func() {
			gained := m.StoredJ(&s, 0) - start
			held = math.Max(held, gained)
			most = math.Max(most, math.Abs(gained-s.Flasks[0].InJ)/start)
		}
		steps(m, &s, full, 8, 37, check)
		s = m.Forecast(s, full, 2*3600, 600, func(float64, *Reading) bool { return true })
		check()
		assert.Less(t, most, 1e-9, name)
		assert.Greater(t, held, 4*start, "%s: heat did move", name)
		t.Logf("%s: up to %.3g J went in; the balance is off by at most %.1e of the %.3g J held at the start", name, held, most, start)
	}
}

// A whole mould heated to one temperature holds what its curve says: dry
// solids, latent heats by recipe (steam tables; Kelley, Southard & Anderson).
func TestCurveHoldsTheLatentHeats(t *testing.T) {
	c := newCurve(Investment{}.mix(1).dried(1))
	assert.InEpsilon(t, 1228, c.solids, 0.002)
	assert.InEpsilon(t, 435, c.free, 0.002)
	assert.InEpsilon(t, 65.0, c.first, 0.005)
	assert.InEpsilon(t, 21.7, c.last, 0.005)
	jump := c.heatAt(freeHigh) - c.heatAt(freeLow)
	sensible := 4 * (c.solids*c.cp(100) + c.free/2*waterCP)
	assert.InEpsilon(t, c.free*freeLatent, jump-sensible, 1e-4)
}

func TestPieceMassBalance(t *testing.T) {
	m := compile(t, sleeved(75, 100, woodyStem, herbStem, cone, seedHead,
		Pattern{Material: "leaf", Shape: ShapeSheet, Section: 0.0004, Length: 0.04},
		Pattern{Material: "sprue wax", Shape: ShapeStem, Section: 0.005, Length: 0.03}))
	s := m.Start(20)
	m.Forecast(s, full, 9*3600, 300, func(_ float64, _ *Reading) bool { return true })
	steps(m, &s, full, 9, 30, func() {
		for n, e := range m.flasks[0].pieces {
			p := s.Flasks[0].Pieces[n]
			in := e.wetKg + e.volumeKg + e.charKg
			out := p.WaterKg + p.SteamKg + p.volatiles() + p.GasKg + p.UnformedKg + p.CharKg + p.BurntKg
			assert.InEpsilon(t, in, out, 1e-12, e.material.Name)
		}
	})
}

// Oxygen: what the char of a piece took is 2.664 kg per kg of its carbon, and
// a stirred kiln with no demand stays fresh.
func TestKilnAir(t *testing.T) {
	a := KilnAir{VolumeM3: 0.06, ChangesPerH: 3, ChangesOnPerH: 20, RoomC: 20}
	x := roomOxygen
	assert.Zero(t, a.breathe(&x, 3600, 700, 0, 0))
	assert.InDelta(t, roomOxygen, x, 1e-12)
	// Steady demand: x = 0.2095 − demand/inflow (stirred tank).
	inflow := 3 * 0.06 / 3600 * pressurePa / (gasR * 293.15)
	for range 100 {
		a.breathe(&x, 600, 700, 0, inflow*0.1)
	}
	assert.InDelta(t, 0.1095, x, 1e-9)
	for range 100 {
		a.breathe(&x, 600, 700, 1, inflow*0.1)
	}
	assert.InDelta(t, roomOxygen-0.1*3/20, x, 1e-9)
	// More than comes: none is left, and the rest is counted.
	missing := 0.0
	for range 100 {
		missing += a.breathe(&x, 600, 700, 0, inflow)
	}
	assert.Zero(t, x)
	assert.Positive(t, missing)
}

// Grid: the default against twice as fine; step: a forecast's own choice
// against 5 s throughout.
func TestGridAndStepConvergence(t *testing.T) {
	if testing.Short() {
		t.Skip("runs fine grids")
	}
	p := sleeved(100, 150, woodyStem)
	usual := fire(t, compile(t, p), straight, 10)
	var coarse float64
	for n, g := range []Grid{{8, 12}, {16, 24}, {32, 48}} {
		got := fire(t, compileOn(t, g, p), straight, 10)
		t.Logf("%dx%d: core 500 C %.3f h behind, dry %.3f h, dT %.1f K, clear %.3f h", g.Rings, g.Layers, got.lagH[1], got.dryH, got.cristobalK, got.clearH)
		if n == 2 {
			assert.InDelta(t, got.dryH, usual.dryH, 0.06, "dry, h")
			assert.InDelta(t, got.lagH[1], usual.lagH[1], 0.015, "lag, h")
			assert.InEpsilon(t, got.clearH, usual.clearH, 0.004, "clear")
			assert.Less(t, math.Abs(got.dryH-usual.dryH), math.Abs(got.dryH-coarse)/2, "the error shrinks with the cells")
		}
		if n == 0 {
			coarse = got.dryH
		}
	}
	m := compile(t, p)
	s := m.Start(20)
	var coreC []float64
	b := m.flasks[0].body
	const dt = 5
	steps(m, &s, straight, 10, dt, func() { coreC = append(coreC, b.middle(s.Flasks[0].work.tC, 0)) })
	worst, sum, count := 0.0, 0.0, 0
	m.Forecast(m.Start(20), straight, 10*3600, 60, func(tS float64, r *Reading) bool {
		x := tS/dt - 1
		n := int(x)
		if n < 0 || n+1 >= len(coreC) {
			return true
		}
		exact := coreC[n] + (coreC[n+1]-coreC[n])*(x-float64(n))
		off := math.Abs(exact - r.Flasks[0].CoreC)
		worst, sum, count = math.Max(worst, off), sum+off, count+1
		return true
	})
	t.Logf("core against 5 s steps: mean %.3f K, worst %.2f K (as the front arrives); dry %.4f against %.4f h, clear %.4f against %.4f h",
		sum/float64(count), worst, usual.dryH, s.Flasks[0].DryS/3600, usual.clearH, s.Flasks[0].Pieces[0].ClearS/3600)
	assert.Less(t, sum/float64(count), 0.15)
	assert.Less(t, worst, 6.0)
	assert.InDelta(t, s.Flasks[0].DryS/3600, usual.dryH, 0.005)
	assert.InDelta(t, s.Flasks[0].Pieces[0].ClearS/3600, usual.clearH, 0.005)
}

// Whatever the chamber does, no cell is hotter than the hottest or colder than
// the coldest there was, shares stay shares, and nothing is made of nothing.
func TestNothingLeavesItsBounds(t *testing.T) {
	m := compileOn(t, Grid{6, 8}, sleeved(75, 100, woodyStem), plug(SleeveNone, herbStem))
	rapid.Check(t, func(t *rapid.T) {
		s := m.Start(20)
		low, high := 20.0, 20.0
		for range rapid.IntRange(1, 40).Draw(t, "samples") {
			c := rapid.Float64Range(-20, 1100).Draw(t, "chamber")
			m.Step(&s, rapid.Float64Range(1, 1800).Draw(t, "dt"), c, rapid.Bool().Draw(t, "air"))
			low, high = min(low, c), max(high, c)
		}
		const slack = 3 // K: a jump of a thousand kelvins in one sample may ring a little
		for i := range s.Flasks {
			r := m.Read(&s).Flasks[i]
			for _, tC := range s.Flasks[i].work.tC[:m.flasks[i].body.cells()] {
				if tC < low-slack || tC > high+slack {
					t.Fatalf("cell at %g °C, chamber was %g to %g", tC, low, high)
				}
			}
			for _, x := range []float64{r.FreeWaterLeft, r.ClearFraction, r.Pieces[0].CharFraction, r.Pieces[0].VolatileFraction, r.Pieces[0].Starved, s.Oxygen / roomOxygen} {
				if !(x >= 0 && x <= 1+1e-12) {
					t.Fatalf("a share of %g in %+v", x, r)
				}
			}
		}
	})
}

func TestSoakedMouldDriesAgain(t *testing.T) {
	m := compile(t, sleeved(90, 120, woodyStem))
	s := m.StartSoaked(20, 1)
	r := m.Read(&s).Flasks[0]
	assert.InEpsilon(t, porosity*1000*m.flasks[0].body.wholeM3(), r.FreeWaterKg, 1e-6, "pores full, kg")
	assert.Zero(t, r.BoundWaterKg)
	assert.Equal(t, 1.0, r.ClearFraction)
	hold := schedule(leg{0, 20}, leg{1, 140})
	full := m.Forecast(s, hold, 24*3600, 3600, func(_ float64, _ *Reading) bool { return true })
	half := m.StartSoaked(20, 0.5)
	r = m.Read(&half).Flasks[0]
	assert.InDelta(t, 20, r.CoreC, 1e-6)
	assert.InDelta(t, 0.5, r.FreeWaterLeft, 1e-9)
	halfEnd := m.Forecast(half, hold, 24*3600, 3600, func(_ float64, _ *Reading) bool { return true })
	assert.Positive(t, halfEnd.Flasks[0].DryS)
	assert.Less(t, halfEnd.Flasks[0].DryS, 0.75*full.Flasks[0].DryS, "half the water dries much sooner")
	t.Logf("dry at 140 C after %.1f h from full, %.1f h from half", full.Flasks[0].DryS/3600, halfEnd.Flasks[0].DryS/3600)
}

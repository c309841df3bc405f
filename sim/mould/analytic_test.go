package mould

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/quantity"
)

// plain is a mould of constant properties, its film convection only and equal
// on all faces.
func plain(diameterM, heightM, k, density, cp, film float64) Params {
	return Params{
		Name:  "plain",
		Flask: Flask{Diameter: quantity.Length(diameterM), Height: quantity.Length(heightM), Sleeve: SleeveNone, Stands: OnGrate},
		Wet:   ptr(quantity.Fraction(0)),
		Investment: Investment{
			Binder: ptr(quantity.Fraction(0)), Conductivity: ptr(quantity.Conductivity(k)), Density: ptr(quantity.Density(density)),
			HeatCapacity: ptr(quantity.HeatCapacity(cp)), Convection: ptr(quantity.HeatTransfer(film)),
			Emissivity: ptr(quantity.Fraction(0)), Base: ptr(quantity.Fraction(1)),
		},
	}
}

// root finds the n-th root of ζ·f(ζ) = Bi between two poles.
func root(f func(float64) float64, low, high float64) float64 {
	for range 200 {
		if mid := (low + high) / 2; f(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// bessel0 are the first zeros of J0 (Abramowitz & Stegun, table 9.5).
var bessel0 = []float64{0, 2.4048255577, 5.5200781103, 8.6537279129, 11.7915344391, 14.9309177086}

type term struct{ zeta, c float64 }

// cylinderTerms are roots of ζ J1/J0 = Bi and coefficients
// C = 2 J1/(ζ (J0² + J1²)): Incropera & DeWitt, equation 5.47.
func cylinderTerms(bi float64) []term {
	var out []term
	for n := 0; n+1 < len(bessel0); n++ {
		sign := 1.0
		if n%2 == 1 {
			sign = -1
		}
		z := root(func(z float64) float64 { return sign * (z*math.J1(z) - bi*math.J0(z)) }, bessel0[n], bessel0[n+1])
		j0, j1 := math.J0(z), math.J1(z)
		out = append(out, term{z, 2 * j1 / (z * (j0*j0 + j1*j1))})
	}
	return out
}

// wallTerms are roots of ζ tan ζ = Bi and C = 4 sin ζ/(2ζ + sin 2ζ): Incropera
// & DeWitt, equation 5.39.
func wallTerms(bi float64) []term {
	var out []term
	for n := range 6 {
		low := float64(n) * math.Pi
		sign := 1.0
		if n%2 == 1 {
			sign = -1
		}
		z := root(func(z float64) float64 { return sign * (z*math.Sin(z) - bi*math.Cos(z)) }, low, low+math.Pi/2)
		out = append(out, term{z, 4 * math.Sin(z) / (2*z + math.Sin(2*z))})
	}
	return out
}

func series(terms []term, fo float64, shape func(float64) float64, x float64) float64 {
	sum := 0.0
	for _, t := range terms {
		sum += t.c * math.Exp(-t.zeta*t.zeta*fo) * shape(t.zeta*x)
	}
	return sum
}

// One-term coefficients: Incropera & DeWitt, Fundamentals of Heat and Mass
// Transfer, table 5.1.
func TestSeriesAgainstPublishedCoefficients(t *testing.T) {
	for _, tt := range []struct{ bi, wallZ, wallC, cylZ, cylC float64 }{
		{0.1, 0.3111, 1.0161, 0.4417, 1.0246},
		{1, 0.8603, 1.1191, 1.2558, 1.2071},
		{3, 1.1925, 1.2102, 1.7887, 1.4191},
		{10, 1.4289, 1.2620, 2.1795, 1.5677},
	} {
		wall, cyl := wallTerms(tt.bi)[0], cylinderTerms(tt.bi)[0]
		assert.InDelta(t, tt.wallZ, wall.zeta, 6e-5, "wall root, Bi %g", tt.bi)
		assert.InDelta(t, tt.wallC, wall.c, 1.1e-4, "wall coefficient, Bi %g", tt.bi)
		assert.InDelta(t, tt.cylZ, cyl.zeta, 6e-5, "cylinder root, Bi %g", tt.bi)
		assert.InDelta(t, tt.cylC, cyl.c, 1.1e-4, "cylinder coefficient, Bi %g", tt.bi)
	}
}

// Bi 3, 20 → 520 °C, an hour: radius 50 mm, k 0.5, ρc 1.2e6, film 30.
const (
	bodyR, bodyK, bodyRho, bodyCP, bodyFilm = 0.05, 0.5, 1200.0, 1000.0, 30.0
	bodyFo                                  = bodyK / (bodyRho * bodyCP) * 3600 / (bodyR * bodyR)
)

// worstCell is the largest error of an hour's heating over the cells that pick
// takes, K, for the exact solution of r and z, m.
func worstCell(t *testing.T, heightM float64, g Grid, dt float64, exact func(r, z float64) float64, pick func(z float64) bool) float64 {
	t.Helper()
	m := compileOn(t, g, plain(2*bodyR, heightM, bodyK, bodyRho, bodyCP, bodyFilm))
	s := m.Start(20)
	steps(m, &s, func(float64) (float64, bool) { return 520, false }, 1, dt, nil)
	b, w := m.flasks[0].body, s.Flasks[0].work
	worst := 0.0
	for i := range g.Rings {
		for j := range g.Layers {
			r, z := (float64(i)+0.5)*b.drM, (float64(j)+0.5)*b.dzM-heightM/2
			if pick(z) {
				worst = math.Max(worst, math.Abs(w.tC[i*g.Layers+j]-exact(r, z)))
			}
		}
	}
	return worst
}

func TestInfiniteCylinder(t *testing.T) {
	terms := cylinderTerms(3)
	exact := func(r, _ float64) float64 { return 520 - 500*series(terms, bodyFo, math.J0, r/bodyR) }
	assert.InDelta(t, 415.9334, exact(0, 0), 1e-3, "centre; the independent prototype's exact value")
	middle := func(z float64) bool { return math.Abs(z) < 0.02 } // of 0.9 m: the ends are far
	coarse := worstCell(t, 0.9, Grid{10, 45}, 10, exact, middle)
	mid := worstCell(t, 0.9, Grid{20, 45}, 5, exact, middle)
	fine := worstCell(t, 0.9, Grid{40, 45}, 2.5, exact, middle)
	t.Logf("largest error %.4f, %.4f, %.4f K at 10, 20, 40 rings", coarse, mid, fine)
	assert.Less(t, mid, 0.2, "K of 500")
	assert.Less(t, fine, mid/2.5, "order of the scheme")
	assert.Less(t, mid, coarse/2.5, "order of the scheme")
}

// Product of cylinder and wall: Incropera & DeWitt, section 5.8 (supplement).
func TestShortCylinder(t *testing.T) {
	cyl, wall := cylinderTerms(3), wallTerms(3)
	exact := func(r, z float64) float64 {
		return 520 - 500*series(cyl, bodyFo, math.J0, r/bodyR)*series(wall, bodyFo, math.Cos, z/bodyR)
	}
	assert.InDelta(t, 466.3452, exact(0, 0), 1e-3, "centre; the independent prototype's exact value")
	all := func(float64) bool { return true }
	standard := worstCell(t, 0.1, DefaultGrid, 20, exact, all)
	fine := worstCell(t, 0.1, Grid{32, 48}, 5, exact, all)
	t.Logf("largest error %.4f K on the default grid, %.4f K on twice as fine", standard, fine)
	assert.Less(t, standard, 0.3, "K of 500")
	assert.Less(t, fine, standard/2.5)
}

// dryDepth is how deep the front is after an hour, m, in one dimension: the
// side closed, the upper face held at 500 °C.
func dryDepth(t *testing.T, startC float64, layers int, dt float64) float64 {
	t.Helper()
	p := plain(0.1, 0.1, 0.5, 1200, 1000, 1e6)
	p.Wet, p.Investment.Base = nil, ptr(quantity.Fraction(0))
	p.Investment.FreeWater = ptr(quantity.Density(200))
	p.Investment.WetConductivity = ptr(quantity.Conductivity(0))
	m := compileOn(t, Grid{4, layers}, p)
	b := m.flasks[0].body
	b.sideM2 = 0
	s := m.Start(startC)
	steps(m, &s, func(float64) (float64, bool) { return 500, false }, 1, dt, nil)
	return (1 - s.Flasks[0].FreeLeft) * b.heightM
}

// Moving evaporation front: Neumann's solution (Carslaw & Jaeger, Conduction of
// Heat in Solids, section 11.2; Alexiades & Solomon). λ solves
//
//	e^(−λ²)/erf λ − √(k₂C₂/k₁C₁)·(Tf−T0)/(Tw−Tf)·e^(−λ²ν²)/erfc(λν) = λ√π/St,
//
// ν² = α₁/α₂; 1 is the dry side. The front is at 2λ√(α₁t).
func TestStefan(t *testing.T) {
	const k, dry, water, front, wall = 0.5, 1.2e6, 200.0, 100.0, 500.0
	wet := dry + water*waterCP
	lambda := func(startC, wet float64) float64 {
		st := dry * (wall - front) / (water * freeLatent)
		nu := math.Sqrt(wet / dry)
		return root(func(l float64) float64 {
			left := math.Exp(-l*l)/math.Erf(l) - nu*(front-startC)/(wall-front)*math.Exp(-l*l*nu*nu)/math.Erfc(l*nu)
			return l*math.SqrtPi/st - left
		}, 1e-6, 3)
	}
	depth := func(l float64) float64 { return 2 * l * math.Sqrt(k/dry*3600) }
	require.InDelta(t, 0.63517, lambda(front, wet), 1e-5, "one phase, St 1.0634; the independent prototype's value")
	require.InDelta(t, 0.049200, depth(lambda(front, wet)), 1e-6)
	require.InDelta(t, 0.56074, lambda(20, dry), 1e-5, "two phases of equal heat capacity; the independent prototype's value")
	for _, tt := range []struct {
		name   string
		startC float64
		tol    float64
	}{{"one phase", freeLow, 0.004}, {"two phases", 20, 0.004}} {
		goal := front
		if tt.startC < freeLow {
			goal = tt.startC
		}
		want := depth(lambda(goal, wet))
		coarse, fine := dryDepth(t, tt.startC, 50, 10), dryDepth(t, tt.startC, 100, 5)
		t.Logf("%s: exact %.3f mm, ours %.3f and %.3f mm with 50 and 100 layers", tt.name, want*1e3, coarse*1e3, fine*1e3)
		assert.InEpsilon(t, want, coarse, tt.tol, tt.name)
		assert.InEpsilon(t, want, fine, tt.tol/2, tt.name)
	}
}

// Free convection at an upright face: Incropera & DeWitt, 6th ed., example 9.2
// (from memory): glass of 0.71 m at 232 °C in air of 23 °C, equation 9.26 gives
// Ra 1.813e9, Nu 147 and h 7.0 W/m²/K.
func TestUprightFilm(t *testing.T) {
	assert.InEpsilon(t, 7.0, upright(0.71, 232, 23), 0.03)
}

// Lumped cooling: a small body of good conductivity follows
// θ = exp(−hA t/ρVc), Incropera & DeWitt, equation 5.6.
func TestLumpedCooling(t *testing.T) {
	m := compile(t, plain(0.03, 0.04, 20, 2000, 1000, 10))
	s := m.Start(700)
	steps(m, &s, func(float64) (float64, bool) { return 20, false }, 2, 20, nil)
	b := m.flasks[0].body
	area := 2*math.Pi*b.radiusM*b.heightM + 2*math.Pi*b.radiusM*b.radiusM
	want := 20 + 680*math.Exp(-10*area*7200/(b.wholeM3()*2000*1000))
	assert.InDelta(t, want, b.middle(s.Flasks[0].work.tC, 0), 0.5)
}

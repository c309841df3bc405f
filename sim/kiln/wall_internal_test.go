package kiln

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/quantity"
)

// given is a layer of constant properties.
func given(thickM, k, density, cp float64) Layer {
	q, d, c := quantity.Conductivity(k), quantity.Density(density), quantity.HeatCapacity(cp)
	return Layer{Thickness: quantity.Length(thickM), Conductivity: &q, Density: &d, HeatCapacity: &c}
}

func plane(areaM2 float64) func(float64) float64 { return func(float64) float64 { return areaM2 } }

// slab is a wall with its hot face.
type slab struct {
	*wall
	hotC float64
}

func newSlab(l []Layer, area func(float64) float64, caseJK, startC float64) *slab {
	return &slab{newWall(l, area, caseJK, startC, wantCells), startC}
}

// heat moves the slab on with a film of g in W/K between face and gas.
func (s *slab) heat(dt, g, gasC, outG, outC float64) {
	flow, perK := s.condense(dt, s.hotC, outG, outC)
	rise := (g*(gasC-s.hotC) - flow) / (g + perK)
	s.hotC += rise
	s.advance(rise)
}

// Series resistance of a composite plane wall: Incropera & DeWitt, equation
// 3.17, q = ΔT / Σ(1/hA + L/kA).
func TestSteadyPlaneWall(t *testing.T) {
	const area, hotG, outG, gasC, outC = 0.5, 6.0, 4.0, 900.0, 20.0
	layers := []Layer{given(0.064, 0.25, 600, 1000), given(0.025, 0.10, 250, 900), given(0.002, 45, 7800, 460)}
	w := newSlab(layers, plane(area), 1000, outC)
	for range 5 {
		w.heat(1e9, hotG, gasC, outG, outC)
	}
	resistance := 1/hotG + 0.064/0.25/area + 0.025/0.10/area + 0.002/45/area + 1/outG
	want := (gasC - outC) / resistance
	assert.InEpsilon(t, want, hotG*(gasC-w.hotC), 1e-9, "heat into the wall, W")
	assert.InEpsilon(t, want, outG*(w.shell.tC-outC), 1e-9, "heat out of the case, W")
}

// Box with edges and corners: Langmuir's shape factors, Incropera & DeWitt,
// table 4.1, cases 8 and 9. They hold for walls thinner than a fifth of the
// inside; area growing with depth meets them within 1 % there.
func TestSteadyBoxWall(t *testing.T) {
	for _, tt := range []struct {
		name                string
		w, d, h, thick, tol float64
	}{
		{"cube, thin wall", 0.3, 0.3, 0.3, 0.03, 0.002},
		{"cube, a fifth", 0.3, 0.3, 0.3, 0.06, 0.005},
		{"long box", 0.2, 0.5, 0.3, 0.04, 0.005},
		{"thick", 0.15, 0.18, 0.11, 0.065, 0.03},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := Chamber{Width: quantity.Length(tt.w), Depth: quantity.Length(tt.d), Height: quantity.Length(tt.h)}
			const k, hotG = 0.2, 1e9
			w := newSlab([]Layer{given(tt.thick, k, 600, 1000)}, c.wallAreaM2, 1000, 0)
			for range 5 {
				w.heat(1e9, hotG, 1, 1e9, 0)
			}
			shape := c.AreaM2()/tt.thick + 0.54*4*(tt.w+tt.d+tt.h) + 8*0.15*tt.thick
			assert.InEpsilon(t, k*shape, w.shell.tC*1e9, tt.tol)
		})
	}
}

// Plane wall insulated behind, film in front, one-term solution: Incropera &
// DeWitt, equation 5.40 with table 5.1 (Bi, ζ1 in rad, C1), which by
// Fo = 0.5 has lost its later terms.
func TestSlabTransient(t *testing.T) {
	const area, thick, k, density, cp, startC, gasC = 1.0, 0.1, 0.5, 800.0, 1000.0, 20.0, 520.0
	diffusivity := k / (density * cp)
	for _, tt := range []struct{ bi, zeta, c1 float64 }{
		{0.1, 0.3111, 1.0161},
		{1, 0.8603, 1.1191},
		{10, 1.4289, 1.2620},
	} {
		w := newSlab([]Layer{given(thick, k, density, cp)}, plane(area), 0, startC)
		const dt = 10.0
		film := tt.bi * k / thick * area
		fo := 0.0
		for n := 1; fo < 1.2; n++ {
			w.heat(dt, film, gasC, 0, startC)
			fo = diffusivity * dt * float64(n) / (thick * thick)
			if n%50 != 0 || fo < 0.5 {
				continue
			}
			middle := tt.c1 * math.Exp(-tt.zeta*tt.zeta*fo)
			face := middle * math.Cos(tt.zeta)
			// 0.5 % of the whole rise: grid, step and four-digit constants.
			assert.InDelta(t, middle, (gasC-w.shell.tC)/(gasC-startC), 0.005, "insulated side, Bi %g Fo %.2f", tt.bi, fo)
			assert.InDelta(t, face, (gasC-w.hotC)/(gasC-startC), 0.005, "face, Bi %g Fo %.2f", tt.bi, fo)
		}
	}
}

// Lumped capacitance: Incropera & DeWitt, equation 5.6, θ = exp(-hA t / ρVc),
// good while Bi < 0.1; here Bi is 1e-4.
func TestLumpedCooling(t *testing.T) {
	const area, outG, outC, startC, caseJK, dt = 0.5, 2.0, 20.0, 720.0, 800.0, 1.0
	w := newSlab([]Layer{given(0.01, 50, 1000, 1000)}, plane(area), caseJK, startC)
	capacity := 0.01*area*1000*1000 + caseJK
	for n := 1; n <= 3600; n++ {
		w.heat(dt, 0, 0, outG, outC)
		if n%600 == 0 {
			want := math.Exp(-outG * dt * float64(n) / capacity)
			assert.InDelta(t, want, (w.shell.tC-outC)/(startC-outC), 5e-4, "after %d s", n)
		}
	}
}

func TestGrid(t *testing.T) {
	for _, name := range Shipped() {
		data, err := ShippedFile(name)
		require.NoError(t, err)
		p, err := Load(name, data)
		require.NoError(t, err)
		w := newWall(p.Walls, p.WallAreaM2, 1, 20, wantCells)
		assert.GreaterOrEqual(t, len(w.cells), 20, name)
		assert.LessOrEqual(t, len(w.cells), 30, name)
		through := 0.0
		for _, c := range w.cells {
			through += c.inner + c.outer
		}
		assert.InEpsilon(t, simpsonFine(p), through, 1e-6, name)
	}
}

// simpsonFine is ∫dx/A over the wall by many short pieces.
func simpsonFine(p Params) float64 {
	const pieces = 1000
	sum, h := 0.0, p.WallM()/pieces
	for i := range pieces {
		sum += simpson(inverse(p.WallAreaM2), float64(i)*h, float64(i+1)*h)
	}
	return sum
}

package kiln

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/quantity"
)

func shippedParams(t testing.TB, name string) Params {
	t.Helper()
	data, err := ShippedFile(name)
	require.NoError(t, err)
	p, err := Load(name, data)
	require.NoError(t, err)
	return p
}

// sealed is a kiln that loses nothing but through a case of the given
// conductance in W/K.
func sealed(t testing.TB, outW float64) *Kiln {
	p := shippedParams(t, "bench-9l-brick")
	p.Air, p.Shell.Bridges = Air{}, 0
	p.Walls = []Layer{given(0.03, 50, 600, 1000)}
	k := New(p, 20)
	k.outsideFixed = outW
	return k
}

// Two grey surfaces that share a sphere: Incropera & DeWitt, equation 13.18,
// with the view factor F12 = A2/(A1+A2) of the parts of a sphere.
func TestRadiationOfTwoSurfaces(t *testing.T) {
	k := sealed(t, 1)
	k.emitting[load], k.emitting[sheath] = 0, 0
	k.filmW = [bodies]float64{}
	k.wireFilm = newTable(func(float64) float64 { return 0 }, func(float64) float64 { return 0 })
	k.tC[element], k.tC[hotFace] = 1100, 700
	var net network
	k.filmW[load] = 1e-12 // the gas must touch something
	k.couple(&net, Input{AmbientC: 20})
	e1, e2 := float64(k.p.Elements.Emissivity), float64(k.p.Chamber.Emissivity)
	a1, a2 := k.p.ElementAreaM2()*float64(k.p.Elements.Exposed), k.p.Chamber.AreaM2()
	f12 := a2 / (a1 + a2)
	t1, t2 := 1100+273.15, 700+273.15
	want := 5.670374419e-8 * (math.Pow(t1, 4) - math.Pow(t2, 4)) /
		((1-e1)/(e1*a1) + 1/(a1*f12) + (1-e2)/(e2*a2))
	assert.InEpsilon(t, want, net.g[element][hotFace]*(1100-700), 1e-9, "W")
}

// What exchanges heat with nothing outside ends at one temperature.
func TestRadiationEquilibrium(t *testing.T) {
	k := sealed(t, 1e-12)
	k.tC = [bodies]float64{element: 900, hotFace: 300, load: 100, sheath: 500}
	stored := k.StoredJ()
	for range 2000 {
		k.Step(60, Input{AmbientC: 20})
	}
	for i, tC := range append(k.tC[:], k.gasC, k.coreC, k.junctionC, k.wall.shell.tC) {
		assert.InDelta(t, k.tC[element], tC, 1e-6, "body %d", i)
	}
	assert.InEpsilon(t, stored, k.StoredJ(), 1e-9, "J")
}

// The whole kiln as one lump (Incropera & DeWitt, equation 5.6): a case that
// lets little out cools everything inside alike.
func TestLumpedKiln(t *testing.T) {
	const outW = 0.02
	k := sealed(t, outW)
	k.setAll(720)
	capacity := k.StoredJ()
	k.setAll(719)
	capacity -= k.StoredJ()
	k.setAll(720)
	for n := 1; n <= 250; n++ {
		k.Step(3600, Input{AmbientC: 20})
	}
	assert.InEpsilon(t, 20+700*math.Exp(-outW*900000/capacity), k.junctionC, 0.005)
}

// Nameplate power is V²/R; the wire is ρL/A (DIN 17470 resistivity).
func TestElementPower(t *testing.T) {
	p := shippedParams(t, "studio-60l-fibre")
	e := p.Elements
	e.Ageing = 0
	assert.InEpsilon(t, 240.0*240/5500, e.ResistanceOhm(workingC), 1e-12)
	assert.InEpsilon(t, 1.04, e.ResistanceOhm(1000)/e.ResistanceOhm(20), 1e-9)
	perCircuit := p.Elements.wireLengthM() / float64(e.Circuits)
	assert.InEpsilon(t, float64(e.Circuits)*240*240/5500/1.04, 1.44e-6*perCircuit/e.sectionM2(), 1e-9)

	k := New(p, 20)
	k.Step(1, Input{On: 0.5, MainsRatio: 0.9, AmbientC: 20})
	cold := 240 * 240 / p.Elements.ResistanceOhm(20)
	assert.InEpsilon(t, 0.5*0.81*cold, k.PowerW(), 1e-9)
	p.Elements.Ageing = 0.1
	assert.InEpsilon(t, 5500/1.1, p.RatedW(), 1e-9)
}

// The lag formula against the model: after a step of the probe the area under
// the response is the sum of its lags, whatever their number.
func TestProbeLag(t *testing.T) {
	for _, tC := range []float64{20, 200, 400, 730, 1000} {
		k := sealed(t, 1e-12)
		k.setAll(tC)
		k.tC[sheath], k.junctionC = tC-2, tC-2
		area := 0.0
		const dt = 0.5
		for range 8000 {
			k.Step(dt, Input{AmbientC: tC})
			area += (k.tC[load] - k.junctionC) / 2 * dt
		}
		assert.InEpsilon(t, k.p.ProbeLagS(tC), area, 0.03, "at %g C", tC)
	}
	for _, name := range Shipped() {
		p := shippedParams(t, name)
		fall := p.ProbeLagS(20) / p.ProbeLagS(p.MaxC())
		assert.True(t, fall > 6 && fall < 20, "%s: %g", name, fall)
	}
}

// Circular cylinder, free convection: Incropera & DeWitt, example 9.4 (pipe of
// 0.1 m, surface 165 °C, air 23 °C: 325 W/m by convection; from memory).
func TestCylinderConvection(t *testing.T) {
	assert.InEpsilon(t, 325.0, cylinderW(0.1, 94, 142)*math.Pi*0.1*142, 0.03)
}

// Air: Incropera & DeWitt, table A.4.
func TestAir(t *testing.T) {
	for _, row := range []struct{ tK, k, nu float64 }{
		{300, 26.3e-3, 15.89e-6}, {500, 40.7e-3, 38.79e-6}, {700, 52.4e-3, 68.10e-6}, {1000, 66.7e-3, 121.9e-6},
	} {
		assert.InEpsilon(t, row.k, airConductivity(row.tK), 0.05)
		assert.InEpsilon(t, row.nu, airViscosity(row.tK), 0.05)
	}
	assert.InDelta(t, 1, chimney(700+zeroK, 20+zeroK), 1e-5)
	assert.InEpsilon(t, 1.1614, airDensityK/300, 0.02) // kg/m³ at 300 K
}

// Twice, then four times the cells: the error of the shipped grid is small and
// falls.
func TestGridConvergence(t *testing.T) {
	p := shippedParams(t, "bench-9l-brick")
	at := func(cells int) float64 {
		k := newKiln(p, 20, cells)
		for range 3600 * 2 / 5 {
			k.Step(5, Input{On: 0.5, MainsRatio: 1, AmbientC: 20})
		}
		return k.JunctionC()
	}
	coarse, fine, finest := at(wantCells), at(2*wantCells), at(4*wantCells)
	assert.Less(t, math.Abs(coarse-finest), 0.5)
	assert.Less(t, math.Abs(fine-finest), math.Abs(coarse-finest))
}

// Steps of 0.25 to 10 s agree on a pulsed firing, and the error falls with the
// step.
func TestStepConvergence(t *testing.T) {
	p := shippedParams(t, "jewellery-3l-fibre")
	at := func(dt float64) float64 {
		k := New(p, 20)
		for s := 0.0; s < 3600; s += dt {
			on := 0.0
			if math.Mod(s, 60) < 30 {
				on = 1
			}
			k.Step(dt, Input{On: on, MainsRatio: 1, AmbientC: 20})
		}
		return k.JunctionC()
	}
	best := at(0.125)
	assert.Less(t, math.Abs(at(0.25)-best), 0.1)
	assert.Less(t, math.Abs(at(1)-best), 0.5)
	assert.Less(t, math.Abs(at(10)-best), 5.0)
	assert.Less(t, math.Abs(at(0.25)-best), math.Abs(at(1)-best))
}

// heatAt and warm undo each other, within a piece, over a knot and far.
func TestTable(t *testing.T) {
	m, _ := FindMaterial("firebrick 23")
	table := newTable(m.RhoCp, m.K)
	for _, tC := range []float64{-40, 19.9, 20, 500, 999, 1300} {
		for _, rise := range []float64{0, 1e-6, -1e-6, 0.5, -0.5, 50, -50, 600} {
			c, k := table.both(tC)
			assert.InEpsilon(t, m.RhoCp(tC), c, 1e-3)
			assert.InEpsilon(t, m.K(tC), k, 2e-3)
			next := table.warm(tC, rise)
			assert.InDelta(t, c*rise, table.heatAt(next)-table.heatAt(tC), 1e-6*math.Abs(c*rise)+1e-3, "%g + %g", tC, rise)
		}
	}
	assert.Equal(t, 0, outside(math.NaN()))
}

// Bulk density limits of insulating firebrick by group: ASTM C155, table 1
// (from memory). Fireclay brick: Incropera & DeWitt, table A.3.
func TestMaterials(t *testing.T) {
	for name, limit := range map[string]float64{"firebrick 20": 641, "firebrick 23": 769, "firebrick 26": 865, "firebrick 28": 961} {
		m, ok := FindMaterial(name)
		require.True(t, ok)
		assert.LessOrEqual(t, m.DensityKgM3, limit, name)
	}
	m, _ := FindMaterial("fireclay brick")
	assert.InDelta(t, 1.0, m.K(500-zeroK), 0.01)
	assert.InDelta(t, 1.1, m.K(1100-zeroK), 0.01)
	assert.Equal(t, 960.0, m.CP(300))
	for _, name := range Materials() {
		m, _ := FindMaterial(name)
		assert.NotEmpty(t, m.Source)
		for tC := 20.0; tC < 1300; tC += 10 {
			assert.GreaterOrEqual(t, m.K(tC+10), m.K(tC), "%s: conductivity falls at %g", name, tC)
		}
	}
	_, ok := FindMaterial("cheese")
	assert.False(t, ok)
	assert.Equal(t, Material{}, Layer{Thickness: quantity.Length(0.1)}.Made())
}

package identify_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller/identify"
	"calx/sim/kiln"
	"calx/sim/quantity"
)

// lumped is a kiln that is next to a single heat capacity behind a single
// conductance: a metal block in a thin shell of hardly any mass, whose only way
// out is a bridge.
func lumped(massKg, bridgeWK float64) kiln.Params {
	k, rho, cp := quantity.Conductivity(0.005), quantity.Density(20), quantity.HeatCapacity(100)
	return kiln.Params{
		Name: "lumped", Max: 1100,
		Chamber:  kiln.Chamber{Width: 0.2, Depth: 0.2, Height: 0.2, Emissivity: 1, Convection: 30},
		Walls:    []kiln.Layer{{Thickness: 0.1, Conductivity: &k, Density: &rho, HeatCapacity: &cp}},
		Shell:    kiln.Shell{Mass: 0.1, Emissivity: 0.9, Bridges: quantity.Conductance(bridgeWK)},
		Elements: kiln.Elements{Alloy: "FeCrAl", Supply: 230, Rated: 1000, Wire: 0.0008, Circuits: 1, Emissivity: 0.7, Exposed: 1},
		Door:     kiln.Door{Width: 0.2, Height: 0.2},
		Load:     kiln.Contents{Mass: quantity.Mass(massKg), HeatCapacity: 900, Area: 5, Emissivity: 1, Core: 0.05, Inside: 1000},
		Probe:    kiln.Probe{Type: "K", Sheath: 0.001, Immersion: 0.1, Emissivity: 0.9},
		Relay:    kiln.Relay{Kind: kiln.SSR, RatedCycles: 1e6, LeastOn: 0.1, LeastOff: 0.1},
	}
}

// A fit finds the heat capacity and the conductance of a first-order system
// from its step responses, T = T∞ + (T0 − T∞)·exp(−t/τ) with T∞ = Troom + P/G
// and τ = C/G: Incropera & DeWitt, Fundamentals of Heat and Mass Transfer,
// equation 5.25; Seborg, Edgar, Mellichamp & Doyle, Process Dynamics and
// Control, section 5.2. The record comes from the formula and not from the
// model; a meter has told the power.
func TestFitOfAFirstOrderSystem(t *testing.T) {
	const capJK, outWK, powerW = 12 * 900.0, 1.2, 1000.0
	file := lumped(9, 0.9)
	require.Empty(t, file.Check())
	r := identify.Recorded{Name: "steps", RoomC: roomC}
	hotC := float64(roomC)
	for s := 0; s < 12*3600; s += 10 {
		on := []float64{0.3, 0.75, 0.4, 0.1}[s/3600/3]
		r.Samples = append(r.Samples, identify.Sample{At: time.Duration(s) * time.Second, HotC: hotC, On: on, Door: math.NaN()})
		end := roomC + on*powerW/outWK
		hotC = end + (hotC-end)*math.Exp(-10*outWK/capJK)
	}
	f, err := identify.Fit(file, []identify.Recorded{r}, identify.FitOptions{MeteredW: powerW})
	require.NoError(t, err)
	tell(t, f)
	loadJK := float64(f.Params.Load.Mass) * float64(f.Params.Load.HeatCapacity)
	assert.InEpsilon(t, capJK, loadJK, 0.04, "heat capacity, J/K")
	assert.InEpsilon(t, outWK, float64(f.Params.Shell.Bridges), 0.06, "conductance, W/K; the thin wall takes some hundredths")
}

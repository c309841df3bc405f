package pieces

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// line makes runs that lie on log t = a + n log(d/10 mm) + (E/R)(1/T - 1/Tref).
func line(k Kind, a, n, kj float64) []Run {
	var runs []Run
	for _, d := range []float64{0.006, 0.010, 0.015, 0.022, 0.030} {
		for _, tempC := range []float64{600, 700, 750} {
			t := math.Exp(a + n*math.Log(d/0.010) + kj*1000/8.314462618*(1/(tempC+273.15)-1/973.15))
			runs = append(runs, Run{Part{Kind: k, SectionM: d}, tempC, mins(t)})
		}
	}
	return runs
}

// The line of a woody stem in a plug in a steel tube: a 5.80 (329 to 330 min),
// n 1.87, E 3.8 kJ/mol, found with an earlier program of the same physics.
func TestPhysicsCentresThePrior(t *testing.T) {
	b, err := regress(line(stem, 5.80, 1.87, 3.8))
	require.NoError(t, err)
	assert.InDeltaSlice(t, []float64{5.80, 1.87, 3.8}, b[:], 1e-9)

	known := []Material{woody, {Name: "cone", Char: 0.30, Ash: 0.015, DensityKgM3: 240}}
	prior, err := DefaultPrior(known...).WithPhysics(line(stem, 5.80, 1.87, 3.8))
	require.NoError(t, err)
	p := mustFit(t, prior)
	assert.InEpsilon(t, math.Exp(5.80), mustHold(t, p, stem, 0.010, 0.5).Time.Minutes(), 0.01)

	cone := stem
	cone.Material = "cone" // less char in its volume, sooner clear: 72 against 153 kg/m³
	assert.InEpsilon(t, math.Exp(5.80)*72/153, mustHold(t, p, cone, 0.010, 0.5).Time.Minutes(), 0.01)
	bare := stem
	bare.Flask = "bare plug" // of which the physics was not asked: the default
	assert.InEpsilon(t, 200, mustHold(t, p, bare, 0.010, 0.5).Time.Minutes(), 0.01)

	assert.Nil(t, DefaultPrior().Known, "the default stays as it was")
}

func TestPhysicsNeedsEnoughRuns(t *testing.T) {
	runs := line(stem, 5.8, 1.87, 3.8)
	_, err := DefaultPrior().WithPhysics(runs[:3])
	assert.ErrorContains(t, err, "runs of woody stem, in plug, sprue none: 3 given, 4 needed")
	same := []Run{runs[0], runs[0], runs[0], runs[0]}
	_, err = DefaultPrior().WithPhysics(same)
	assert.ErrorContains(t, err, "two sections and two temperatures")
	runs[1].Clear = 0
	_, err = DefaultPrior().WithPhysics(runs)
	assert.ErrorContains(t, err, "run 2: clear after 0s is outside 0 to 60 days")
}

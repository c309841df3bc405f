package pieces

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// Weights of a minute, from an independent evaluation of the formula in the doc
// comment of Equivalent, E 6 and 12 kJ/mol.
func TestGateCountsHoursThatBurn(t *testing.T) {
	for _, c := range []struct{ tempC, six, twelve float64 }{
		{300, 0.070835, 0.046129}, {350, 0.32976, 0.21746}, {400, 0.60830, 0.43122}, {500, 0.81619, 0.67187},
		{600, 0.91754, 0.84248}, {700, 1, 1}, {750, 1.03704, 1.07538},
	} {
		hour := Soak(c.tempC, time.Hour)
		assert.InDelta(t, c.six, Equivalent(hour, 6).Hours(), 6e-6, "%v °C, 6 kJ/mol", c.tempC)
		assert.InDelta(t, c.twelve, Equivalent(hour, 12).Hours(), 6e-6, "%v °C, 12 kJ/mol", c.tempC)
	}
	assert.Less(t, Equivalent(Soak(100, 10*time.Hour), 6), time.Second, "a night of drying burns nothing")
}

// The weight itself, written once more as in the doc comment.
func plainWeight(tempC, energyJ float64) float64 {
	g := func(k float64) float64 {
		return 1 / (1 + math.Exp((125000-energyJ)/8.314462618*(1/k-1/623.15)))
	}
	k := tempC + 273.15
	return math.Exp(-energyJ/8.314462618*(1/k-1/973.15)) * g(k) / g(973.15)
}

func TestDoseOfARamp(t *testing.T) {
	h := []Sample{{0, 20, 0}, {3 * time.Hour, 20, 0}, {10 * time.Hour, 720, 0}, {11 * time.Hour, 720, 0}}
	grid := over(Normal{12, 10})
	d := grid.tabulate(h)
	for _, e := range []float64{-15, 0.3, 6, 11.7, 25, 50} {
		sum, n := 0.0, 700000 // a sum fine enough to be the integral
		for i := range n {
			sum += plainWeight(20+700*(float64(i)+0.5)/float64(n), 1000*e)
		}
		want := 420*sum/float64(n) + 60*plainWeight(720, 1000*e) + 180*plainWeight(20, 1000*e)
		assert.InEpsilon(t, want, Equivalent(h, e).Minutes(), 1e-4, "E %v", e)
		assert.InDelta(t, math.Log(want), d.log(grid.at(e)), 1e-4, "tabulated, E %v", e)
	}
}

func TestOxygenScalesTheDose(t *testing.T) {
	air := Soak(700, time.Hour)
	half := []Sample{{0, 700, airOxygen / 2}, {time.Hour, 700, airOxygen / 2}}
	fading := []Sample{{0, 700, airOxygen}, {time.Hour, 700, airOxygen / 2}}
	assert.InDelta(t, 0.5, Equivalent(half, 12).Hours()/Equivalent(air, 12).Hours(), 1e-9)
	assert.InDelta(t, 0.75, Equivalent(fading, 12).Hours()/Equivalent(air, 12).Hours(), 1e-9)
}

func TestEnergyBeyondTheNodesCountsAtTheEnd(t *testing.T) {
	grid := over(Normal{12, 10})
	d := grid.tabulate(Soak(600, time.Hour))
	assert.InDelta(t, d[0], d.log(grid.at(-500)), 1e-12)
	assert.InDelta(t, d[nodes-1], d.log(grid.at(500)), 1e-12)
}

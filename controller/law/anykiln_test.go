package law_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"calx/controller/identify"
	"calx/controller/law"
	"calx/sim/kiln"
	"calx/sim/quantity"
)

// Whatever a kiln file may say, or a fit may find, the loop that follows from it
// is stable with something to spare, though not as calm as on the kilns that were
// looked at: thick wires and a thick probe together cost half of it, and then
// calx check says so.
func TestMarginsOfAnyKiln(t *testing.T) {
	const gain, phaseDeg, peak = 1.6, 22.0, 3.0
	n := 25
	switch {
	case testing.Short():
		n = 3
	case testing.Verbose():
		n = 500
	}
	rng := rand.New(rand.NewPCG(6, 3))
	by := func(low, high float64) float64 { return low * math.Pow(high/low, rng.Float64()) }
	least, worst := math.Inf(1), 0.0
	for tried := 0; tried < n; {
		list := kiln.Shipped()
		name := list[rng.IntN(len(list))]
		text, err := kiln.ShippedFile(name)
		require.NoError(t, err)
		p, err := kiln.Load(name, text)
		require.NoError(t, err)
		p.Elements.Rated *= quantity.Power(by(0.5, 2))
		p.Elements.Wire *= quantity.Length(by(0.6, 1.6))
		p.Elements.Ageing = quantity.Fraction(by(0.001, 0.3))
		p.Load.Mass *= quantity.Mass(by(0.05, 10))
		p.Load.Core = quantity.Fraction(by(0.1, 0.9))
		p.Shell.Bridges = quantity.Conductance(by(0.01, 5))
		p.Probe.Sheath *= quantity.Length(by(0.3, 2.5))
		p.Probe.InnerLag = quantity.Duration(by(0.1, 60))
		p.Air.Leakage *= quantity.Frequency(by(0.1, 10))
		for i := range p.Walls {
			p.Walls[i].Thickness *= quantity.Length(by(0.5, 2))
		}
		if len(p.Check()) > 0 {
			continue // no kiln at all
		}
		tried++
		l, err := law.New(identify.Plant(p, roomC), law.Options{})
		require.NoError(t, err)
		for _, m := range l.Margins() {
			least, worst = math.Min(least, m.GainUp), math.Max(worst, m.Peak)
			if !(m.GainUp > gain) || m.GainDown != 0 || !(m.PhaseDeg > phaseDeg) || !(m.Peak < peak) {
				t.Errorf("%+v of %+v", m, p)
			}
		}
	}
	t.Logf("%d kilns: gain margin at least %.2f, sensitivity at most %.2f", n, least, worst)
}

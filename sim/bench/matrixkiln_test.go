package bench_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/relay"
	"calx/sim/bench"
	"calx/sim/kiln"
	"calx/sim/quantity"
)

// matrixProfile has every stage, and rates that every kiln can follow.
const matrixProfile = `never above 735 C
heat to 150 C at 120 C/h
hold 1 h
heat to 720 C at 150 C/h
hold 90 min
cool to 540 C at 100 C/h
hold 30 min
heat to 700 C at 150 C/h
hold 30 min
`

const matrixCeilingC = 735.0

// stage is where in the firing a fault begins.
type stage struct {
	initial byte
	name    string
	at      func(controller.Cursor) bool
}

var stages = []stage{
	{'0', "start", nil},
	{'S', "steam hold", func(p controller.Cursor) bool { return p.Step == 1 && p.HeldS >= 1800 }},
	{'R', "ramp", func(p controller.Cursor) bool { return p.Step == 2 && p.SetC >= 450 }},
	{'T', "top hold", func(p controller.Cursor) bool { return p.Step == 3 && p.HeldS >= 1800 }},
	{'C', "cooling", func(p controller.Cursor) bool { return p.Step == 4 && p.SetC <= 620 }},
	{'H', "reheat", func(p controller.Cursor) bool { return p.Step == 6 && p.SetC >= 640 }},
}

// matrixKiln is a kiln with its moments and with what physics leaves.
type matrixKiln struct {
	house
	name    string
	fibre   bool
	moments map[byte]*moment
	best0C  map[byte]float64 // further rise when full power of a welded relay is cut at once, °C
	best60C map[byte]float64 // and when it is cut after 60 s
}

func newMatrixKiln(tb testing.TB, name string) *matrixKiln {
	p := shipped(tb, name)
	kind, err := relay.ParseKind(p.Relay.Kind)
	require.NoError(tb, err)
	k := &matrixKiln{house: newHouse(tb, p, fitted(tb, name), kind, matrixProfile), name: name, fibre: strings.Contains(name, "fibre"),
		moments: map[byte]*moment{}, best0C: map[byte]float64{}, best60C: map[byte]float64{}}
	end := k.run(tb, night{options: bench.Options{AmbientC: 20, Seed: 11, MainsSwing: 0.015},
		tick: func(b *bench.Bench, s controller.State, o controller.Output) bool {
			for _, g := range stages {
				if g.at != nil && k.moments[g.initial] == nil && g.at(s.Plan) {
					k.moments[g.initial] = &moment{s, b.State()}
				}
			}
			return o.Ended
		}})
	require.Equal(tb, "finished", end.Outcome(), name)
	for _, g := range stages {
		cold := kiln.New(p, 20).State()
		if m := k.moments[g.initial]; m != nil {
			cold = m.shop.Kiln
		}
		k.best0C[g.initial], k.best60C[g.initial] = rise(tb, p, cold, 0), rise(tb, p, cold, 60)
	}
	return k
}

// fitted is what a fit makes of a kiln: a little wrong, and it says so.
func fitted(tb testing.TB, name string) kiln.Params {
	p := shipped(tb, name)
	p.Fitted = &kiln.Fitted{Doubt: 0.04}
	p.Elements.Rated *= 1.02
	for i := range p.Walls {
		conducts := quantity.Ratio(0.97)
		p.Walls[i].Conducts = &conducts
	}
	return p
}

// rise is how much hotter a kiln still gets whose relay welds now and whose
// power is cut so much later, °C.
func rise(tb testing.TB, p kiln.Params, s kiln.State, cutS int) float64 {
	k := kiln.New(p, 20)
	require.NoError(tb, k.Restore(s))
	from := k.JunctionC()
	most := from
	for t := range 3600 {
		on := 0.0
		if t < cutS {
			on = 1
		}
		k.Step(1, kiln.Input{On: on, MainsRatio: 1, AmbientC: 20})
		most = math.Max(most, k.JunctionC())
	}
	return most - from
}

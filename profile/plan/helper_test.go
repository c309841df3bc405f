package plan

import (
	"encoding/json"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"calx/profile"
	"calx/sim/kiln"
	"calx/sim/mould"
)

// Three shipped moulds, each with the smallest shipped kiln that has some room
// around it.
var cases = []struct{ mould, kiln string }{
	{"thin-leaf-65", "bench-9l-brick"},
	{"woody-pod-90", "bench-16l-fibre-120v"},
	{"cone-150", "studio-40l-brick"},
}

func shipped(t testing.TB, mouldName, kilnName string) Input {
	t.Helper()
	text, err := mould.ShippedFile(mouldName)
	require.NoError(t, err)
	m, err := mould.Load(mouldName, text)
	require.NoError(t, err)
	text, err = kiln.ShippedFile(kilnName)
	require.NoError(t, err)
	k, err := kiln.Load(kilnName, text)
	require.NoError(t, err)
	return Input{Kiln: k, Moulds: []mould.Params{m}, AmbientC: 20, PourC: 540}
}

func leaf(t testing.TB) Input  { return shipped(t, cases[0].mould, cases[0].kiln) }
func woody(t testing.TB) Input { return shipped(t, cases[1].mould, cases[1].kiln) }
func cone(t testing.TB) Input  { return shipped(t, cases[2].mould, cases[2].kiln) }

// quick asks for fewer draws than usual.
func quick(in Input) Input {
	if in.Samples == 0 {
		in.Samples = 40
	}
	return in
}

// plans keeps what was made: many tests look at the same ones.
var plans sync.Map // of input as text, to func() (*Plan, error)

// made plans, quickly. The plan is shared: do not change it.
func made(t testing.TB, in Input) *Plan {
	t.Helper()
	key, err := json.Marshal(in)
	require.NoError(t, err)
	once, _ := plans.LoadOrStore(string(key), sync.OnceValues(func() (*Plan, error) { return Make(quick(in)) }))
	p, err := once.(func() (*Plan, error))()
	require.NoError(t, err)
	require.NoError(t, p.Profile.Check())
	require.Len(t, p.Reasons, len(p.Profile.Steps))
	return p
}

// chamberOf is the chamber of a plan from its sentences and the times beside
// them, without the walker.
func chamberOf(p *Plan, startC float64) mould.History {
	type knot struct{ tS, c float64 }
	way := []knot{{0, startC}}
	for i, s := range p.Profile.Steps {
		c := way[len(way)-1].c
		if s.Kind == profile.Heat || s.Kind == profile.Cool {
			c = s.TargetC
		}
		way = append(way, knot{p.Reasons[i].To.Seconds(), c})
	}
	return func(tS float64) (float64, bool) {
		for i := 1; i < len(way); i++ {
			if a, b := way[i-1], way[i]; tS < b.tS {
				return a.c + (b.c-a.c)*(tS-a.tS)/(b.tS-a.tS), false
			}
		}
		return way[len(way)-1].c, false
	}
}

// saturday is noon of a Saturday.
var saturday = time.Date(2025, 6, 14, 12, 0, 0, 0, time.UTC)

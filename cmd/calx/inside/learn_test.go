package inside

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/profile"
	"calx/profile/pieces"
	"calx/storage/record"
)

func podMould(t testing.TB) (*controller.Mould, []File, *profile.Profile) {
	files, p := []File{shipped(t, "woody-pod-90")}, demo(t)
	m, err := Build(files, bench(t), p, nil)
	require.NoError(t, err)
	return m, files, p
}

// soaked are n pieces of the pod's kind that were held at 700 °C.
func soaked(n int, flask string, state pieces.State, minutes float64, air bool) (out Pulls) {
	k := pieces.Kind{Material: "seed pod", Flask: flask, Sprue: "open mouth", Air: air}
	for i := range n {
		out.List = append(out.List, pieces.Pull{
			Kind: k, SectionM: 0.012, State: state, History: pieces.Soak(700, time.Duration(minutes*(1+0.02*float64(i))*float64(time.Minute))),
		})
	}
	return out
}

func TestNoPieceIsThePhysics(t *testing.T) {
	m, files, p := podMould(t)
	want := slices.Clone(m.Clear)
	for name, pulls := range map[string]Pulls{
		"none":          {},
		"wax and resin": {List: []pieces.Pull{{Kind: pieces.Kind{Material: "sprue wax"}, SectionM: 0.01, State: pieces.Clear, History: pieces.Soak(700, time.Hour)}}},
	} {
		Learn(m, files, p, pulls)
		assert.Equal(t, want, m.Clear, name)
	}
	Learn(m, files, p, Pulls{LeftOut: []string{"piece 1: no such firing"}})
	assert.Equal(t, "physics alone, the test pieces could not be used: piece 1: no such firing", m.Clear[0].Basis)
	m.Clear[0].Basis = Physics
	assert.Equal(t, want, m.Clear)
}

func TestPiecesMoveTheMiddle(t *testing.T) {
	m, _, p := podMould(t)
	physics, air := m.Clear[0], airInBurn(p)
	learn := func(pulls Pulls) controller.Belief {
		m, files, p := podMould(t)
		Learn(m, files, p, pulls)
		require.Len(t, m.Clear, 1)
		b := m.Clear[0]
		t.Logf("%-70s median %5.0f min (physics %.0f), sigma %.2f, E %.0f J/mol, 95 %% by %.0f min", b.Basis, b.MedianMin, physics.MedianMin, b.SigmaLn, b.EnergyJPerMol, b.MedianMin*math.Exp(1.6449*b.SigmaLn))
		assert.GreaterOrEqual(t, b.EnergyJPerMol, 1000.0)
		return b
	}
	early := learn(soaked(7, "woody-pod-90", pieces.Clear, physics.MedianMin/2, air))
	assert.Less(t, early.MedianMin, 0.6*physics.MedianMin)
	assert.Equal(t, "7 test pieces of the same kind and the physics", early.Basis)
	late := learn(soaked(7, "woody-pod-90", pieces.Charred, physics.MedianMin, air))
	assert.Greater(t, late.MedianMin, 1.5*physics.MedianMin)

	// A plug of the same wood tells less than the mould itself, in the same sense.
	plugs := learn(soaked(7, "plug", pieces.Clear, 60, air))
	assert.Less(t, plugs.MedianMin, physics.MedianMin)
	assert.Greater(t, plugs.MedianMin, early.MedianMin)
	assert.Equal(t, "7 test pieces of other kinds and the physics", plugs.Basis)

	both := soaked(1, "woody-pod-90", pieces.Clear, physics.MedianMin, air)
	both.List = append(both.List, soaked(2, "plug", pieces.CharCore, 100, air).List...)
	assert.Equal(t, "3 test pieces, one of the same kind, and the physics", learn(both).Basis)

	// One glance at the middle leaves the middle about where it was.
	one := learn(soaked(1, "woody-pod-90", pieces.Clear, 3*physics.MedianMin, air))
	assert.InEpsilon(t, physics.MedianMin, one.MedianMin, 0.1)
}

// A plug is called "plug" in the notebook, whatever the file's name.
func TestAMouldIsCalledAsInTheNotebook(t *testing.T) {
	called := soaked(1, "plug", pieces.Clear, 60, false).List
	assert.Equal(t, "plug", habit("test-plug-60", called))
	assert.Equal(t, "woody-pod-90", habit("woody-pod-90", called))
	assert.Equal(t, "Woody Pod", habit("woody-pod-90", append(called, soaked(1, "Woody Pod", pieces.Clear, 60, false).List...)))
}

// Thicker pieces tell nothing of a leaf, which waits for heat.
func TestThinPatternsKeepThePhysics(t *testing.T) {
	files, p := []File{shipped(t, "thin-leaf-65")}, demo(t)
	m, err := Build(files, bench(t), p, nil)
	require.NoError(t, err)
	want := slices.Clone(m.Clear)
	Learn(m, files, p, soaked(3, "plug", pieces.Clear, 60, true))
	assert.Equal(t, want, m.Clear)
}

func TestBeliefsAreKept(t *testing.T) {
	m, files, p := podMould(t)
	Learn(m, files, p, soaked(3, "plug", pieces.Clear, 77, true))
	want, text := slices.Clone(m.Clear), Keep(m)
	again, _, _ := podMould(t)
	require.NoError(t, Recall(again, text))
	assert.Equal(t, want, again.Clear, "bit for bit")
	assert.Equal(t, want[0].Basis, KeptBasis(text))

	fresh, _, _ := podMould(t)
	physics := slices.Clone(fresh.Clear)
	require.NoError(t, Recall(fresh, ""), "of an old head")
	assert.Equal(t, physics, fresh.Clear)
	assert.Equal(t, Physics, KeptBasis(""))
	assert.ErrorContains(t, Recall(fresh, "[]"), "0 beliefs about 1 pieces")
	assert.ErrorContains(t, Recall(fresh, "{"), "cannot be read")
	assert.Equal(t, physics, fresh.Clear)
}

func TestPiecesThatCannotBeUsed(t *testing.T) {
	pulls := ReadPulls(nil, []record.Note{
		{ID: 1, Piece: &record.Piece{Material: "twig", SectionM: 0.01, HoldC: 700, HoldS: 3600, State: "clear"}},
		{ID: 2, Piece: &record.Piece{Material: "twig", SectionM: 0.01, HoldC: 700, HoldS: 3600, State: "grey"}},
	})
	assert.Equal(t, []uint64{1}, pulls.Used)
	require.Len(t, pulls.LeftOut, 1)
	assert.Contains(t, pulls.LeftOut[0], `piece 2: pieces: state "grey"`)
	m, files, p := podMould(t)
	Learn(m, files, p, pulls)
	assert.Equal(t, "1 test piece of another kind and the physics; 1 left out, see calx piece predict", m.Clear[0].Basis)
}

func BenchmarkLearn(b *testing.B) {
	m, files, p := podMould(b)
	for b.Loop() {
		again := *m
		Learn(&again, files, p, soaked(7, "plug", pieces.Clear, 60, true))
	}
}

func TestFollowNamesOneMould(t *testing.T) {
	head := record.Firing{ID: 7, Moulds: []string{"a", "b"}}
	_, err := followFiring(head, "core 2")
	assert.NoError(t, err)
	for _, name := range []string{"core 0", "core 3", "core 1 2", "core 2nd", "core "} {
		_, err := followFiring(head, name)
		assert.ErrorContains(t, err, "firing 7 has 2 kinds of mould", name)
	}
}

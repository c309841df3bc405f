package pieces

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestHoldIsWherePClearIsTheChance(t *testing.T) {
	_, pulls := readSeven(t)
	p := mustFit(t, DefaultPrior(), pulls...)
	lead := []Sample{{0, 20, 0}, {6 * time.Hour, 370, 0}, {8 * time.Hour, 370, 0}, {11 * time.Hour, 720, 0}}
	for _, k := range []Kind{stem, {Material: "seed pod", Flask: "steel flask"}} {
		for _, chance := range []float64{0.9, 0.95, 0.99} {
			g := Goal{Part: Part{Kind: k, SectionM: 0.011, Count: 3}, Chance: chance, Lead: lead, TempC: 720}
			h, err := p.Hold(g)
			require.NoError(t, err)
			c, err := p.PClear(g.Part, append(lead[:len(lead):len(lead)], Sample{11*time.Hour + h.Time, 720, 0}))
			require.NoError(t, err)
			assert.InDelta(t, chance, c, 1e-4)
			assert.Less(t, h.Low, h.Time)
			assert.Less(t, h.Time, h.High)
		}
	}
}

// A history that has done the work needs no hold; the lead counts.
func TestLeadCounts(t *testing.T) {
	p := mustFit(t, DefaultPrior())
	g := goal
	cold, err := p.Hold(g)
	require.NoError(t, err)
	g.Lead = Soak(700, 2*time.Hour)
	warm, err := p.Hold(g)
	require.NoError(t, err)
	assert.InDelta(t, 120, (cold.Time - warm.Time).Minutes(), 0.2)
	g.Lead = Soak(700, 200*time.Hour)
	done, err := p.Hold(g)
	require.NoError(t, err)
	assert.Zero(t, done.Time)
	assert.Zero(t, done.Low)
}

// All of k pieces: with nothing unknown but the scatter, P is that of one to the
// k; with unknown parameters it is more, since they share them.
func TestAllOfSeveralPieces(t *testing.T) {
	p := mustFit(t, DefaultPrior())
	one, err := p.PClear(goal.Part, Soak(700, 8*time.Hour))
	require.NoError(t, err)
	part := goal.Part
	part.Count = 4
	all, err := p.PClear(part, Soak(700, 8*time.Hour))
	require.NoError(t, err)
	assert.Less(t, all, one)
	assert.Greater(t, all, math.Pow(one, 4))
}

func TestGoalsOutOfRange(t *testing.T) {
	p := mustFit(t, DefaultPrior())
	for _, c := range []struct {
		set  func(*Goal)
		want string
	}{
		{func(g *Goal) { g.Chance = 1 }, "pieces: goal: chance 1 is outside 0.5 to 0.999"},
		{func(g *Goal) { g.TempC = 200 }, "hold at 200 °C is outside 350 to 1100 °C"},
		{func(g *Goal) { g.Part.SectionM = 0 }, "section 0 mm is outside 0.2 to 300 mm"},
		{func(g *Goal) { g.Part.Count = -1 }, "count -1 is outside 0 to 1000"},
	} {
		g := goal
		c.set(&g)
		_, err := p.Hold(g)
		assert.ErrorContains(t, err, c.want)
		_, err = p.Explain(g)
		assert.ErrorContains(t, err, c.want)
	}
	thick := goal
	thick.Part.SectionM, thick.TempC = 0.3, 350
	_, err := p.Hold(thick)
	assert.ErrorIs(t, err, ErrNever)
	_, err = p.PClear(Part{Kind: stem}, nil)
	assert.ErrorContains(t, err, "section 0 mm")
}

func TestSamePullsSameAnswer(t *testing.T) {
	_, pulls := readSeven(t)
	a, b := mustFit(t, DefaultPrior(), pulls...), mustFit(t, DefaultPrior(), pulls...)
	assert.Equal(t, mustHold(t, a, stem, 0.012, 0.95), mustHold(t, b, stem, 0.012, 0.95))
	for i, j := 0, len(pulls)-1; i < j; i, j = i+1, j-1 {
		pulls[i], pulls[j] = pulls[j], pulls[i]
	}
	c := mustFit(t, DefaultPrior(), pulls...)
	assert.InEpsilon(t, mustHold(t, a, stem, 0.012, 0.95).Time.Hours(), mustHold(t, c, stem, 0.012, 0.95).Time.Hours(), 0.01)
}

func TestExplainSaysWhatMatters(t *testing.T) {
	none := mustFit(t, DefaultPrior())
	g := goal
	g.Part.SectionM, g.Part.Count, g.Lead = 0.004, 2, Soak(700, 300*time.Hour)
	text, err := none.Explain(g)
	require.NoError(t, err)
	assert.Equal(t, "without a test piece, the burnout physics for an unknown mould says no further hold (0 min to 0 min) at 700 °C for all 2 of the 4 mm woody stem to be clear with 95 % certainty."+
		" It rests on no test piece yet, only the burnout physics for an unknown mould."+
		" Under 6 mm a piece waits for heat rather than air: trust this for the schedule of the test pieces only.", text)
	one := mustFit(t, DefaultPrior(), isothermal(0.012, CharCore, 300, 700))
	text, err = one.Explain(goal, testsAt(300)...)
	require.NoError(t, err)
	assert.Contains(t, text, "your one piece says ")
	assert.Contains(t, text, "; one more pull, 12 mm woody stem at 5 h, would ")
	assert.Contains(t, text, "It rests on one piece of the same kind, and the burnout physics")
	_, err = one.Explain(goal, Test{})
	assert.ErrorContains(t, err, "test 1: section 0 mm")
}

func TestWords(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0: "0 min", 40 * time.Minute: "40 min", time.Hour: "1 h", 378 * time.Minute: "6 h 20 min", 26*time.Hour + 40*time.Minute: "27 h",
	} {
		assert.Equal(t, want, words(d))
	}
	assert.Equal(t, "would about halve that range", would(0.5))
	assert.Equal(t, "would hardly narrow that range", would(0.99))
	assert.Equal(t, "no test piece yet, only the physics", Basis{Prior: "the physics"}.String())
	assert.Equal(t, "13 pieces, one of the same kind, from two firings, and the physics; the pieces and the prior disagree: check labels and temperatures before trusting this",
		Basis{Pieces: 13, Same: 1, Firings: 2, Prior: "the physics", Disagree: true}.String())
}

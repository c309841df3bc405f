package pieces

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var goal = Goal{Part: Part{Kind: stem, SectionM: 0.012}, Chance: 0.95, TempC: 700}

func testsAt(minutes ...float64) []Test {
	var all []Test
	for _, m := range minutes {
		all = append(all, Test{stem, 0.012, Soak(700, mins(m))})
	}
	return all
}

// What Next promises is what happens on average: fit again after each outcome.
func TestNextKeepsItsPromise(t *testing.T) {
	pulls := []Pull{isothermal(0.012, CharCore, 180, 700), isothermal(0.012, Ash, 600, 700)}
	p := mustFit(t, DefaultPrior(), pulls...)
	gains, err := p.Next(goal, testsAt(20, 300, 3000))
	require.NoError(t, err)
	g := gains[0]
	require.Equal(t, 5*time.Hour, g.At, "an outcome known beforehand tells nothing")
	assert.InDelta(t, 1, g.Charred+g.Core+g.Clear, 1e-9)
	x, w := p.aims(goal)
	now, after := spreadOf(w, x), 0.0
	for _, c := range []struct {
		s State
		p float64
	}{{Charred, g.Charred}, {CharCore, g.Core}, {Ash, g.Clear}} {
		x, w := mustFit(t, DefaultPrior(), append(pulls, isothermal(0.012, c.s, 300, 700))...).aims(goal)
		after += c.p * spreadOf(w, x)
	}
	t.Logf("expected variance %.4f, by fitting again %.4f; now %.4f", g.Narrow*g.Narrow*now, after, now)
	assert.InEpsilon(t, after, g.Narrow*g.Narrow*now, 0.03)
	for _, late := range gains[1:] {
		assert.Greater(t, late.Narrow, g.Narrow)
	}
}

// No pull can widen the expected variance, and the law of total variance holds:
// Blackwell & Girshick, Theory of Games and Statistical Decisions (1954), from
// memory.
func TestEvidenceNeverWidensOnAverage(t *testing.T) {
	_, pulls := readSeven(t)
	p := mustFit(t, DefaultPrior(), pulls...)
	gains, err := p.Next(goal, testsAt(1, 10, 60, 240, 420, 600, 900, 2000, 8000))
	require.NoError(t, err)
	for _, g := range gains {
		assert.LessOrEqual(t, g.Narrow, 1+1e-9, "%v", g.At)
		assert.Greater(t, g.Narrow, 0.5)
	}
}

func TestWorthFallsAsEvidenceGrows(t *testing.T) {
	times := testsAt(150, 220, 300, 420, 600)
	none := mustFit(t, DefaultPrior())
	first, narrow, err := none.Worth(goal, times, 8)
	require.NoError(t, err)
	t.Logf("without evidence %d worth making, range shrinks to %.2f", first, narrow)
	before := 1.0
	for _, n := range narrow {
		assert.LessOrEqual(t, n, before+0.02, "each piece narrows")
		before = n
	}
	many, rest, err := mustFit(t, DefaultPrior(), readSimulated(t)...).Worth(goal, times, 8)
	require.NoError(t, err)
	t.Logf("with 200 pieces %d worth making, range shrinks to %.2f", many, rest)
	assert.Greater(t, first, 2)
	assert.Less(t, many, first)
	assert.Greater(t, rest[0], narrow[0])

	// the first of Worth is Next
	gains, err := none.Next(goal, times)
	require.NoError(t, err)
	assert.InDelta(t, gains[0].Narrow, narrow[0], 0.12)

	_, _, err = none.Worth(goal, times, 0)
	assert.ErrorContains(t, err, "most 0 is outside 1 to 12")
	_, err = none.Next(goal, nil)
	assert.ErrorContains(t, err, "tests: none given")
	_, err = none.Next(goal, []Test{{stem, -1, nil}})
	assert.ErrorContains(t, err, "pieces: test 1: section -1e+03 mm is outside 0.2 to 300 mm")
}

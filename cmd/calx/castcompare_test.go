package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"calx/storage/record"
)

// R. G. Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3
// (score, without continuity correction), to the four digits given there.
func TestWilsonAgainstThePublishedTable(t *testing.T) {
	for _, c := range []struct {
		count, total int
		low, high    float64
	}{
		{81, 263, 0.2553, 0.3662},
		{15, 148, 0.0624, 0.1605},
		{0, 20, 0, 0.1611},
		{1, 29, 0.0061, 0.1718},
	} {
		low, high := wilson(c.count, c.total)
		assert.InDelta(t, c.low, low, 0.00005, "%d of %d", c.count, c.total)
		assert.InDelta(t, c.high, high, 0.00005, "%d of %d", c.count, c.total)
	}
}

// R. G. Newcombe, Statistics in Medicine 17 (1998) 873, table II, method 10;
// the values from memory.
func TestDifferenceAgainstThePublishedTable(t *testing.T) {
	for _, c := range []struct {
		a, n, b, m int
		low, high  float64
	}{
		{56, 70, 48, 80, 0.0524, 0.3339},
		{9, 10, 3, 10, 0.1705, 0.8090},
	} {
		low, high := newcombe(group(c.a, c.n), group(c.b, c.m))
		assert.InDelta(t, c.low, low, 0.00005)
		assert.InDelta(t, c.high, high, 0.00005)
	}
}

func group(count, total int) groupRow {
	g := groupRow{Count: count, Total: total, Share: float64(count) / float64(total)}
	g.Low, g.High = wilson(count, total)
	return g
}

func castings(washed string, good, bad int) (out []record.Note) {
	for i := range good + bad {
		c := record.Casting{WashOut: washed, Outcome: []string{record.Good}}
		if i >= good {
			c.Outcome = []string{"char"}
		}
		out = append(out, record.Note{Casting: &c})
	}
	return out
}

func TestNoFalseCertainty(t *testing.T) {
	r := compare(append(castings("yes", 3, 1), castings("no", 2, 3)...), "wash-out", record.Good)
	assert.Equal(t, "2 of 5 against 3 of 4: cannot tell", r.Verdict)
	r = compare(append(castings("yes", 19, 1), castings("no", 5, 15)...), "wash-out", record.Good)
	assert.Equal(t, "5 of 20 against 19 of 20: with wash-out more often good", r.Verdict)
	r = compare(append(castings("yes", 3, 1), castings("", 2, 3)...), "wash-out", record.Good)
	assert.Contains(t, r.Verdict, "there are 1")
	assert.Equal(t, 5, r.LeftOut)
}

func TestIntervalsHoldTheirShare(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 500).Draw(t, "total")
		g := group(rapid.IntRange(0, n).Draw(t, "count"), n)
		assert.True(t, 0 <= g.Low && g.Low <= g.Share+1e-12 && g.Share <= g.High+1e-12 && g.High <= 1, "%+v", g)
	})
}

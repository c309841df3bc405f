package law

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// a bench kiln of three stores, quicker when hot: figures of our own.
func benchPlant() Plant {
	at := func(t, el, pr float64) Point {
		return Point{TempC: t, ElementLagS: el, ProbeLagS: pr, Nodes: []Node{
			{CapJPerK: 3000, AmbientWPerK: 0.2},
			{Parent: 0, CapJPerK: 8000, LinkWPerK: 12},
			{Parent: 1, CapJPerK: 30000, LinkWPerK: 4, AmbientWPerK: 1.5},
		}}
	}
	return Plant{PowerW: 2400, AmbientC: 20, Points: []Point{at(20, 300, 80), at(300, 120, 45), at(700, 45, 18), at(1100, 20, 10)}}
}

func TestRampAndHoldOnOwnModel(t *testing.T) {
	l, err := New(benchPlant(), Options{})
	require.NoError(t, err)
	plan := func(s float64) float64 { return math.Min(20+s*200/3600, 420) }
	truth := l.Start(20)
	s := l.Start(20)
	times := l.AheadS()
	var worst, sum float64
	n := 0
	for k := 0; k < 12000; k++ {
		now := float64(k)
		y := l.JunctionC(truth)
		s = l.Observe(s, y)
		var a Ahead
		for i, d := range times {
			a[i] = plan(now + d)
		}
		var u float64
		s, u = l.Decide(s, &a)
		s = l.Advance(s, u)
		truth.Duty = u
		truth = l.Advance(truth, u*0.9)
		e := y - plan(now)
		if k > 600 {
			sum += e * e
			n++
			worst = math.Max(worst, math.Abs(e))
		}
		if testing.Verbose() && k%300 == 0 {
			t.Logf("%5d r %.2f y %.2f u %.3f d %.3f", k, plan(now), y, u, s.Extra)
		}
	}
	t.Logf("rms %.3f worst %.3f", math.Sqrt(sum/float64(n)), worst)
}

func BenchmarkTick(b *testing.B) {
	l, _ := New(benchPlant(), Options{})
	s := l.Start(500)
	var a Ahead
	for i := range a {
		a[i] = 510
	}
	for b.Loop() {
		s = l.Observe(s, 501)
		s, _ = l.Decide(s, &a)
		s = l.Advance(s, 0.3)
	}
}

package law

import "testing"

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

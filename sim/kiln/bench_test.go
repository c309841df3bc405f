package kiln_test

import (
	"testing"

	"calx/sim/kiln"
)

func BenchmarkStep(b *testing.B) {
	k := kiln.New(load(b, "bench-9l-brick"), 20)
	in := kiln.Input{On: 0.5, MainsRatio: 1, AmbientC: 20}
	for range 3600 {
		k.Step(1, in)
	}
	b.ReportAllocs()
	for b.Loop() {
		k.Step(1, in)
	}
}

func BenchmarkBalance(b *testing.B) {
	p := load(b, "bench-9l-brick")
	for b.Loop() {
		p.Balance(700, 20)
	}
}

func BenchmarkEnvelope(b *testing.B) {
	p := load(b, "bench-9l-brick")
	for b.Loop() {
		p.Envelope(20)
	}
}

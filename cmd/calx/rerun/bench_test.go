package rerun

import (
	"testing"

	"calx/controller/identify"
	"calx/sim/kiln"
)

// What a replay costs before its first tick.
func BenchmarkKilnFigures(b *testing.B) {
	text, err := kiln.ShippedFile("bench-9l-brick")
	if err != nil {
		b.Fatal(err)
	}
	p, err := kiln.Load("kiln", text)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		identify.Guard(p, identify.Plant(p, 20))
	}
}

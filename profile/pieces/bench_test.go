package pieces

import "testing"

func BenchmarkFitSeven(b *testing.B) {
	_, pulls := readSeven(b)
	for b.Loop() {
		if _, err := Fit(DefaultPrior(), pulls); err != nil {
			b.Fatal(err)
		}
	}
}

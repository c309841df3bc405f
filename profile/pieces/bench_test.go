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

// Twelve pieces of one named firing, whose shared error is integrated over.
func BenchmarkFitOneFiring(b *testing.B) {
	var pulls []Pull
	for i := range 12 {
		p := isothermal(0.012, []State{Charred, CharCore, Ash}[i%3], []float64{60, 260, 420}[i%3]+float64(i), 700)
		p.Firing = "a"
		pulls = append(pulls, p)
	}
	for b.Loop() {
		if _, err := Fit(DefaultPrior(), pulls); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFitTwoHundred(b *testing.B) {
	pulls := readSimulated(b)
	for b.Loop() {
		if _, err := Fit(DefaultPrior(), pulls); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkHold(b *testing.B) {
	_, pulls := readSeven(b)
	p := mustFit(b, DefaultPrior(), pulls...)
	for b.Loop() {
		if _, err := p.Hold(goal); err != nil {
			b.Fatal(err)
		}
	}
}

// A night of samples, one a minute.
func BenchmarkPClear(b *testing.B) {
	_, pulls := readSeven(b)
	p := mustFit(b, DefaultPrior(), pulls...)
	var night []Sample
	for i := range 12 * 60 {
		night = append(night, Sample{mins(float64(i)), min(720, 20+float64(i)), 0})
	}
	for b.Loop() {
		if _, err := p.PClear(goal.Part, night); err != nil {
			b.Fatal(err)
		}
	}
}

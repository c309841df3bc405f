package law_test

import (
	"testing"

	"calx/controller/identify"
	"calx/controller/law"
)

func BenchmarkNew(b *testing.B) {
	plant := identify.Plant(ovens(b)[2].p, roomC)
	for b.Loop() {
		if _, err := law.New(plant, law.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMargins(b *testing.B) {
	l := ovens(b)[2].law
	for b.Loop() {
		l.Margins()
	}
}

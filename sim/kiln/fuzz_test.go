package kiln_test

import (
	"bytes"
	"errors"
	"math"
	"testing"

	"calx/sim/kiln"
	"calx/sim/quantity"
)

// Whatever a kiln file holds, it is refused with its place, or is a kiln that
// can be written, read back as itself and heated without a figure running off.
func FuzzLoad(f *testing.F) {
	for _, name := range kiln.Shipped() {
		text, err := kiln.ShippedFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte("walls: [{thickness: 5 mm, conductivity: 0.1 W/m/K, density: 400 kg/m3, heat_capacity: 1 kJ/kg/K}]"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := kiln.Load("k.yaml", data)
		if err != nil {
			var told quantity.Errors
			if !errors.As(err, &told) || len(told) == 0 || told[0].Line < 1 || told[0].File != "k.yaml" {
				t.Fatalf("no place in %v", err)
			}
			if p.Name != "" || p.Walls != nil {
				t.Fatalf("got %+v beside %v", p, err)
			}
			return
		}
		text, err := p.Text(nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		q, err := kiln.Load("again", text)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if back, err := q.Text(nil, nil); err != nil || !bytes.Equal(text, back) {
			t.Fatalf("%v\n%s\nis read as\n%s", err, text, back)
		}
		heat(t, p)
	})
}

// heat runs a kiln for an hour of every kind of trouble at once.
func heat(t *testing.T, p kiln.Params) {
	k := kiln.New(p, 20)
	for range 60 {
		k.Step(60, kiln.Input{On: 1, MainsRatio: 1.1, DoorOpen: 0.5, AirOn: true, AmbientC: -10, LoadHeatW: 500})
	}
	for _, c := range []float64{k.JunctionC(), k.ElementC(), k.HotFaceC(), k.LoadC(), k.ShellC(), k.EnergyJ()} {
		if math.IsNaN(c) || math.IsInf(c, 0) {
			t.Fatalf("%+v", k.State())
		}
	}
	again := kiln.New(p, 20)
	if err := again.Restore(k.State()); err != nil {
		t.Fatal(err)
	}
}

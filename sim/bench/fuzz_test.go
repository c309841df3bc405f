package bench_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"calx/sim/bench"
	"calx/sim/chip"
	"calx/sim/kiln"
	"calx/sim/quantity"
)

// A file of mishaps is refused with its place, or every one of them can happen
// and pass again.
func FuzzMishaps(f *testing.F) {
	text, err := kiln.ShippedFile("bench-9l-brick")
	if err != nil {
		f.Fatal(err)
	}
	p, err := kiln.Load("kiln", text)
	if err != nil {
		f.Fatal(err)
	}
	for _, kind := range bench.Kinds() {
		f.Add([]byte("mishaps:\n  - {at: 1 s, for: 2 s, kind: " + kind + "}\n  - {at: 2 s, kind: " + kind + ", value: 0.3}\n"))
	}
	f.Add([]byte("mishaps: [{at: 1 s, kind: open, on: second}, {at: 2 s, kind: welded, on: main}, {at: 3 s, for: 2 s, kind: power}]"))
	f.Add([]byte("mishaps: [{at: 3 h, kind: mains, value: 1e999, for: -1 s}]"))
	f.Fuzz(func(t *testing.T, data []byte) {
		ms, err := bench.ParseMishaps("m.yaml", data)
		if err != nil {
			var told quantity.Errors
			if ms != nil || !errors.As(err, &told) || told[0].File != "m.yaml" || told[0].Line < 1 {
				t.Fatalf("%v beside %v", ms, err)
			}
			return
		}
		if len(ms) > 50 {
			return // slow, and no other than fifty
		}
		for i := range ms { // soon enough to be seen
			ms[i].At %= 10 * time.Second
			if ms[i].For > 0 {
				ms[i].For = 1 + ms[i].For%(10*time.Second)
			}
		}
		b, err := bench.New(bench.Options{Kiln: p, AmbientC: 20, Seed: 1, Mishaps: ms, Main: true, Second: &bench.Second{Model: chip.MAX31855}})
		if err != nil {
			t.Fatal(err)
		}
		for b.Mono() < 30*time.Second {
			err := b.Sleep(context.Background(), 30*time.Second-b.Mono())
			if errors.Is(err, bench.ErrPowerCut) {
				_, err = b.PowerBack(context.Background(), time.Second)
			}
			if err != nil && !errors.Is(err, bench.ErrPowerCut) {
				t.Fatal(err)
			}
		}
		if got := b.Truth().JunctionC; !(got > -60 && got < 2000) {
			t.Fatalf("the junction is at %v °C after %+v", got, ms)
		}
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
	})
}

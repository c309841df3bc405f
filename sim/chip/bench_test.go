package chip_test

import (
	"testing"
	"time"

	"calx/sensor/thermocouple"
	"calx/sim/chip"
)

// One second of a firing: the plant sets the junctions, the host reads a frame
// with a fresh, noisy conversion.
func benchmarkFrame(b *testing.B, m chip.Model, n int, setup func(*rig)) {
	r := newRig(b, chip.Options{Model: m, Type: thermocouple.K, Deviation: chip.TypicalNoise(m, thermocouple.K)})
	setup(r)
	buf, out := make([]byte, n), make([]byte, n)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		r.now += time.Second
		r.Set(float64(i%1200), 25)
		if err := r.conn.Tx(out, buf); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMAX31855(b *testing.B) { benchmarkFrame(b, chip.MAX31855, 4, func(*rig) {}) }

func BenchmarkMAX6675(b *testing.B) { benchmarkFrame(b, chip.MAX6675, 2, func(*rig) {}) }

func BenchmarkMAX31856(b *testing.B) {
	benchmarkFrame(b, chip.MAX31856, 17, func(r *rig) { r.write(cr0, auto|openTest) })
}

func BenchmarkRelay(b *testing.B) {
	var now time.Duration
	r, err := chip.NewRelay(chip.RelayOptions{Name: "SIM_RELAY_BENCH", Now: func() time.Duration { return now }})
	if err != nil {
		b.Fatal(err)
	}
	for i := 0; b.Loop(); i++ {
		now += time.Second
		if err := r.Out(i%2 == 0); err != nil {
			b.Fatal(err)
		}
		r.OnTime()
	}
}

package chip_test

import (
	"math"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"calx/sensor/thermocouple"
	"calx/sim/chip"
)

// Mean and spread of many conversions. The noise of MAX31856 is that of data
// sheet 19-7534 (1.3 µV rms at gain 8); the Seebeck coefficient of type K at
// 700 °C, 41.90 µV/°C, is that of NIST SRD 60; averaging n divides by √n.
func TestNoise(t *testing.T) {
	for _, averaging := range []byte{0, 4} {
		r := newRig(t, chip.Options{Model: chip.MAX31856, Type: thermocouple.K, Seed: 3,
			Deviation: chip.TypicalNoise(chip.MAX31856, thermocouple.K)})
		r.Set(700, 25)
		r.write(cr1, averaging<<4|3)
		r.write(cr0, auto)
		const n = 4000
		var sum, squares float64
		for range n {
			r.now += time.Second
			e := hot19(r.read(ltcbh, 3)) - 700
			assert.Equal(t, e, hot19(r.read(ltcbh, 3))-700, "the same conversion again")
			sum += e
			squares += e * e
		}
		rms := 1.3 / 41.90 / math.Sqrt(float64(int(1)<<averaging))
		// The standard error of a deviation from n samples is 1/√(2n); the
		// steps of 1/128 °C add 1/128/√12.
		want := math.Hypot(rms, 1.0/128/math.Sqrt(12))
		assert.InDelta(t, 0, sum/n, 5*want/math.Sqrt(n))
		assert.InEpsilon(t, want, math.Sqrt(squares/n), 5/math.Sqrt(2*n))
	}
}

func TestDeviation(t *testing.T) {
	tests := []struct {
		name        string
		d           chip.Deviation
		hotC, coldC float64 // shown for 700 over 25 °C after an hour
	}{
		// Type K, NIST SRD 60: E(700 °C) = 29.129 mV, E(25 °C) = 1.000 mV,
		// 41.90 µV/°C at 700 °C, 40.5 at 25 °C.
		{"offset", chip.Deviation{OffsetMicrovolt: 7.8}, 700 + 7.8/41.90, 25},
		{"gain", chip.Deviation{Gain: 0.0015}, 700 + 0.0015*28129/41.90, 25},
		{"cold offset", chip.Deviation{ColdOffsetC: 0.7}, 700 + 0.7*40.5/41.90, 25.7},
		{"cold drift", chip.Deviation{ColdDriftCPerH: 1}, 700 + 40.5/41.90, 26},
		{"self-heating", chip.Deviation{SelfHeatC: 2, SelfHeatTau: time.Hour}, 700 + 2*0.632*40.5/41.90, 25 + 2*0.632},
		{"warm at once", chip.Deviation{SelfHeatC: 2}, 700 + 2*40.5/41.90, 27},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, chip.Options{Model: chip.MAX31856, Type: thermocouple.K, Deviation: tt.d})
			r.Set(700, 25)
			r.write(cr0, auto)
			r.now = time.Hour
			b := r.read(cjth, 5)
			assert.InDelta(t, tt.hotC, hot19(b[2:]), 0.02)
			assert.InDelta(t, tt.coldC, cold14(b), 0.01)
		})
	}
}

// The same seed gives the same bits, another seed others.
func TestDeterminism(t *testing.T) {
	run := func(seed uint64) []uint32 {
		r := newRig(t, chip.Options{Model: chip.MAX31855, Type: thermocouple.S, Seed: seed,
			Deviation: chip.Deviation{NoiseMicrovolt: 3, ColdNoiseC: 0.1}})
		assert.NoError(t, r.Inject(chip.Fault{Kind: chip.BitFlips, Value: 0.01}))
		var words []uint32
		for i := range 500 {
			r.Set(float64(i), 25)
			words = append(words, r.word(4, 250*time.Millisecond))
		}
		return words
	}
	assert.Equal(t, run(1), run(1))
	assert.NotEqual(t, run(1), run(2))
}

// The plant, the host and the one who injects faults are different goroutines.
func TestConcurrentUse(t *testing.T) {
	r := new31856(t, thermocouple.K)
	r.write(cr0, auto)
	var wg sync.WaitGroup
	wg.Go(func() {
		for i := range 300 {
			r.Set(float64(i), 25)
		}
	})
	wg.Go(func() {
		for range 300 {
			assert.NoError(t, r.conn.Tx(make([]byte, 17), make([]byte, 17)))
		}
	})
	wg.Go(func() {
		for range 100 {
			assert.NoError(t, r.Inject(chip.Fault{Kind: chip.Open}))
			r.Clear()
			r.FaultPin()
			r.SetDeviation(chip.Deviation{})
		}
	})
	wg.Wait()
}

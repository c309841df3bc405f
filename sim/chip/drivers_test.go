package chip_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/spi/spireg"

	"calx/sensor"
	"calx/sensor/max31855"
	"calx/sensor/max31856"
	"calx/sensor/max6675"
	"calx/sensor/thermocouple"
	"calx/sim/chip"
)

// driver is what the drivers have in common.
type driver interface {
	Read(at time.Duration) sensor.Reading
	Period() time.Duration
	String() string
}

// bench is a driver on an emulator, each written from the data sheet without
// sight of the other.
type bench struct {
	*rig
	driver driver
}

func newBench(t testing.TB, m chip.Model, typ thermocouple.Type) *bench {
	t.Helper()
	b := &bench{rig: newRig(t, chip.Options{Model: m, Type: typ})}
	p, err := spireg.Open(b.name)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, p.Close()) })
	b.Set(25, 25)
	switch m {
	case chip.MAX31855:
		b.driver, err = max31855.New(p, &max31855.Opts{Type: typ})
	case chip.MAX31856:
		b.driver, err = max31856.New(p, &max31856.Opts{Type: typ, Averaging: 4, MainsHz: 50})
	case chip.MAX6675:
		b.driver, err = max6675.New(p, &max6675.DefaultOpts)
	}
	require.NoError(t, err)
	b.read()
	t.Cleanup(func() { assert.NoError(t, b.Misuse()) })
	return b
}

// read waits as long as the driver asks for and reads.
func (b *bench) read() sensor.Reading {
	b.now += b.driver.Period()
	return b.driver.Read(b.now)
}

// settle sets the junctions and reads a conversion made since.
func (b *bench) settle(hotC, coldC float64) sensor.Reading {
	b.Set(hotC, coldC)
	b.read()
	return b.read()
}

// sweep holds the driver's readings to the truth within a tolerance.
func (b *bench) sweep(minC, maxC, coldC float64, withinC func(hotC float64) float64) {
	b.t.Helper()
	const points = 200
	for i := range points + 1 {
		hotC := minC + (maxC-minC)*float64(i)/points
		got := b.settle(hotC, coldC)
		if !assert.Truef(b.t, got.OK(), "%v at %v °C: %v", b.driver, hotC, got.Fault) ||
			!assert.InDeltaf(b.t, hotC, got.HotC, withinC(hotC), "%v over %v °C", b.driver, coldC) {
			return
		}
	}
}

// The correction of the linear chip leaves half a step of the reading, 0.125 °C
// of the chip's slope, and half a step of the cold junction, 0.03125 °C of the
// probe's slope there; both divided by the probe's slope at the hot junction.
func TestMAX31855Driver(t *testing.T) {
	for typ, slope := range slopes {
		for _, coldC := range []float64{-5.03, 27.3, 60} {
			b := newBench(t, chip.MAX31855, typ)
			minC, maxC := typ.InverseRange()
			coldMV, err := typ.EMF(coldC)
			require.NoError(t, err)
			// The chip's field ends at 1800 °C, which S and R read early.
			if topC, err := typ.Temperature(coldMV + slope*(1799-coldC)/1000); err == nil {
				maxC = min(maxC, topC)
			}
			coldSlope, err := typ.Seebeck(coldC)
			require.NoError(t, err)
			// Half a degree from the ends, where rounding leads outside.
			b.sweep(minC+0.5, maxC-0.5, coldC, func(hotC float64) float64 {
				s, err := typ.Seebeck(hotC)
				require.NoError(t, err)
				return (0.125*slope/1000+0.03125*coldSlope)/s*1.02 + 1e-6
			})
		}
	}
}

// The chip linearises: half a step of its result, and half a step of the
// cold junction of 1/64 °C.
func TestMAX31856Driver(t *testing.T) {
	for typ := range code {
		for _, coldC := range []float64{-5.03, 27.3, 60} {
			if typ == thermocouple.B && coldC < 0 {
				continue // outside the type's cold-junction range
			}
			b := newBench(t, chip.MAX31856, typ)
			minC, maxC := typ.InverseRange()
			coldSlope, err := typ.Seebeck(coldC)
			require.NoError(t, err)
			b.sweep(minC+0.5, maxC-0.5, coldC, func(hotC float64) float64 {
				s, err := typ.Seebeck(hotC)
				require.NoError(t, err)
				return 0.5/128 + math.Abs(0.5/64*coldSlope/s)*1.02 + 1e-6
			})
		}
	}
}

// With the board where the driver takes it to be, half a step of 0.25 °C of
// 41 µV/°C is left; code 0 and the top code are no temperatures.
func TestMAX6675Driver(t *testing.T) {
	b := newBench(t, chip.MAX6675, thermocouple.K)
	b.sweep(2, 1010, 25, func(hotC float64) float64 {
		s, err := thermocouple.K.Seebeck(hotC)
		require.NoError(t, err)
		return 0.125*0.041/s*1.02 + 1e-6
	})
}

// What the drivers make of each fault. Faults that no driver can see, such as
// a slipped probe, are for the guards.
func TestDriversSeeFaults(t *testing.T) {
	tests := []struct {
		kind                     chip.Kind
		on31855, on31856, on6675 sensor.Fault // any of these; 0 where the chip cannot tell
	}{
		{chip.Open, sensor.Open, sensor.Open, sensor.Open},
		{chip.ShortGround, sensor.ShortGround, sensor.OverUnder, 0},
		{chip.ShortSupply, sensor.ShortSupply, sensor.OverUnder, sensor.HotRange},
		{chip.OverUnderVoltage, sensor.ShortSupply, sensor.OverUnder, sensor.HotRange},
		{chip.BusLow, sensor.DeadBus, sensor.DeadBus, sensor.DeadBus},
		{chip.BusHigh, sensor.DeadBus, sensor.DeadBus, sensor.DeadBus},
		{chip.TransferError, sensor.BusError, sensor.BusError, sensor.BusError},
	}
	for m := range chip.MAX6675 + 1 {
		for _, tt := range tests {
			b := newBench(t, m, thermocouple.K)
			want := [...]sensor.Fault{tt.on31855, tt.on31856, tt.on6675}[m]
			require.True(t, b.settle(500, 25).OK())
			require.NoError(t, b.Inject(chip.Fault{Kind: tt.kind}))
			var got sensor.Reading
			// Within 5 s of any sensor fault the heat must be off.
			for start := b.now; b.now < start+4*time.Second && got.Fault&want == 0; {
				got = b.read()
			}
			assert.Equalf(t, want, got.Fault&want, "%v on %v: got %v", tt.kind, b.driver, got.Fault)
			if want != 0 {
				assert.True(t, math.IsNaN(got.HotC))
			}
			b.Clear()
			for range 30 {
				got = b.read()
			}
			assert.Truef(t, got.OK(), "%v on %v is over: got %v", tt.kind, b.driver, got.Fault)
			assert.InDelta(t, 500, got.HotC, 0.3)
		}
	}
}

// A brown-out never lets a wrong temperature through: the register chip comes
// back as type K with its open test off.
func TestDriversSurviveBrownOut(t *testing.T) {
	for m, typ := range []thermocouple.Type{'N', 'N', 'K'} {
		b := newBench(t, chip.Model(m), typ)
		require.True(t, b.settle(700, 25).OK())
		require.NoError(t, b.Inject(chip.Fault{Kind: chip.BrownOut}))
		good := 0
		for range 40 {
			if r := b.read(); r.OK() {
				good++
				require.InDelta(t, 700, r.HotC, 0.3, "%v", b.driver)
			}
		}
		assert.Greater(t, good, 20, "%v reads again", b.driver)
		require.NoError(t, b.Inject(chip.Fault{Kind: chip.Open}))
		var f sensor.Fault
		for range 20 {
			f |= b.read().Fault
		}
		assert.NotZero(t, f&sensor.Open, "%v: the open test is on again", b.driver)
	}
}

// Polled as fast as it likes, a driver keeps delivering conversions.
func TestDriversPollFast(t *testing.T) {
	for m := range chip.MAX6675 + 1 {
		b := newBench(t, m, thermocouple.K)
		b.Set(300, 25)
		good := 0
		for range 1000 {
			b.now += 10 * time.Millisecond
			if r := b.driver.Read(b.now); r.OK() && math.Abs(r.HotC-300) < 0.5 {
				good++
			}
		}
		assert.GreaterOrEqual(t, good, int(10*time.Second/(b.driver.Period()+10*time.Millisecond))-3, "%v", b.driver)
	}
}

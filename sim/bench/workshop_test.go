package bench_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/conn/v3/spi/spireg"

	"calx/controller"
	"calx/sensor"
	"calx/sensor/max31855"
	"calx/sim/bench"
	"calx/sim/chip"
)

// open builds a workshop with all parts.
func open(t *testing.T, mishaps ...bench.Mishap) *bench.Bench {
	b, err := bench.New(bench.Options{Kiln: shipped(t, "bench-9l-brick"), AmbientC: 20, Main: true, Lease: 2 * time.Second,
		Second: &bench.Second{Model: chip.MAX31855, Spread: -0.02}, Ideal: true, Mishaps: mishaps})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, b.Close()) })
	return b
}

// wait lets time pass and renews what is asked for.
func wait(t *testing.T, b *bench.Bench, d time.Duration, want controller.Lines) {
	for ; d > 0; d -= time.Second {
		require.NoError(t, b.Outputs().Set(want))
		require.NoError(t, b.Sleep(context.Background(), time.Second))
	}
}

func TestTwoContactsInSeries(t *testing.T) {
	b := open(t)
	heat := func(want controller.Lines) float64 {
		before := b.Truth().EnergyJ
		wait(t, b, 10*time.Second, want)
		return b.Truth().EnergyJ - before
	}
	assert.Positive(t, heat(controller.Lines{Heat: true, Main: true}))
	assert.Zero(t, heat(controller.Lines{Heat: true}))
	assert.Zero(t, heat(controller.Lines{Main: true}))
}

func TestWeldedContacts(t *testing.T) {
	b := open(t, bench.Mishap{At: 10 * time.Second, Kind: "welded"}, bench.Mishap{At: 30 * time.Second, Kind: "welded", On: bench.OnMain, For: 10 * time.Second})
	wait(t, b, 20*time.Second, controller.Lines{Main: true})
	assert.True(t, b.Truth().Closed, "a welded relay under a closed contactor heats")
	wait(t, b, 5*time.Second, controller.Lines{})
	assert.False(t, b.Truth().Closed, "and the contactor cuts it")
	wait(t, b, 10*time.Second, controller.Lines{})
	assert.True(t, b.Truth().Closed, "unless it has welded as well")
	wait(t, b, 10*time.Second, controller.Lines{})
	assert.False(t, b.Truth().Closed)
}

func TestPinsGoBackWhenNobodyDrivesThem(t *testing.T) {
	b := open(t)
	require.NoError(t, b.Outputs().Set(controller.Lines{Heat: true, Main: true}))
	require.NoError(t, b.Sleep(context.Background(), 2*time.Second))
	assert.True(t, b.Truth().Closed)
	require.NoError(t, b.Sleep(context.Background(), 2*time.Second))
	assert.False(t, b.Truth().Closed)
}

func TestPinsAndPortsHaveNames(t *testing.T) {
	b := open(t)
	for _, name := range []string{b.HeatPin(), b.MainPin(), b.AirPin(), b.DoorPin()} {
		assert.NotNil(t, gpioreg.ByName(name), name)
	}
	for _, name := range []string{b.Port(), b.SecondPort()} {
		p, err := spireg.Open(name)
		require.NoError(t, err)
		require.NoError(t, p.Close())
	}
	few, err := bench.New(bench.Options{Kiln: shipped(t, "bench-9l-brick"), AmbientC: 20})
	require.NoError(t, err)
	assert.Empty(t, few.MainPin()+few.SecondPort())
	assert.NoError(t, few.Close())
}

func TestDoorSwitch(t *testing.T) {
	b := open(t,
		bench.Mishap{At: 5 * time.Second, For: 10 * time.Second, Kind: "door", Value: "0.2"},
		bench.Mishap{At: 20 * time.Second, For: 10 * time.Second, Kind: "door_stuck"},
		bench.Mishap{At: 22 * time.Second, For: 20 * time.Second, Kind: "door"},
		bench.Mishap{At: 50 * time.Second, For: 10 * time.Second, Kind: "door_stuck", Value: "1"})
	pin := gpioreg.ByName(b.DoorPin())
	require.NoError(t, pin.In(gpio.PullUp, gpio.NoEdge))
	var says []sensor.Door
	for range 7 {
		says = append(says, b.Door())
		assert.Equal(t, b.Door() == sensor.DoorOpen, bool(pin.Read()))
		wait(t, b, 10*time.Second, controller.Lines{})
	}
	shut, ajar := sensor.DoorShut, sensor.DoorOpen
	assert.Equal(t, []sensor.Door{shut, ajar, shut, ajar, ajar, ajar, shut}, says)
}

// probe opens a chip of the bench.
func probe(t *testing.T, port string) *max31855.Dev {
	p, err := spireg.Open(port)
	require.NoError(t, err)
	d, err := max31855.New(p, nil)
	require.NoError(t, err)
	return d
}

func TestSecondProbeStandsInItsOwnPlaceAndFailsByItself(t *testing.T) {
	b := open(t, bench.Mishap{At: 10 * time.Minute, Kind: "open", On: bench.OnSecond})
	first, second := probe(t, b.Port()), probe(t, b.SecondPort())
	wait(t, b, 590*time.Second, controller.Lines{Heat: true, Main: true})
	one, two := first.Read(b.Mono()), second.Read(b.Mono())
	require.True(t, one.OK() && two.OK())
	assert.InDelta(t, one.HotC-0.02*(one.HotC-20), two.HotC, 0.5, "2 %% of the rise colder; steps of 0.25 °C")
	wait(t, b, 20*time.Second, controller.Lines{})
	assert.True(t, first.Read(b.Mono()).OK())
	assert.False(t, second.Read(b.Mono()).OK())
}

func TestChipThatDoesNotAnswer(t *testing.T) {
	b := open(t, bench.Mishap{At: 10 * time.Second, For: 20 * time.Second, Kind: "hang"}, bench.Mishap{At: 60 * time.Second, Kind: "hang", Value: "5"})
	d := probe(t, b.Port())
	wait(t, b, 10*time.Second, controller.Lines{Heat: true, Main: true})
	require.NoError(t, b.Outputs().Set(controller.Lines{Heat: true, Main: true}))
	began := b.Mono()
	assert.True(t, d.Read(b.Mono()).OK())
	assert.Equal(t, 20*time.Second, b.Mono()-began, "it answers again when the fault is over")
	assert.False(t, b.Truth().Closed, "the heat was let go of meanwhile")
	wait(t, b, 35*time.Second, controller.Lines{})
	began = b.Mono()
	assert.True(t, d.Read(b.Mono()).OK())
	assert.Equal(t, 5*time.Second, b.Mono()-began)
}

func TestColdJunction(t *testing.T) {
	b := open(t, bench.Mishap{At: 5 * time.Second, For: 10 * time.Second, Kind: "box", Value: "60"}, bench.Mishap{At: 20 * time.Second, Kind: "cold_offset", Value: "30"})
	d := probe(t, b.Port())
	wait(t, b, 10*time.Second, controller.Lines{})
	r := d.Read(b.Mono())
	assert.InDelta(t, 60, r.ColdC, 0.2)
	assert.InDelta(t, 20, r.HotC, 1, "a warm box is compensated for")
	wait(t, b, 15*time.Second, controller.Lines{})
	r = d.Read(b.Mono())
	assert.InDelta(t, 50, r.ColdC, 0.2)
	assert.InDelta(t, 50, r.HotC, 1, "a cold junction that lies is not")
}

func TestPowerCut(t *testing.T) {
	b := open(t, bench.Mishap{At: 10 * time.Minute, For: 20 * time.Minute, Kind: "power"})
	ctx := context.Background()
	wait(t, b, 598*time.Second, controller.Lines{Heat: true, Main: true, Air: true})
	var err error
	for err == nil {
		require.NoError(t, b.Outputs().Set(controller.Lines{Heat: true, Main: true}))
		err = b.Sleep(ctx, time.Second)
	}
	assert.ErrorIs(t, err, bench.ErrPowerCut)
	assert.Equal(t, 10*time.Minute, b.Mono())
	assert.True(t, b.Dead())
	assert.False(t, b.Truth().Closed)
	assert.ErrorIs(t, b.Sleep(ctx, time.Second), bench.ErrPowerCut, "nothing goes on without power")
	hot, joule := b.Truth().HotFaceC, b.Truth().EnergyJ
	gone, err := b.PowerBack(ctx, 40*time.Second)
	require.NoError(t, err)
	assert.Equal(t, 20*time.Minute+40*time.Second, gone)
	assert.False(t, b.Dead())
	assert.Less(t, b.Truth().HotFaceC, hot-50, "it cooled meanwhile")
	assert.Equal(t, joule, b.Truth().EnergyJ)
	wait(t, b, 5*time.Second, controller.Lines{Heat: true, Main: true})
	assert.Greater(t, b.Truth().EnergyJ, joule)
}

// A workshop restored from a state goes on bit for bit.
func TestRestore(t *testing.T) {
	b := open(t)
	on := controller.Lines{Heat: true, Main: true}
	wait(t, b, 5*time.Minute, on)
	require.NoError(t, b.Outputs().Set(on))
	s := b.State()
	c, err := bench.New(bench.Options{Kiln: shipped(t, "bench-9l-brick"), AmbientC: 20, Main: true, Lease: 2 * time.Second, From: &s})
	require.NoError(t, err)
	defer c.Close()
	require.NoError(t, b.Sleep(context.Background(), time.Second))
	assert.Equal(t, b.Mono(), c.Mono())
	assert.Equal(t, b.State(), c.State())
	wait(t, b, time.Minute, on)
	wait(t, c, time.Minute, on)
	assert.Equal(t, b.State(), c.State())
	_, err = bench.New(bench.Options{Kiln: shipped(t, "studio-150l-brick"), AmbientC: 20, From: &s})
	assert.ErrorContains(t, err, "another kiln")
}

func TestMishapsSayWhatIsWrong(t *testing.T) {
	for text, want := range map[string]string{
		"{at: 1 h, kind: fire}":                       `m.yaml:2:21: mishaps[0].kind: read "fire"; it must be one of bit_flips`,
		"{at: 1 h, kind: welded, on: second}":         `mishaps[0].on: read "second"; welded is a fault of a relay, so it must be main or left out`,
		"{at: 1 h, kind: open, on: main}":             `open is a fault of an amplifier, so it must be second or left out`,
		"{at: 1 h, kind: door, on: main}":             `leave it out: door befalls no single part`,
		"{at: 1 h, kind: power}":                      `mishaps[0].for: it must say for how long the power is gone`,
		"{at: 1 h, kind: door, value: 2}":             `mishaps[0].value: read "2"; for door it must be a number from 0 to 1`,
		"{at: 1 h, kind: mains, value: lots}":         `read "lots"; for mains it must be a number from 0 to 2`,
		"{at: 1 h, kind: wrong_type}":                 "want one letter of",
		"{at: 1 h, kind: cold_offset, value: 1000}":   "value 1000 is outside -150 to 150",
		"{at: 1 h, for: 1 min, kind: open, of: main}": "of",
		"{at: 1 h, for: 400 d, kind: door}":           "mishaps[0].for: 400 d is longer than a year; leave it out for good",
		"{at: 400 d, kind: door}":                     "mishaps[0].at: 400 d is not within a year of the start",
	} {
		_, err := bench.ParseMishaps("m.yaml", []byte("mishaps:\n  - "+text+"\n"))
		assert.ErrorContains(t, err, want, text)
	}
	got, err := bench.ParseMishaps("m.yaml", []byte("mishaps: [{at: 1 h, kind: welded, on: main}, {at: 2 h, for: 20 min, kind: power}]"))
	require.NoError(t, err)
	assert.Equal(t, []bench.Mishap{{At: time.Hour, Kind: "welded", On: "main"}, {At: 2 * time.Hour, For: 20 * time.Minute, Kind: "power"}}, got)
	_, err = bench.New(bench.Options{Kiln: shipped(t, "bench-9l-brick"), AmbientC: 20, Mishaps: got})
	assert.ErrorContains(t, err, `a mishap "welded" on the main contactor, and there is none`)
}

// Three seconds are more nanoseconds than an int of a 32-bit board holds.
func TestMishapsHappenInTheirOrder(t *testing.T) {
	b := open(t, bench.Mishap{At: 4 * time.Second, Kind: "door"}, bench.Mishap{At: time.Second, Kind: "clock", Value: "3600"})
	before := b.Wall()
	require.NoError(t, b.Sleep(context.Background(), 2*time.Second))
	assert.Equal(t, time.Hour+2*time.Second, b.Wall().Sub(before))
}

package controller_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/guard"
	"calx/controller/identify"
	"calx/controller/law"
	"calx/profile"
	"calx/sensor"
	"calx/sim/kiln"
	"calx/sim/mould"
	"calx/storage/record"
)

// Newton's law of cooling (any textbook of heat transfer, lumped capacity): a
// single store of C behind a loss of G falls to b in C/G ln((a-Ta)/(b-Ta)).
func TestFallTimeOfOneStoreIsNewtonsLaw(t *testing.T) {
	const capJPerK, lossWPerK, fromC, ambientC = 9000.0, 2.5, 400.0, 20.0
	p, err := profile.Parse("hold 1 h\n")
	require.NoError(t, err)
	plant := law.Simple(2000, capJPerK, lossWPerK, 1, 1)
	c, err := controller.New(controller.Config{Profile: p, Plant: plant, Guard: guard.DefaultLimits(1100)})
	require.NoError(t, err)
	l, err := law.New(plant, law.Options{})
	require.NoError(t, err)
	s := controller.State{Law: l.Start(fromC)}
	for _, toC := range []float64{399, 370, 300, 150, 30} {
		want := capJPerK / lossWPerK * math.Log((fromC-ambientC)/(toC-ambientC))
		got, ok := c.FallTime(s, toC, 48*time.Hour)
		require.True(t, ok)
		assert.InDelta(t, want, got.Seconds(), 5+0.01*want, "s to %g °C; the lags of element and probe are 1 s each", toC)
	}
	_, ok := c.FallTime(s, 19, 48*time.Hour)
	assert.False(t, ok, "below the room")
	_, ok = c.FallTime(controller.State{}, 19, time.Hour)
	assert.False(t, ok, "nothing was known yet")
}

// fired is a shipped kiln under the controller, true junction for reading.
type fired struct {
	t   *testing.T
	c   *controller.Controller
	p   kiln.Params
	k   *kiln.Kiln
	s   controller.State
	now time.Duration
	out controller.Output
}

var plants = map[string]law.Plant{}

func fire(t *testing.T, kilnName, text string, m *controller.Mould) *fired {
	t.Helper()
	data, err := kiln.ShippedFile(kilnName)
	require.NoError(t, err)
	p, err := kiln.Load("kiln", data)
	require.NoError(t, err)
	pr, err := profile.Parse(text)
	require.NoError(t, err)
	plant, known := plants[kilnName]
	if !known { // takes longer than an hour of firing
		plant = identify.Plant(p, 20)
		plants[kilnName] = plant
	}
	c, err := controller.New(controller.Config{Profile: pr, Plant: plant, Guard: guard.DefaultLimits(p.MaxC()), Mould: m})
	require.NoError(t, err)
	return &fired{t: t, c: c, p: p, k: kiln.New(p, 20)}
}

func (f *fired) input() controller.Input {
	return controller.Input{Now: f.now, Wall: time.Date(2026, 1, 9, 20, 0, 0, 0, time.UTC).Add(f.now), Chamber: sensor.Reading{At: f.now, HotC: f.k.JunctionC()}}
}

func (f *fired) tick(commands ...controller.Command) {
	in := f.input()
	in.Commands = commands
	f.s, f.out = f.c.Step(f.s, in)
	f.pass(f.out.Heat)
}

func (f *fired) pass(on bool) {
	x := 0.0
	if on {
		x = 1
	}
	f.k.Step(1, kiln.Input{On: x, MainsRatio: 1, AmbientC: 20})
	f.now += time.Second
}

func (f *fired) run(d time.Duration) {
	for end := f.now + d; f.now < end && !f.out.Ended; {
		f.tick()
	}
}

// cut is a power cut of d, and the start after it.
func (f *fired) cut(d time.Duration) {
	f.t.Helper()
	b, err := f.s.Snapshot()
	require.NoError(f.t, err)
	for range int(d.Seconds()) {
		f.pass(false)
	}
	f.s, err = controller.Restore(b)
	require.NoError(f.t, err)
}

// The estimate of the law knows how a kiln cools: measured, within 10 % for six
// hours; brick and fibre.
func TestFallTimeOfShippedKilns(t *testing.T) {
	for _, name := range []string{"bench-9l-brick", "jewellery-3l-fibre"} {
		f := fire(t, name, "heat to 600 C at 300 C/h\nhold 8 h\n", nil)
		f.run(3 * time.Hour)
		s := f.s
		for _, d := range []time.Duration{5 * time.Minute, 30 * time.Minute, 2 * time.Hour} {
			for f.now < 3*time.Hour+d {
				f.pass(false)
			}
			got, ok := f.c.FallTime(s, f.k.JunctionC(), 48*time.Hour)
			require.True(t, ok)
			assert.InEpsilon(t, d.Seconds(), got.Seconds(), 0.12, "%s: s to fall from 600 °C to %.0f °C", name, f.k.JunctionC())
		}
	}
}

// plug is a small flask.
func plug(t *testing.T) *controller.Mould { return standingIn(t, "test-plug-60") }

// standingIn is a shipped mould in the kiln.
func standingIn(t *testing.T, name string) *controller.Mould {
	t.Helper()
	data, err := mould.ShippedFile(name)
	require.NoError(t, err)
	p, err := mould.Load("mould", data)
	require.NoError(t, err)
	m, err := mould.New([]mould.Params{p}, mould.Env{Air: mould.DefaultKilnAir})
	require.NoError(t, err)
	out := &controller.Mould{Model: m}
	for range p.Patterns {
		out.Clear = append(out.Clear, controller.Belief{MedianMin: 60, SigmaLn: 0.5})
	}
	return out
}

// What the observer thinks after a gap is what one thinks that saw the chamber
// all the time; on a straight line it would be off by far more.
func TestMouldsAreCarriedThroughAGap(t *testing.T) {
	if testing.Short() {
		t.Skip("long: a kiln and a mould")
	}
	m := plug(t)
	for _, gap := range []time.Duration{time.Minute, 20 * time.Minute, 3 * time.Hour} {
		f := fire(t, "bench-9l-brick", "heat to 400 C at 200 C/h\nhold 8 h\n", m)
		f.run(3 * time.Hour)
		seen := f.s
		b, err := f.s.Snapshot()
		require.NoError(t, err)
		// Whoever sees it all: a reading each second, no heat.
		for range int(gap.Seconds()) {
			seen = f.c.Retrace(seen, f.input(), &record.Reading{SetpointC: math.NaN()})
			f.pass(false)
		}
		f.s, err = controller.Restore(b)
		require.NoError(t, err)
		before := f.s.Inside.State.TimeS
		f.run(time.Minute)
		for range 3 { // as many ticks as it took to believe a reading
			seen = f.c.Retrace(seen, f.input(), &record.Reading{SetpointC: math.NaN()})
		}
		assert.Nil(t, f.s.Gap)
		assert.InDelta(t, (gap + time.Minute).Seconds(), f.s.Inside.State.TimeS-before, 45, "s of the moulds' own time")
		assert.InDelta(t, seen.Inside.CoreC[0], f.s.Inside.CoreC[0], 4, "°C in the core after %v", gap)
		assert.InDelta(t, seen.Inside.DoseMin[0], f.s.Inside.DoseMin[0], 0.02*(1+seen.Inside.DoseMin[0]))
	}
}

// Retrace needs no commands: the log is enough, bit for bit.
func TestRetrace(t *testing.T) {
	f := fire(t, "bench-9l-brick", "heat to 200 C at 600 C/h\nair on\nhold 20 min\nheat to 300 C as fast as possible\ncool to 250 C unpowered\n", plug(t))
	var traced controller.State
	step := func(commands ...controller.Command) {
		in := f.input()
		f.tick(commands...)
		traced = f.c.Retrace(traced, in, &f.out.Record)
	}
	press := map[int]controller.Command{500: controller.Pause, 900: controller.Resume, 2500: controller.StepOn}
	for i := 0; i < 5000 && !f.out.Ended; i++ {
		if i == 1500 || i == 3000 {
			f.cut(time.Duration(i/10) * time.Second)
			traced = controller.Interrupt(traced)
		}
		if c := press[i]; c != 0 {
			step(c)
			continue
		}
		step()
	}
	assert.Equal(t, f.s.Law, traced.Law)
	assert.Equal(t, f.s.Inside.DoseMin, traced.Inside.DoseMin)
	assert.Equal(t, f.s.Inside.CoreC, traced.Inside.CoreC)
	assert.Equal(t, f.s.Inside.WaterLeft, traced.Inside.WaterLeft)
}

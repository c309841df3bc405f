package bench_test

import (
	"context"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/conn/v3/spi/spireg"

	"calx/controller"
	"calx/controller/identify"
	"calx/controller/notice"
	"calx/controller/relay"
	"calx/profile"
	"calx/sensor/max31855"
	"calx/sensor/thermocouple"
	"calx/sim/bench"
	"calx/sim/chip"
	"calx/sim/kiln"
	"calx/storage/record"
)

// trial is one firing with something going wrong in it.
type trial struct {
	kiln, text string // name of a shipped kiln, sentences of a profile
	relay      relay.Kind
	mishaps    []bench.Mishap
	until      time.Duration                                          // end of the trial; 0 = end of the firing
	after      time.Duration                                          // how long to watch on after the firing ended
	ideal      bool                                                   // a chip without noise
	config     func(*controller.Config)                               // may be nil
	clock      func(*bench.Bench) controller.Clock                    // may be nil: the bench itself
	observe    func(bench.Truth, controller.State, controller.Output) // may be nil
}

// verdict is how it went.
type verdict struct {
	end     controller.State
	events  []record.Event
	trip    record.Event  // of the guard that ended the firing
	tripAt  time.Duration // when; 0 = no trip
	onAfter time.Duration // longest time that heat was asked for after the first mishap began
	overC   float64       // most that the true junction stood above the setpoint, from the first mishap on
	tripC   float64       // true junction at the trip
}

func (v verdict) said(code string) bool {
	for _, e := range v.events {
		if e.Code == code {
			return true
		}
	}
	return false
}

func shipped(tb testing.TB, name string) kiln.Params {
	text, err := kiln.ShippedFile(name)
	require.NoError(tb, err)
	p, err := kiln.Load(name, text)
	require.NoError(tb, err)
	return p
}

// try runs a trial through real chips, drivers, controller and pins.
func try(tb testing.TB, tr trial) verdict {
	p := shipped(tb, tr.kiln)
	pr, err := profile.Parse(tr.text)
	require.NoError(tb, err)
	b, err := bench.New(bench.Options{Kiln: p, AmbientC: 20, Model: chip.MAX31855, Seed: 11, MainsSwing: 0.015, Mishaps: tr.mishaps, Ideal: tr.ideal})
	require.NoError(tb, err)
	defer b.Close()
	port, err := spireg.Open(b.Port())
	require.NoError(tb, err)
	letter, err := thermocouple.ParseType(p.Probe.Type)
	require.NoError(tb, err)
	dev, err := max31855.New(port, &max31855.Opts{Type: letter})
	require.NoError(tb, err)
	plant := identify.Plant(p, 20)
	cfg := controller.Config{Profile: pr, Plant: plant, Relay: relay.DefaultConfig(tr.relay), Guard: identify.Guard(p, plant)}
	if tr.config != nil {
		tr.config(&cfg)
	}
	c, err := controller.New(cfg)
	require.NoError(tb, err)
	var clock controller.Clock = b
	if tr.clock != nil {
		clock = tr.clock(b)
	}
	began := time.Duration(math.MaxInt64)
	if len(tr.mishaps) > 0 {
		began = tr.mishaps[0].At
	}
	v := verdict{overC: math.Inf(-1)}
	setC := 20.0
	loop := controller.Loop{Controller: c, Chamber: dev, Heater: pin{gpioreg.ByName(b.HeatPin())}, Journal: nowhere{}, Clock: clock}
	loop.Observe = func(s controller.State, o controller.Output) {
		v.events = append(v.events, o.Events...)
		if !math.IsNaN(o.Record.SetpointC) {
			setC = o.Record.SetpointC
		}
		if b.Mono() >= began {
			v.overC = math.Max(v.overC, b.Truth().JunctionC-setC)
			if o.Heat {
				v.onAfter = b.Mono() - began
			}
		}
		for _, e := range o.Events {
			if s.TripCode != "" && e.Code == s.TripCode && v.tripAt == 0 {
				v.trip, v.tripAt, v.tripC = e, b.Mono(), b.Truth().JunctionC
			}
		}
		if tr.observe != nil {
			tr.observe(b.Truth(), s, o)
		}
	}
	var ended time.Duration
	loop.Until = func(_ controller.State, o controller.Output) bool {
		if o.Ended && ended == 0 {
			ended = b.Mono()
		}
		return tr.until > 0 && b.Mono() >= tr.until || ended > 0 && b.Mono() >= ended+tr.after
	}
	v.end, err = loop.Run(context.Background(), controller.State{})
	require.NoError(tb, err)
	return v
}

// climb is steep enough to need real heat, and slow enough for every kiln.
const climb = "never above 735 C\nheat to 400 C at 200 C/h\nhold 2 h\n"

// TestProbeLostIsHeatOff: no tick after the first bad reading asks for heat.
func TestProbeLostIsHeatOff(t *testing.T) {
	t.Parallel()
	for _, kind := range []string{"open", "short_ground", "short_supply", "bus_low", "bus_high", "transfer_error"} {
		v := try(t, trial{kiln: "bench-9l-brick", text: climb, relay: relay.Contactor,
			mishaps: []bench.Mishap{{At: time.Hour, Kind: kind, For: time.Minute}}, until: time.Hour + 2*time.Minute})
		assert.LessOrEqual(t, v.onAfter, time.Second, kind)
	}
}

// TestNoFalseTrip fires the fast profile on every kiln: no guard may stop it.
func TestNoFalseTrip(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("long")
	}
	text, err := profile.ShippedText("fast")
	require.NoError(t, err)
	for i, name := range kiln.Shipped() {
		k := []relay.Kind{relay.Contactor, relay.SolidState}[i%2]
		if testing.Verbose() {
			k = relay.Contactor
		}
		v := try(t, trial{kiln: name, text: text, relay: k, ideal: i%4 == 0})
		assert.Equal(t, "finished", v.end.Outcome(), "%s, %s: %s", name, k, v.trip.Text)
	}
}

// A weak kiln is asked for what it cannot do: it waits, says so, catches up, and
// leaves nothing to unwind.
func TestWeakKilnWaitsAndCatchesUp(t *testing.T) {
	t.Parallel()
	text, err := profile.ShippedText("steep")
	require.NoError(t, err)
	for _, k := range []relay.Kind{relay.SolidState, relay.Contactor} {
		worstC := math.Inf(-1)
		v := try(t, trial{kiln: "bench-12l-brick-120v", text: text, relay: k, observe: func(tr bench.Truth, s controller.State, o controller.Output) {
			if o.Record.Phase == record.Holding {
				worstC = math.Max(worstC, tr.JunctionC-o.Record.SetpointC)
			}
		}})
		require.Equal(t, "finished", v.end.Outcome(), v.trip.Text)
		assert.True(t, v.said(notice.HoldBack), "it says that it waits")
		assert.True(t, v.said(notice.CaughtUp), "and that it goes on")
		assert.LessOrEqual(t, worstC, asked[k].overC, "overshoot after waiting, %s", k)
	}
}

// slowClock is the bench with a machine that is now and then busy elsewhere.
type slowClock struct {
	*bench.Bench
	naps int
}

func (c *slowClock) Sleep(ctx context.Context, d time.Duration) error {
	c.naps++
	switch {
	case c.naps%600 == 0:
		d += 8 * time.Second // the lease of the heat has run out
	case c.naps%7 == 0:
		d += 400 * time.Millisecond
	}
	return c.Bench.Sleep(ctx, d)
}

// Late ticks cost quality, not the firing. The bench has no warden: its relay
// keeps its level through a gap, so this is also a relay whose lease fails.
func TestLateTicks(t *testing.T) {
	t.Parallel()
	v := try(t, trial{kiln: "bench-9l-brick", text: climb, relay: relay.SolidState,
		clock:   func(b *bench.Bench) controller.Clock { return &slowClock{Bench: b} },
		mishaps: []bench.Mishap{{At: 0, Kind: "clock", Value: "0"}}})
	assert.Equal(t, "finished", v.end.Outcome(), v.trip.Text)
	assert.True(t, v.said(notice.LateTick))
	assert.LessOrEqual(t, v.overC, 10.0)
	assert.InDelta(t, 3.9, v.end.Now.Hours(), 0.2)
}

// The wall clock is set in the middle of a hold of two hours: it stays two hours
// by the monotonic clock, and control does not notice.
func TestClockSetDuringAHold(t *testing.T) {
	t.Parallel()
	length := func(value string) time.Duration {
		v := try(t, trial{kiln: "bench-9l-brick", text: "heat to 200 C at 300 C/h\nhold 2 h\n", relay: relay.SolidState,
			mishaps: []bench.Mishap{{At: time.Hour, Kind: "clock", Value: value}}})
		require.Equal(t, "finished", v.end.Outcome())
		require.Equal(t, value != "0", v.said(notice.ClockStepped))
		return v.end.Now
	}
	still := length("0")
	assert.Equal(t, still, length("3600"))
	assert.Equal(t, still, length("-3600"))
}

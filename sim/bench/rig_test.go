package bench_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/spi/spireg"

	"calx/controller"
	"calx/controller/identify"
	"calx/controller/relay"
	"calx/profile"
	"calx/sensor/max31855"
	"calx/sensor/max31856"
	"calx/sensor/thermocouple"
	"calx/sim/bench"
	"calx/sim/chip"
	"calx/sim/kiln"
	"calx/storage/record"
)

// house is one kiln with the controller that is to fire it.
type house struct {
	real, file kiln.Params // the kiln, and what the kiln file says of it
	letter     thermocouple.Type
	controller *controller.Controller
}

// newHouse takes the kiln as it is and as its file says it is.
func newHouse(tb testing.TB, actual, file kiln.Params, k relay.Kind, text string) house {
	pr, err := profile.Parse(text)
	require.NoError(tb, err)
	letter, err := thermocouple.ParseType(actual.Probe.Type)
	require.NoError(tb, err)
	plant := identify.Plant(file, 20)
	c, err := controller.New(controller.Config{Profile: pr, Plant: plant, Relay: relay.DefaultConfig(k), Guard: identify.Guard(file, plant), Checks: []int{0}})
	require.NoError(tb, err)
	return house{real: actual, file: file, letter: letter, controller: c}
}

// moment is a firing at one instant, kiln and all.
type moment struct {
	firing controller.State
	shop   bench.State
}

// night is one run of a house, from a moment or from cold.
type night struct {
	options  bench.Options
	from     *moment
	noSwitch bool               // none at the door
	journal  controller.Journal // nil: one that forgets
	late     func(*bench.Bench) controller.Clock
	tick     func(*bench.Bench, controller.State, controller.Output) (done bool)
}

// bootS is how long a board takes from power to the first tick.
const boot = 40 * time.Second

// run carries a firing on until tick says that it is done. When the power goes
// it goes on from the last snapshot, as a daemon does that may resume.
func (h house) run(tb testing.TB, n night) controller.State {
	o := n.options
	o.Kiln, o.Main, o.Lease = h.real, true, 2*time.Second
	var s controller.State
	if n.from != nil {
		o.From, s = &n.from.shop, n.from.firing
	}
	b, err := bench.New(o)
	require.NoError(tb, err)
	defer b.Close()
	j := &snapshots{next: n.journal}
	loop := controller.Loop{Controller: h.controller, Chamber: h.probe(tb, o.Model, b.Port()), Heater: b.Outputs(), Journal: j, Clock: b}
	if o.Second != nil {
		loop.Others = []controller.Thermometer{h.probe(tb, o.Second.Model, b.SecondPort())}
	}
	if !n.noSwitch {
		loop.Doorway = b
	}
	if n.late != nil {
		loop.Clock = n.late(b)
	}
	var done bool
	loop.Observe = func(s controller.State, o controller.Output) { done = n.tick(b, s, o) }
	loop.Until = func(controller.State, controller.Output) bool { return done }
	for {
		s, err = loop.Run(context.Background(), s)
		if !errors.Is(err, bench.ErrPowerCut) {
			require.NoError(tb, err)
			return s
		}
		cutAt := b.Mono()
		_, err = b.PowerBack(context.Background(), boot)
		require.NoError(tb, err)
		s, err = controller.Restore(j.last)
		require.NoError(tb, err)
		loop.Gap = b.Mono() - cutAt
	}
}

func (h house) probe(tb testing.TB, m chip.Model, port string) controller.Thermometer {
	p, err := spireg.Open(port)
	require.NoError(tb, err)
	if m == chip.MAX31856 {
		o := max31856.DefaultOpts
		o.Type = h.letter
		d, err := max31856.New(p, &o)
		require.NoError(tb, err)
		return d
	}
	d, err := max31855.New(p, &max31855.Opts{Type: h.letter})
	require.NoError(tb, err)
	return d
}

// snapshots keeps the last one.
type snapshots struct {
	last []byte
	next controller.Journal
}

func (s *snapshots) Append(r record.Reading, e []record.Event, state []byte) error {
	if state != nil {
		s.last = state
	}
	if s.next == nil {
		return nil
	}
	return s.next.Append(r, e, state)
}

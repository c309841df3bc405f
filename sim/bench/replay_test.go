package bench_test

import (
	"context"
	"math"
	"reflect"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/conn/v3/spi/spireg"

	"calx/controller"
	"calx/controller/identify"
	"calx/controller/notice"
	"calx/controller/relay"
	"calx/profile"
	"calx/sensor"
	"calx/sensor/max31855"
	"calx/sensor/thermocouple"
	"calx/sim/bench"
	"calx/sim/chip"
	"calx/storage/record"
)

// keeper is a journal in memory.
type keeper struct {
	readings []record.Reading
	events   []record.Event
}

func (k *keeper) Append(r record.Reading, e []record.Event, _ []byte) error {
	k.readings = append(k.readings, r)
	k.events = append(k.events, e...)
	return nil
}

// TestFiringFollowsFromItsLog: codes, times and commands of the log, put through
// Step again, give every record and event once more, bit for bit.
func TestFiringFollowsFromItsLog(t *testing.T) {
	t.Parallel()
	p := shipped(t, "bench-9l-brick")
	pr, err := profile.Parse("heat to 200 C at 300 C/h\nhold 20 min\nair on\nheat to 300 C as fast as possible\nhold until 22:00\ncool to 250 C unpowered\n")
	require.NoError(t, err)
	b, err := bench.New(bench.Options{Kiln: p, AmbientC: 20, Model: chip.MAX31855, Seed: 3, MainsSwing: 0.015, Mishaps: []bench.Mishap{
		{At: 0, Kind: "bit_flips", Value: "0.0005"},
		{At: 20 * time.Minute, Kind: "open", For: 6 * time.Second},
		{At: 30 * time.Minute, Kind: "clock", Value: "-600"},
		{At: 50 * time.Minute, Kind: "door", For: time.Minute},
	}})
	require.NoError(t, err)
	defer b.Close()
	port, err := spireg.Open(b.Port())
	require.NoError(t, err)
	dev, err := max31855.New(port, nil)
	require.NoError(t, err)
	plant := identify.Plant(p, 20)
	c, err := controller.New(controller.Config{Profile: pr, Plant: plant, Relay: relay.DefaultConfig(relay.Contactor), Guard: identify.Guard(p, plant)})
	require.NoError(t, err)

	var log keeper
	commands := make(chan controller.Command, 1)
	loop := controller.Loop{Controller: c, Chamber: dev, Heater: pin{gpioreg.ByName(b.HeatPin())}, Journal: &log, Commands: commands,
		Clock: &slowClock{Bench: b}, Observe: func(s controller.State, _ controller.Output) {
			if press := map[uint64]controller.Command{900: controller.Pause, 1000: controller.Resume, 2600: controller.StepOn}[s.Seq]; press != 0 {
				commands <- press
			}
		}}
	_, err = loop.Run(context.Background(), controller.State{})
	require.NoError(t, err)

	pressed := map[time.Duration][]controller.Command{}
	for _, e := range log.events {
		if c := map[string]controller.Command{notice.PausedByHand: controller.Pause, notice.ResumedByHand: controller.Resume,
			notice.SteppedOn: controller.StepOn, notice.StoppedByHand: controller.Stop}[e.Code]; c != 0 {
			pressed[e.Since] = append(pressed[e.Since], c)
		}
	}
	require.Len(t, pressed, 3)
	var s controller.State
	var events []record.Event
	for _, r := range log.readings {
		k := r.Channels[0]
		reading := sensor.Reading{HotCode: k.HotCode, ColdCode: k.ColdCode, Fault: sensor.Fault(k.Fault)}
		reading = reading.Resolve(max31855.Temperatures(thermocouple.K, k.HotCode, k.ColdCode))
		var out controller.Output
		s, out = c.Step(s, controller.Input{Now: r.Since, Wall: r.Wall, Chamber: reading, Commands: pressed[r.Since]})
		require.True(t, bitwise(reflect.ValueOf(r), reflect.ValueOf(out.Record)), "reading %d:\n%+v\n%+v", r.Seq, r, out.Record)
		events = append(events, out.Events...)
	}
	require.Equal(t, log.events, events)
	require.Greater(t, len(log.readings), 5000)
}

// bitwise is equality to the last bit, NaN included.
func bitwise(a, b reflect.Value) bool {
	switch a.Kind() {
	case reflect.Float64:
		return math.Float64bits(a.Float()) == math.Float64bits(b.Float())
	case reflect.Slice:
		if a.Len() != b.Len() {
			return false
		}
		for i := range a.Len() {
			if !bitwise(a.Index(i), b.Index(i)) {
				return false
			}
		}
		return true
	case reflect.Struct:
		if t, ok := a.Interface().(time.Time); ok {
			return t.Equal(b.Interface().(time.Time))
		}
		for i := range a.NumField() {
			if !bitwise(a.Field(i), b.Field(i)) {
				return false
			}
		}
		return true
	}
	return a.Equal(b)
}

// Every firing ends: what the plan takes with the limits of the kiln, and half
// an hour for arriving.
func TestEveryFiringEnds(t *testing.T) {
	if testing.Short() {
		t.Skip("long")
	}
	t.Parallel()
	text, err := profile.ShippedText("steep")
	require.NoError(t, err)
	pr, err := profile.Parse(text)
	require.NoError(t, err)
	for _, name := range []string{"bench-12l-brick-120v", "studio-150l-brick", "jewellery-3l-fibre"} {
		env := shipped(t, name).Envelope(20)
		line := profile.Unroll(pr, profile.Outlook{StartC: 20, FullRateCPerH: env.FullPowerRate, CoolRateCPerH: env.CoolRate})
		v := try(t, trial{kiln: name, text: text, relay: relay.Contactor})
		require.Equal(t, "finished", v.end.Outcome(), name)
		require.Less(t, v.end.Now, line.Expected+30*time.Minute, name)
	}
}

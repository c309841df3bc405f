package rerun_test

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/board"
	"calx/cmd/calx/config"
	"calx/cmd/calx/inside"
	"calx/cmd/calx/rerun"
	"calx/controller"
	"calx/controller/identify"
	"calx/controller/notice"
	"calx/controller/relay"
	"calx/profile"
	"calx/sensor"
	"calx/sim/bench"
	"calx/sim/chip"
	"calx/sim/kiln"
	"calx/sim/mould"
	"calx/storage/record"
)

// workshop is a firing on the bench whose log is kept in memory.
type workshop struct {
	kiln, chip, profile string
	relay               relay.Config
	moulds              []string
	mishaps             []bench.Mishap
	zone                string
	period              time.Duration
	press               map[uint64]controller.Command // by number of the reading
	die                 map[uint64]time.Duration      // calx is gone for so long after that reading
	ask                 bool                          // a firing that was interrupted waits for a person
	deadAt, sickFrom    uint64                        // the output dies; the log cannot be written for a while
	witness             bool
	outcome             string

	head     record.Firing
	readings []record.Reading
	events   []record.Event
	state    controller.State
}

func (w *workshop) Append(r record.Reading, e []record.Event, _ []byte) error {
	w.readings, w.events = append(w.readings, r), append(w.events, e...)
	if w.sickFrom > 0 && r.Seq >= w.sickFrom && r.Seq < w.sickFrom+50 {
		return errors.New("disk full")
	}
	return nil
}

func (w *workshop) Door() sensor.Door {
	now := time.Duration(len(w.readings)) * time.Second
	for _, m := range w.mishaps {
		if m.Kind == "door" && now >= m.At && now < m.At+m.For {
			return sensor.DoorOpen
		}
	}
	return sensor.DoorShut
}

// mortal is an output that dies.
type mortal struct {
	controller.Heater
	w *workshop
}

func (m mortal) Set(l controller.Lines) error {
	if m.w.deadAt > 0 && uint64(len(m.w.readings)) >= m.w.deadAt {
		return errors.New("the warden is dead")
	}
	return m.Heater.Set(l)
}

// core is a witness that follows the chamber slowly.
type core struct{ of controller.Thermometer }

func (c core) Read(at time.Duration) sensor.Reading {
	return sensor.Reading{At: at, HotC: 20 + 30*(1-math.Exp(-at.Hours())), ColdC: 25, HotCode: int32(at.Seconds()), ColdCode: 400}
}

// fire runs the firing as the loop and the station do.
func (w *workshop) fire(t *testing.T) {
	text, err := kiln.ShippedFile(w.kiln)
	require.NoError(t, err)
	k, err := kiln.Load(w.kiln, text)
	require.NoError(t, err)
	model, err := chip.ParseModel(w.chip)
	require.NoError(t, err)
	b, err := bench.New(bench.Options{Kiln: k, AmbientC: 20, Model: model, Seed: 7, MainsSwing: 0.015, Mishaps: w.mishaps})
	require.NoError(t, err)
	defer b.Close()
	probes, err := board.OpenProbes([]config.Channel{{Role: "chamber", Chip: w.chip, Port: b.Port(), Type: k.Probe.Type}}, time.Second)
	require.NoError(t, err)
	defer probes[0].Close()
	out, err := board.OpenOutput(config.Heater{Pin: b.HeatPin(), Air: b.AirPin()})
	require.NoError(t, err)
	p, err := profile.Parse(w.profile)
	require.NoError(t, err)
	cfg := controller.Config{Profile: p, Plant: identify.Plant(k, 20), Relay: w.relay, NoiseC: probes[0].NoiseC, Period: w.period}
	cfg.Guard = identify.Guard(k, cfg.Plant)
	if w.zone != "" {
		cfg.Zone, err = time.LoadLocation(w.zone)
		require.NoError(t, err)
	}
	w.head = record.Firing{ID: 1, Profile: w.profile, Kiln: string(text), Moulds: w.moulds, PeriodMS: uint32(w.period.Milliseconds()), Channels: []record.Channel{probes[0].Channel}}
	loop := controller.Loop{Chamber: probes[0], Heater: mortal{out, w}, Journal: w, Doorway: w, Clock: b}
	if w.witness {
		loop.Others = []controller.Thermometer{core{probes[0]}}
		w.head.Channels = append(w.head.Channels, record.Channel{Role: "witness", Chip: "max31855", Type: "K"})
	}
	if w.moulds != nil {
		files, err := inside.ReadAll(w.moulds)
		require.NoError(t, err)
		var roles []string
		for _, c := range w.head.Channels[1:] {
			roles = append(roles, c.Role)
		}
		cfg.Mould, err = inside.Build(files, k, p, roles)
		require.NoError(t, err)
		for i := range cfg.Mould.Clear {
			cfg.Mould.Clear[i].MedianMin *= 1.1 // a test piece has been broken
		}
		w.head.Beliefs = inside.Keep(cfg.Mould)
	}
	w.head.Control = rerun.Of(cfg, b.Wall()).Keep()
	loop.Controller, err = controller.New(cfg)
	require.NoError(t, err)
	w.run(t, b, loop)
}

func (w *workshop) run(t *testing.T, b *bench.Bench, loop controller.Loop) {
	commands := make(chan controller.Command, 1)
	loop.Commands = commands
	for w.state.Outcome() == "" {
		ctx, stop := context.WithCancel(context.Background())
		loop.Observe = func(s controller.State, o controller.Output) {
			w.state = s
			if c := w.press[o.Record.Seq]; c != 0 {
				commands <- c
			}
			if w.die[o.Record.Seq] != 0 {
				stop()
			}
		}
		_, err := loop.Run(ctx, w.state)
		stop()
		if w.state.Outcome() != "" {
			return
		}
		require.ErrorIs(t, err, context.Canceled)
		w.goOn(t, b, &loop)
	}
}

// goOn takes the firing up as the station does.
func (w *workshop) goOn(t *testing.T, b *bench.Bench, loop *controller.Loop) {
	gap := w.die[w.state.Seq-1]
	require.NoError(t, b.Sleep(context.Background(), gap))
	snapshot, err := w.state.Snapshot()
	require.NoError(t, err)
	w.state, err = controller.Restore(snapshot)
	require.NoError(t, err)
	e := record.Event{Seq: w.state.EventSeq, Since: w.state.Now + max(gap, time.Second), Wall: b.Wall().UTC(), Code: notice.Interrupted, Text: "calx was interrupted"}
	if w.ask {
		e.Code, e.Text = notice.WaitsForPerson, "calx was interrupted, and waits"
		w.state.Asks = e.Text
	}
	w.events = append(w.events, e)
	w.state.EventSeq = e.Seq + 1
	loop.Gap = max(gap-time.Second, 0)
}

func (w *workshop) same(t *testing.T) rerun.Result {
	res, err := rerun.Same(w.head, w.readings, w.events)
	require.NoError(t, err)
	return res
}

func woodyPod(t testing.TB) []string {
	text, err := mould.ShippedFile("woody-pod-90")
	require.NoError(t, err)
	return []string{string(text)}
}

var (
	ssr       = relay.DefaultConfig(relay.SolidState)
	contactor = relay.DefaultConfig(relay.Contactor)
)

func workshops(t testing.TB) map[string]*workshop {
	const m = time.Minute
	return map[string]*workshop{
		"commands, Fahrenheit, ssr": {kiln: "bench-12l-brick-120v", chip: "max31856", relay: ssr, outcome: "stopped",
			profile: "heat to 300 F at 500 F/h\nhold 10 min\nheat to 500 F at 400 F/h\nhold until stopped, at most 2 h\n",
			press:   map[uint64]controller.Command{300: controller.Pause, 400: controller.Resume, 401: controller.Resume, 900: controller.StepOn, 3000: controller.Stop}},
		"faults, contactor, a hold until the clock": {kiln: "bench-9l-brick", chip: "max31855", relay: contactor, outcome: "finished", zone: "Europe/Berlin",
			profile: "heat to 150 C at 300 C/h\nair on\nhold until 22:30\ntell \"open the vent\"\ncool to 140 C unpowered\n",
			mishaps: []bench.Mishap{{At: 5 * m, Kind: "open", For: 6 * time.Second}, {At: 10 * m, Kind: "clock", Value: "-600"}, {Kind: "bit_flips", Value: "0.0005"}, {At: 20 * m, Kind: "door", For: m}}},
		"moulds, interruptions, a witness": {kiln: "bench-9l-brick", chip: "max31855", relay: ssr, outcome: "finished", moulds: woodyPod(t), witness: true,
			profile: "heat to 180 C at 400 C/h\nair on\nhold until dry, at least 5 min, at most 40 min\n",
			die:     map[uint64]time.Duration{700: 4 * m, 1500: 90 * time.Second, 1502: time.Second, 2600: 700 * time.Second}},
		"a person is asked, and answers": {kiln: "jewellery-3l-fibre", chip: "max6675", relay: ssr, outcome: "finished", ask: true,
			profile: "heat to 200 C at 600 C/h\nhold 10 min\n", die: map[uint64]time.Duration{800: 30 * m},
			press: map[uint64]controller.Command{801: controller.Resume, 810: controller.StepOn, 900: controller.Resume}},
		"a welded relay":      {kiln: "jewellery-3l-fibre", chip: "max31855", relay: contactor, outcome: "tripped", profile: "heat to 400 C at 300 C/h\nhold 1 h\n", mishaps: []bench.Mishap{{At: 20 * m, Kind: "welded"}}},
		"an output that dies": {kiln: "bench-9l-brick", chip: "max31855", relay: ssr, outcome: "tripped", profile: "heat to 400 C at 300 C/h\nhold 1 h\n", deadAt: 600},
		"a sick log, four readings a second": {kiln: "bench-9l-brick", chip: "max31856", relay: ssr, outcome: "finished", period: 250 * time.Millisecond,
			profile: "heat to 60 C at 300 C/h\nhold 2 min\n", sickFrom: 500},
	}
}

// Invariant: a firing follows from its log, bit for bit, whatever happened in
// it.
func TestEveryFiringFollowsFromItsLog(t *testing.T) {
	for name, w := range workshops(t) {
		t.Run(name, func(t *testing.T) {
			w.fire(t)
			require.Equal(t, w.outcome, w.state.Outcome(), w.events[len(w.events)-1].Text)
			res := w.same(t)
			assert.True(t, res.Same(), "%+v %s", res.First, res.Stopped)
			assert.Equal(t, len(w.readings), res.Readings)
			assert.GreaterOrEqual(t, res.Events+len(w.die), len(w.events))
			assert.Equal(t, res.Figures, res.Settings.Figures)
			t.Logf("%d readings, %d events", res.Readings, res.Events)
		})
	}
}

// A bit that was changed in the record is found, by its place.
func TestDifferencesAreNamed(t *testing.T) {
	w := workshops(t)["a sick log, four readings a second"]
	w.fire(t)
	for field, c := range map[string]struct {
		mend   func(*record.Reading)
		undone func(*record.Reading)
	}{
		"duty":     {func(r *record.Reading) { r.Duty = math.Nextafter(r.Duty, 2) }, func(r *record.Reading) { r.Duty = math.Nextafter(r.Duty, -1) }},
		"setpoint": {func(r *record.Reading) { r.SetpointC++ }, func(r *record.Reading) { r.SetpointC-- }},
		"relay":    {func(r *record.Reading) { r.Relay = !r.Relay }, func(r *record.Reading) { r.Relay = !r.Relay }},
		"phase":    {func(r *record.Reading) { r.Phase++ }, func(r *record.Reading) { r.Phase-- }},
	} {
		r := &w.readings[1000]
		c.mend(r)
		res := w.same(t)
		c.undone(r)
		require.NotNil(t, res.First, field)
		assert.Equal(t, field, res.First.Field)
		assert.EqualValues(t, 1000, res.First.Seq)
		assert.NotEqual(t, res.First.Recorded, res.First.Replayed)
		assert.Equal(t, 1000, res.Readings, "what came before agrees")
	}
	require.True(t, w.same(t).Same(), "all is as it was")

	w.readings[500].Channels[0].HotC += 3 // an input: what follows from it differs
	assert.False(t, w.same(t).Same())
	w.readings[500].Channels[0].HotC -= 3

	w.events[1].Text += "?"
	res := w.same(t)
	require.NotNil(t, res.First)
	assert.True(t, res.First.Event)
	assert.Equal(t, "text", res.First.Field)
	w.events = w.events[:len(w.events)-1]

	w.readings = append(w.readings[:700:700], w.readings[800:]...)
	w.events[1].Text = w.events[1].Text[:len(w.events[1].Text)-1]
	assert.Equal(t, "readings 700 to 799 are missing; what follows depends on them", w.same(t).Stopped)
}

func TestWhatCannotBeReplayed(t *testing.T) {
	_, err := rerun.Same(record.Firing{Imported: "old.csv"}, nil, nil)
	assert.ErrorIs(t, err, rerun.ErrImported)
	_, err = rerun.Same(record.Firing{Profile: "boil it"}, nil, nil)
	assert.ErrorContains(t, err, "the profile in the log cannot be read")
	text, err := kiln.ShippedFile("bench-9l-brick")
	require.NoError(t, err)
	_, err = rerun.Same(record.Firing{Profile: "hold 1 h", Kiln: string(text), Control: "{"}, nil, nil)
	assert.ErrorContains(t, err, "the settings in the head of the firing cannot be read")
	// A log from before settings were kept.
	_, s, err := rerun.Config(record.Firing{Profile: "hold 1 h", Kiln: string(text), Channels: []record.Channel{{Chip: "max31856"}}})
	require.NoError(t, err)
	assert.True(t, s.Guessed)
	assert.Equal(t, 0.1, s.NoiseC)
	assert.Equal(t, "contactor", s.Relay.Kind)
}

// A time zone that this machine does not know keeps its offset.
func TestZones(t *testing.T) {
	text, err := kiln.ShippedFile("bench-9l-brick")
	require.NoError(t, err)
	at := time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
	for zone, want := range map[*time.Location]int{time.UTC: 0, time.FixedZone("Nowhere/Else", 5*3600+1800): 19800, nil: 0} {
		s := rerun.Of(controller.Config{Zone: zone}, at)
		s.Relay.Kind = "ssr"
		c, _, err := rerun.Config(record.Firing{Profile: "hold until 14:00", Kiln: string(text), Control: s.Keep()})
		require.NoError(t, err)
		if zone == nil {
			assert.Nil(t, c.Zone)
			continue
		}
		_, got := at.In(c.Zone).Zone()
		assert.Equal(t, want, got)
	}
}

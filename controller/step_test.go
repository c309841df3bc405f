package controller_test

import (
	"encoding/json"
	"math"
	"reflect"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/controller"
	"calx/controller/law"
	"calx/controller/notice"
	"calx/controller/relay"
	"calx/profile"
	"calx/sensor"
	"calx/storage/record"
)

func newPlant() law.Plant { return law.Simple(rigW, rigJPerK, rigWPerK, rigElemS, rigProbeS) }

// everything is a profile with every sentence that needs no mould.
const everything = `never above 735 C
heat to 60 C at 3000 C/h
hold 20 s
air on
heat to 100 C as fast as possible
tell "half way"
heat to 120 C in 30 s
hold until 20:05
cool to 110 C at 600 C/h
hold until stopped, at most 1 min
cool to 100 C unpowered
air off
wait until below 90 C
heat to 720 C at 5000 C/h
hold 1 min
`

// variant is a configuration to try; making a law takes a moment.
type variant struct {
	c      *controller.Controller
	relay  relay.Config
	period time.Duration
}

var variants = sync.OnceValue(func() []variant {
	p, err := profile.Parse(everything)
	if err != nil {
		panic(err)
	}
	var out []variant
	for _, period := range []time.Duration{250 * time.Millisecond, time.Second, 10 * time.Second} {
		for _, k := range []relay.Kind{relay.SolidState, relay.Contactor} {
			v := variant{relay: relay.DefaultConfig(k), period: period}
			v.c, err = controller.New(controller.Config{Profile: p, Plant: newPlant(), Guard: rigLimits(), Relay: v.relay, Period: period})
			if err != nil {
				panic(err)
			}
			out = append(out, v)
		}
	}
	return out
})

// anyInput is what a sick board in a strange night may hand to Step.
func anyInput(t *rapid.T, v variant, now *time.Duration, wall *time.Time, hotC *float64) controller.Input {
	*now += rapid.OneOf(rapid.Just(v.period), rapid.Just(v.period), rapid.Just(v.period),
		rapid.SampledFrom([]time.Duration{0, time.Millisecond, 7 * time.Second, 20 * time.Minute})).Draw(t, "dt")
	*wall = wall.Add(rapid.SampledFrom([]time.Duration{v.period, v.period, v.period, time.Hour, -time.Hour, -24 * 365 * time.Hour}).Draw(t, "wall"))
	*hotC += rapid.Float64Range(-2, 4).Draw(t, "move")
	r := sensor.Reading{HotC: *hotC, ColdC: 25, ColdCode: rapid.Int32Range(399, 401).Draw(t, "cold code")}
	switch rapid.IntRange(0, 25).Draw(t, "kind of reading") {
	case 0:
		r = sensor.Failed(*now, sensor.Fault(rapid.Uint16Range(1, 8191).Draw(t, "fault")))
	case 1:
		r.HotC = rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e308, -1e308, 5e-324}).Draw(t, "wild")
	case 2:
		r.HotC = rapid.Float64Range(-300, 2500).Draw(t, "elsewhere")
		*hotC = r.HotC
	case 3:
		r.HotC += rapid.Float64Range(-400, 400).Draw(t, "flip")
	}
	in := controller.Input{Now: *now, Wall: *wall, Chamber: r}
	switch rapid.IntRange(0, 30).Draw(t, "other") {
	case 0:
		in.Commands = rapid.SliceOfN(rapid.Map(rapid.Uint8Range(0, 6), func(c uint8) controller.Command { return controller.Command(c) }), 1, 3).Draw(t, "commands")
	case 1:
		in.LogBehind = true
	case 2:
		in.OutputDead = rapid.Bool().Draw(t, "dead")
	case 3:
		in.Others = []sensor.Reading{sensor.Failed(*now, sensor.Open), {HotC: math.NaN()}}
	}
	return in
}

// checker holds what must be true of every tick.
type checker struct {
	t        *rapid.T
	v        variant
	seq      uint64
	eventSeq uint64
	changed  time.Duration // of the relay
	ever     bool
	was      controller.Output
	wasNow   time.Duration
}

func (k *checker) tick(s controller.State, in controller.Input, out controller.Output) {
	t, r := k.t, out.Record
	const ceilingC, marginC, maxC = 735, 10, 1100
	over := s.Phase >= record.Done
	if out.Heat && (over || !in.Chamber.OK() || in.Chamber.HotC > ceilingC+marginC || in.Chamber.HotC > maxC || in.OutputDead || s.Plan.Unheated) {
		t.Fatalf("heat in phase %v on %v (%v)", s.Phase, in.Chamber.HotC, in.Chamber.Fault)
	}
	if !(r.Duty >= 0 && r.Duty <= 1) {
		t.Fatalf("duty %v", r.Duty)
	}
	if r.Seq != k.seq {
		t.Fatalf("reading %d, want %d", r.Seq, k.seq)
	}
	k.seq++
	for _, e := range out.Events {
		if e.Seq != k.eventSeq || e.Text == "" || notice.For(e.Code).Code != e.Code {
			t.Fatalf("event %+v, want seq %d", e, k.eventSeq)
		}
		k.eventSeq++
	}
	if r.SetpointC > ceilingC {
		t.Fatalf("setpoint %v", r.SetpointC)
	}
	if out.Ended != over || k.was.Ended && !out.Ended {
		t.Fatalf("ended %v in phase %v", out.Ended, s.Phase)
	}
	k.relayTimes(in, out)
	if _, err := s.Snapshot(); err != nil {
		t.Fatalf("state cannot be stored: %v", err)
	}
	k.was, k.wasNow = out, in.Now
}

// relayTimes: a contactor closes for no less than its time unless safety opens
// it, and never before its least time open.
func (k *checker) relayTimes(in controller.Input, out controller.Output) {
	if out.Heat == k.was.Heat {
		return
	}
	open := in.Now - k.changed
	if out.Heat && k.ever && open < time.Duration(k.v.relay.LeastOffS*float64(time.Second)) {
		k.t.Fatalf("closed after %v open", open)
	}
	k.ever, k.changed = true, in.Now
}

func TestStepProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SampledFrom(variants()).Draw(t, "variant")
		k := &checker{t: t, v: v}
		var s, twin controller.State
		var now time.Duration
		wall, hotC := start, rapid.SampledFrom([]float64{20, 90, 715, 734, 900}).Draw(t, "hot")
		for range rapid.IntRange(1, 150).Draw(t, "ticks") {
			in := anyInput(t, v, &now, &wall, &hotC)
			var out, out2 controller.Output
			before := s
			s, out = v.c.Step(s, in)
			k.tick(s, in, out)
			// The same again, from the state as it is stored.
			b, err := before.Snapshot()
			if err != nil {
				t.Fatal(err)
			}
			twin = controller.State{}
			if err := json.Unmarshal(b, &twin); err != nil {
				t.Fatal(err)
			}
			twin, out2 = v.c.Step(twin, in)
			if !same(s, twin) || !same(out, out2) {
				t.Fatalf("a stored state goes on differently:\n%+v\n%+v", out, out2)
			}
		}
	})
}

// same compares bit by bit: NaN equals NaN, and 0 is not -0.
func same(a, b any) bool { return equal(reflect.ValueOf(a), reflect.ValueOf(b)) }

func equal(a, b reflect.Value) bool {
	switch a.Kind() {
	case reflect.Float64:
		return math.Float64bits(a.Float()) == math.Float64bits(b.Float())
	case reflect.Struct:
		if t, ok := a.Interface().(time.Time); ok {
			return t.Equal(b.Interface().(time.Time))
		}
		for i := range a.NumField() {
			if !equal(a.Field(i), b.Field(i)) {
				return false
			}
		}
		return true
	case reflect.Array, reflect.Slice:
		if a.Len() != b.Len() {
			return false
		}
		for i := range a.Len() {
			if !equal(a.Index(i), b.Index(i)) {
				return false
			}
		}
		return true
	}
	return reflect.DeepEqual(a.Interface(), b.Interface())
}

// A power cut in the middle of a ramp, and the firing goes on.
func TestRestore(t *testing.T) {
	for _, gap := range []time.Duration{3 * time.Second, 2 * time.Minute, 30 * time.Minute} {
		t.Run(gap.String(), func(t *testing.T) {
			r := newRig(t, "heat to 300 C at 200 C/h\nhold 30 min\n", contactor).run(time.Hour)
			b, err := r.s.Snapshot()
			require.NoError(t, err)
			cycles := r.s.Relay.Cycles
			s, err := controller.Restore(b)
			require.NoError(t, err)
			r.s = s
			r.pass(gap, false)
			r.now += gap
			r.wall = r.wall.Add(gap)
			out := r.step()
			assert.False(t, out.Heat, "one reading is not enough")
			r.run(9 * time.Second)
			for _, k := range r.trace[len(r.trace)-10:] {
				require.False(t, k.heat, "nobody knows when the relay opened")
			}
			r.run(0)
			assert.Equal(t, "finished", r.s.Outcome(), r.text(r.s.TripCode))
			assert.Greater(t, r.s.Relay.Cycles, cycles)
			for _, k := range r.trace {
				require.LessOrEqual(t, k.hotC, 304.0)
			}
		})
	}
}

func TestRestoreRefusesNonsense(t *testing.T) {
	_, err := controller.Restore([]byte("{"))
	assert.ErrorContains(t, err, "cannot be read")
	_, err = controller.Restore([]byte(`{"Plan":{"Step":-1}}`))
	assert.ErrorContains(t, err, "is in step -1; the first is 0")
	s, err := controller.Restore([]byte(`{"Begun":true,"Plan":{"Step":9999,"Entered":true}}`))
	require.NoError(t, err)
	for range 20 {
		var out controller.Output
		s, out = variants()[0].c.Step(s, controller.Input{Chamber: sensor.Reading{HotC: 20, ColdC: 25}})
		assert.False(t, out.Heat)
	}
}

// With a period of 10 s one corrupt frame is not ten seconds without a reading.
func TestSlowPeriodSurvivesOneBadFrame(t *testing.T) {
	r := newRig(t, "heat to 100 C at 60 C/h\n", func(c *controller.Config) { c.Period = 10 * time.Second }).run(10 * time.Minute)
	assert.False(t, r.read(sensor.Failed(r.now, sensor.Corrupt)).Heat)
	r.run(0)
	assert.Equal(t, "finished", r.s.Outcome())
}

// A reading that is doubted is reported once, and its return too.
func TestDoubtIsReportedOnce(t *testing.T) {
	r := newRig(t, "heat to 200 C at 100 C/h\n", nil).run(20 * time.Minute)
	for range 6 {
		require.False(t, r.read(sensor.Failed(r.now, sensor.Open)).Heat)
	}
	r.run(time.Minute)
	assert.Equal(t, 1, r.said(notice.NoReading))
	assert.Equal(t, 1, r.said(notice.ReadingBack))
	for range 3 {
		r.read(sensor.Reading{HotC: 900, ColdC: 25})
	}
	r.run(time.Minute)
	assert.Equal(t, 1, r.said(notice.ReadingJumped))
	assert.Equal(t, 2, r.said(notice.ReadingBack))
	r.run(0)
	assert.Equal(t, "finished", r.s.Outcome())
}

func TestOutputThatDoesNotAnswerTrips(t *testing.T) {
	r := newRig(t, "heat to 200 C at 100 C/h\n", nil).run(10 * time.Minute)
	s, out := r.c.Step(r.s, controller.Input{Now: r.now, Wall: r.wall, Chamber: sensor.Reading{HotC: r.probeC, ColdC: 25}, OutputDead: true})
	assert.False(t, out.Heat)
	assert.Equal(t, "tripped", s.Outcome())
	assert.Equal(t, notice.OutputDead, s.TripCode)
}

func TestLogTroubleIsReportedOnceAndHeatGoesOn(t *testing.T) {
	r := newRig(t, "heat to 200 C at 100 C/h\n", nil).run(10 * time.Minute)
	said, heat := 0, 0
	for range 300 {
		var out controller.Output
		r.s, out = r.c.Step(r.s, controller.Input{Now: r.now, Wall: r.wall, Chamber: sensor.Reading{HotC: r.probeC + 0.1*float64(r.s.Seq%3), ColdC: 25}, LogBehind: true})
		r.pass(r.period, out.Heat)
		r.now, r.wall = r.now+r.period, r.wall.Add(r.period)
		for _, e := range out.Events {
			if e.Code == notice.LogBehind {
				said++
			}
		}
		if out.Heat {
			heat++
		}
	}
	assert.Equal(t, 1, said)
	assert.Positive(t, heat)
}

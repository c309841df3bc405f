package controller_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/guard"
	"calx/controller/law"
	"calx/controller/relay"
	"calx/profile"
	"calx/sensor"
	"calx/storage/record"
)

// The rig is the smallest kiln there is: one store of heat and a perfect
// thermometer. The figures are our own.
const (
	rigW      = 2000.0
	rigJPerK  = 9000.0
	rigWPerK  = 2.5
	rigRoomC  = 20.0
	rigTopC   = 800.0 // what 2 kW hold against 2.5 W/K
	rigElemS  = 30.0
	rigProbeS = 20.0
)

var start = time.Date(2000, 1, 1, 20, 0, 0, 0, time.UTC)

// rig runs a profile on the small kiln.
type rig struct {
	tb     testing.TB
	c      *controller.Controller
	s      controller.State
	p      *profile.Profile
	now    time.Duration
	period time.Duration
	zone   *time.Location
	wall   time.Time
	elemC  float64 // of the wire, as a lag of the duty
	hotC   float64
	probeC float64
	powerW float64
	trace  []tick
	events []record.Event
}

// tick is what one tick showed.
type tick struct {
	at      time.Duration
	wall    time.Time
	setC    float64
	hotC    float64
	duty    float64
	heat    bool
	air     bool
	phase   record.Phase
	step    int
	readSeq uint64
}

// newRig builds a rig; change may alter the configuration.
func newRig(tb testing.TB, text string, change func(*controller.Config)) *rig {
	p, err := profile.Parse(text)
	require.NoError(tb, err)
	cfg := controller.Config{Profile: p, Plant: law.Simple(rigW, rigJPerK, rigWPerK, rigElemS, rigProbeS), Guard: rigLimits()}
	if change != nil {
		change(&cfg)
	}
	c, err := controller.New(cfg)
	require.NoError(tb, err)
	if cfg.Period == 0 {
		cfg.Period = time.Second
	}
	if cfg.Zone == nil {
		cfg.Zone = time.UTC
	}
	return &rig{tb: tb, c: c, p: p, period: cfg.Period, zone: cfg.Zone, wall: start, hotC: rigRoomC, probeC: rigRoomC, powerW: rigW}
}

func rigLimits() guard.Limits {
	return guard.Limits{MarginC: 10, MaxC: 1100, NoReadingS: 10, Response: []guard.Response{
		{TempC: 20, LagS: 50, FullCPerH: 780, CoastC: 15},
		{TempC: 700, LagS: 50, FullCPerH: 90, CoastC: 2},
	}}
}

// pass moves the kiln on.
func (r *rig) pass(d time.Duration, heat bool) {
	s := d.Seconds()
	want := 0.0
	if heat {
		want = r.powerW
	}
	r.elemC += (want - r.elemC) * (1 - math.Exp(-s/rigElemS))
	r.hotC += (r.elemC - rigWPerK*(r.hotC-rigRoomC)) / rigJPerK * s
	r.probeC += (r.hotC - r.probeC) * (1 - math.Exp(-s/rigProbeS))
}

// step is one tick; then a period passes.
func (r *rig) step(cmds ...controller.Command) controller.Output {
	return r.read(sensor.Reading{HotC: r.probeC + 0.1*float64(r.s.Seq%3), ColdC: 25}, cmds...)
}

func (r *rig) read(reading sensor.Reading, cmds ...controller.Command) controller.Output {
	var out controller.Output
	r.s, out = r.c.Step(r.s, controller.Input{Now: r.now, Wall: r.wall, Chamber: reading, Commands: cmds})
	r.trace = append(r.trace, tick{r.now, r.wall, out.Record.SetpointC, r.hotC, out.Record.Duty, out.Heat, out.Air, out.Record.Phase, int(out.Record.Step), out.Record.Seq})
	r.events = append(r.events, out.Events...)
	r.pass(r.period, out.Heat)
	r.now += r.period
	r.wall = r.wall.Add(r.period)
	return out
}

// run goes on for d, or to the end of the firing when d is 0.
func (r *rig) run(d time.Duration) *rig {
	const most = 60 * time.Hour
	for end := r.now + d; d == 0 || r.now < end; {
		if out := r.step(); out.Ended && d == 0 {
			return r
		}
		require.Less(r.tb, r.now, most, "the firing does not end")
	}
	return r
}

// runUntil goes on until a step has begun.
func (r *rig) runUntil(step int) *rig {
	for r.s.Plan.Step < step || !r.s.Plan.Entered {
		out := r.step()
		require.False(r.tb, out.Ended, "ended before step %d: %s", step+1, r.s.TripCode)
	}
	return r
}

// of are the ticks of one step.
func (r *rig) of(step int) []tick {
	var out []tick
	for _, t := range r.trace {
		if t.step == step {
			out = append(out, t)
		}
	}
	return out
}

// lasted is how long a step took.
func (r *rig) lasted(step int) time.Duration { return time.Duration(len(r.of(step))) * r.period }

func (r *rig) said(code string) (n int) {
	for _, e := range r.events {
		if e.Code == code {
			n++
		}
	}
	return n
}

func (r *rig) text(code string) string {
	for _, e := range r.events {
		if e.Code == code {
			return e.Text
		}
	}
	return ""
}

// contactor is a relay that must be spared.
func contactor(c *controller.Config) { c.Relay = relay.DefaultConfig(relay.Contactor) }

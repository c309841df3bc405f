package bench_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/conn/v3/spi/spireg"

	"calx/controller"
	"calx/controller/identify"
	"calx/controller/law"
	"calx/controller/relay"
	"calx/profile"
	"calx/sensor/max31855"
	"calx/sensor/thermocouple"
	"calx/sim/bench"
	"calx/sim/chip"
	"calx/sim/kiln"
	"calx/storage/record"
)

// quality is how well one firing was controlled, judged by the junction itself.
type quality struct {
	rampSq, rampN float64
	over          []float64 // at each arrival at a hold, °C
	holdVar       []float64 // of each settled hold, °C²
	lost          []float64 // time of each hold away from it by more than 5 °C, s
	cyclesPerH    float64
	hours         float64
	outcome       string
}

func (q quality) rmse() float64 { return math.Sqrt(q.rampSq / math.Max(q.rampN, 1)) }
func (q quality) hold() float64 { return math.Sqrt(mean(q.holdVar)) }

func mean(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}

func percentile(v []float64, p float64) float64 {
	if len(v) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(v))
	return s[min(int(math.Ceil(p*float64(len(s))))-1, len(s)-1)]
}

type pin struct{ gpio.PinOut }

func (p pin) Set(want controller.Lines) error { return p.Out(gpio.Level(want.Heat)) }

type nowhere struct{}

func (nowhere) Append(record.Reading, []record.Event, []byte) error { return nil }

// judge watches a firing tick by tick.
type judge struct {
	q       quality
	inHold  bool
	heated  bool // the hold was reached by heating
	step    uint16
	heldS   float64 // since the setpoint reached the hold
	worst   float64
	lostS   float64
	sum, sq float64
	n       float64
}

// settleS is left out of the scatter of a hold.
const settleS = 900

func (j *judge) tick(r record.Reading, trueC float64, hold, heated bool) {
	if j.inHold && (!hold || r.Step != j.step) {
		j.close()
	}
	e := trueC - r.SetpointC
	switch {
	case hold:
		if !j.inHold {
			j.heated = heated
			j.inHold, j.step, j.heldS, j.worst, j.lostS, j.sum, j.sq, j.n = true, r.Step, 0, 0, 0, 0, 0, 0
		}
		j.heldS++
		if j.heldS < 1800 && heated {
			j.worst = math.Max(j.worst, e)
		}
		if math.Abs(e) > 5 {
			j.lostS++
		}
		if j.heldS > settleS {
			j.sum += e
			j.sq += e * e
			j.n++
		}
	case r.Phase == record.Ramping && r.Duty > 0 && r.Duty < 0.98:
		j.q.rampSq += e * e
		j.q.rampN++
	}
}

func (j *judge) close() {
	j.inHold = false
	if j.heated {
		j.q.over = append(j.q.over, j.worst)
	}
	j.q.lost = append(j.q.lost, j.lostS)
	if j.n > 60 {
		m := j.sum / j.n
		j.q.holdVar = append(j.q.holdVar, math.Max(j.sq/j.n-m*m, 0))
	}
}

// run fires one profile on one kiln through chip, driver, controller and relay.
// wrong may spoil what the law believes about the kiln.
func run(tb testing.TB, name, prof string, k relay.Kind, wrong func(*law.Plant)) quality {
	text, err := kiln.ShippedFile(name)
	require.NoError(tb, err)
	p, err := kiln.Load(name, text)
	require.NoError(tb, err)
	ptext, err := profile.ShippedText(prof)
	require.NoError(tb, err)
	pr, err := profile.Parse(ptext)
	require.NoError(tb, err)
	b, err := bench.New(bench.Options{Kiln: p, AmbientC: 20, Model: chip.MAX31855, Seed: 7, MainsSwing: 0.015})
	require.NoError(tb, err)
	defer b.Close()
	port, err := spireg.Open(b.Port())
	require.NoError(tb, err)
	letter, err := thermocouple.ParseType(p.Probe.Type)
	require.NoError(tb, err)
	dev, err := max31855.New(port, &max31855.Opts{Type: letter})
	require.NoError(tb, err)
	plant := identify.Plant(p, 20)
	wrong(&plant)
	c, err := controller.New(controller.Config{Profile: pr, Plant: plant, Relay: relay.DefaultConfig(k), Guard: identify.Guard(p, plant)})
	require.NoError(tb, err)
	var j judge
	loop := controller.Loop{Controller: c, Chamber: dev, Heater: pin{gpioreg.ByName(b.HeatPin())}, Journal: nowhere{}, Clock: b,
		Observe: func(s controller.State, o controller.Output) {
			r, tr := o.Record, b.Truth()
			heated := r.Step > 0 && int(r.Step) <= len(pr.Steps) && pr.Steps[r.Step-1].Kind == profile.Heat
			hold := int(r.Step) < len(pr.Steps) && pr.Steps[r.Step].Kind == profile.Hold && s.Plan.Entered
			j.tick(r, tr.JunctionC, hold, heated)
		}}
	end, err := loop.Run(context.Background(), controller.State{})
	require.NoError(tb, err)
	if j.inHold {
		j.close()
	}
	j.q.hours = end.Now.Hours()
	j.q.cyclesPerH = float64(end.Relay.Cycles) / j.q.hours
	j.q.outcome = end.Outcome()
	return j.q
}

var fourProfiles = []string{"slow", "fast", "long-holds", "steep"}

// BenchmarkControl prints the quality of control for every shipped kiln and
// four profiles, with either kind of relay.
func BenchmarkControl(b *testing.B) {
	for b.Loop() {
		for _, k := range []relay.Kind{relay.SolidState, relay.Contactor} {
			table(b, k, kiln.Shipped(), fourProfiles, true)
		}
	}
}

func table(tb testing.TB, k relay.Kind, kilns, profiles []string, print bool) (all quality) {
	show := func(format string, a ...any) {
		if print {
			fmt.Printf(format, a...)
		}
	}
	show("\n%-24s %-12s %10s %10s %10s %8s %9s %7s  %s\n", k, "profile", "ramp RMSE", "overshoot", "hold std", "lost", "cycles/h", "hours", "outcome")
	for _, n := range kilns {
		for _, p := range profiles {
			q := run(tb, n, p, k, func(*law.Plant) {})
			show("%-24s %-12s %7.2f °C %7.2f °C %7.2f °C %6.0f s %9.1f %7.1f  %s\n", n, p, q.rmse(), percentile(q.over, 1), q.hold(), mean(q.lost), q.cyclesPerH, q.hours, q.outcome)
			all.rampSq += q.rampSq
			all.rampN += q.rampN
			all.over = append(all.over, q.over...)
			all.holdVar = append(all.holdVar, q.holdVar...)
			all.lost = append(all.lost, q.lost...)
		}
	}
	show("%-24s %-12s %7.2f °C %7.2f °C %7.2f °C %6.0f s\n", "all", "(95th pct)", all.rmse(), percentile(all.over, 0.95), all.hold(), mean(all.lost))
	return all
}

// limits are what control must keep over all kilns and profiles.
type limits struct{ rampC, overC, holdC, lostS float64 }

var asked = map[relay.Kind]limits{
	relay.SolidState: {0.5, 1.8, 0.2, 60},
	relay.Contactor:  {1.8, 5.3, 1.6, 150},
}

// TestControl holds the shortest of the four profiles to the figures asked for;
// the whole table is BenchmarkControl's.
func TestControl(t *testing.T) {
	if testing.Short() {
		t.Skip("long: eight kilns")
	}
	kilns := kiln.Shipped()
	for k, l := range asked {
		q := table(t, k, kilns, []string{"steep"}, false)
		assert.LessOrEqual(t, q.rmse(), l.rampC, "%s: ramp RMSE, °C", k)
		assert.LessOrEqual(t, percentile(q.over, 0.95), l.overC, "%s: overshoot, °C", k)
		assert.LessOrEqual(t, q.hold(), l.holdC, "%s: scatter of holds, °C", k)
		assert.LessOrEqual(t, mean(q.lost), l.lostS, "%s: hold time lost, s", k)
	}
}

// TestWrongKilnFile spoils the kiln file: control must stay within the figures
// with any one belief badly wrong.
func TestWrongKilnFile(t *testing.T) {
	each := func(f func(*law.Point)) func(*law.Plant) {
		return func(p *law.Plant) {
			for i := range p.Points {
				f(&p.Points[i])
			}
		}
	}
	caps := func(by float64) func(*law.Plant) {
		return each(func(q *law.Point) {
			for i := range q.Nodes {
				q.Nodes[i].CapJPerK *= by
			}
		})
	}
	for name, wrong := range map[string]func(*law.Plant){
		"power 30 % too high":   func(p *law.Plant) { p.PowerW *= 1.3 },
		"power 25 % too low":    func(p *law.Plant) { p.PowerW *= 0.75 },
		"element lag doubled":   each(func(q *law.Point) { q.ElementLagS *= 2 }),
		"probe lag doubled":     each(func(q *law.Point) { q.ProbeLagS *= 2 }),
		"probe lag halved":      each(func(q *law.Point) { q.ProbeLagS /= 2 }),
		"heat capacity doubled": caps(2),
		"heat capacity halved":  caps(0.5),
	} {
		t.Run(name, func(t *testing.T) {
			if testing.Short() {
				t.Skip("long")
			}
			q := run(t, "bench-9l-brick", "steep", relay.SolidState, wrong)
			l := asked[relay.SolidState]
			assert.Equal(t, "finished", q.outcome)
			assert.LessOrEqual(t, q.rmse(), l.rampC, "ramp RMSE, °C")
			assert.LessOrEqual(t, percentile(q.over, 1), l.overC, "overshoot, °C")
			assert.LessOrEqual(t, q.hold(), l.holdC, "scatter of holds, °C")
		})
	}
}

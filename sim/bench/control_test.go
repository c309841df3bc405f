package bench_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"
	"time"

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

func (p pin) Set(heat, _ bool) error { return p.Out(gpio.Level(heat)) }

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
func run(tb testing.TB, name, prof string, k relay.Kind, trace string) quality {
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
	mismatch(&plant)
	c, err := controller.New(controller.Config{Profile: pr, Plant: plant, Relay: relay.DefaultConfig(k), Guard: identify.Guard(p, plant)})
	require.NoError(tb, err)
	var j judge
	var w *os.File
	if trace != "" {
		w, _ = os.Create(trace)
		defer w.Close()
		fmt.Fprintln(w, "t,set,true,meas,duty,relay,elem,phase,step,extra")
	}
	loop := controller.Loop{Controller: c, Chamber: dev, Heater: pin{gpioreg.ByName(b.HeatPin())}, Journal: nowhere{}, Clock: b,
		Observe: func(s controller.State, o controller.Output) {
			r, tr := o.Record, b.Truth()
			heated := r.Step > 0 && int(r.Step) <= len(pr.Steps) && pr.Steps[r.Step-1].Kind == profile.Heat
			hold := int(r.Step) < len(pr.Steps) && pr.Steps[r.Step].Kind == profile.Hold && s.Plan.Entered
			j.tick(r, tr.JunctionC, hold, heated)
			if w != nil {
				on := 0
				if r.Relay {
					on = 1
				}
				fmt.Fprintf(w, "%.0f,%.3f,%.3f,%.3f,%.4f,%d,%.1f,%s,%d,%.4f\n", r.Since.Seconds(), r.SetpointC, tr.JunctionC, r.Channels[0].HotC, r.Duty, on, tr.ElementC, r.Phase, r.Step, s.Law.Extra)
			}
			if testing.Verbose() && trace != "" {
				for _, e := range o.Events {
					fmt.Println(e.Since, e.Code, e.Text)
				}
			}
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
			q := run(tb, n, p, k, "")
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

func TestTrace(t *testing.T) {
	k := os.Getenv("CALX_TRACE_KILN")
	if k == "" {
		t.Skip("set CALX_TRACE_KILN, CALX_TRACE_PROFILE and CALX_TRACE_RELAY to write a trace")
	}
	kind, err := relay.ParseKind(os.Getenv("CALX_TRACE_RELAY"))
	require.NoError(t, err)
	start := time.Now()
	q := run(t, k, os.Getenv("CALX_TRACE_PROFILE"), kind, "/tmp/trace.csv")
	t.Logf("%+v in %v", q, time.Since(start))
}

func TestSweep(t *testing.T) {
	if os.Getenv("CALX_SWEEP") == "" {
		t.Skip("")
	}
	kind, _ := relay.ParseKind(os.Getenv("CALX_TRACE_RELAY"))
	a := table(t, kind, kiln.Shipped(), []string{"fast"}, os.Getenv("CALX_PRINT") != "")
	fmt.Printf("SWEEP %s rmse %.3f over95 %.2f mean %.2f hold %.3f lost %.0f\n", os.Getenv("CALX_TUNE"), a.rmse(), percentile(a.over, .95), mean(a.over), a.hold(), mean(a.lost))
}

func mismatch(p *law.Plant) {
	m := os.Getenv("CALX_MIS")
	if m == "" {
		return
	}
	var power, el, pr, cp float64
	fmt.Sscan(m, &power, &el, &pr, &cp)
	p.PowerW *= power
	for i := range p.Points {
		q := &p.Points[i]
		q.ElementLagS *= el
		q.ProbeLagS *= pr
		for j := range q.Nodes {
			q.Nodes[j].CapJPerK *= cp
		}
	}
}

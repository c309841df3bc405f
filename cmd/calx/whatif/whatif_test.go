package whatif

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/notice"
	"calx/controller/resume"
	"calx/sim/bench"
	"calx/storage/record"
)

const short = "heat to 250 C at 400 C/h\nhold 20 min\n"

func ran(t testing.TB, mend func(*Firing)) Record {
	t.Helper()
	f := shipped(t, "bench-9l-brick", short)
	if mend != nil {
		mend(&f)
	}
	r, err := Run(f)
	require.NoError(t, err)
	return r
}

func codes(r Record) map[string]int {
	out := map[string]int{}
	for i, e := range r.Events {
		if int(e.Seq) != i {
			out["out of order"]++
		}
		out[e.Code]++
	}
	return out
}

// The same firing comes out the same; another seed is other noise.
func TestRunIsRepeatable(t *testing.T) {
	a, b := ran(t, nil), ran(t, nil)
	assert.Equal(t, "finished", a.Outcome)
	assert.Equal(t, curveOf(a), curveOf(b))
	c := ran(t, func(f *Firing) { f.Seed = 2 })
	assert.NotEqual(t, curveOf(a), curveOf(c))
	d := Compare(simHead, a.Readings, c.Readings, []string{"heat", "hold"})
	assert.Less(t, float64(d.Chamber.RMSEC), 0.5, "noise is averaged out")
	require.Len(t, d.Stages, 2)
	assert.InDelta(t, 0, float64(d.Stages[1].ShiftS), 30)
}

func curveOf(r Record) (out []float64) {
	for _, rd := range r.Readings {
		out = append(out, rd.Channels[0].HotC, rd.EnergyJ)
	}
	return out
}

// A power cut by the rules of the station.
func TestPowerCuts(t *testing.T) {
	cut := func(d time.Duration, mend func(*Firing)) Record {
		return ran(t, func(f *Firing) {
			f.Mishaps = []bench.Mishap{{At: 40 * time.Minute, Kind: "power", For: d}}
			if mend != nil {
				mend(f)
			}
		})
	}
	r := cut(time.Minute, nil)
	assert.Equal(t, "finished", r.Outcome)
	assert.Equal(t, 1, codes(r)[notice.Interrupted])
	assert.Zero(t, codes(r)["out of order"])

	r = cut(3*time.Hour, nil)
	assert.Equal(t, "waiting", r.Outcome, "somebody has to be asked")
	assert.Equal(t, 1, codes(r)[notice.WaitsForPerson])

	r = cut(3*time.Hour, func(f *Firing) { f.Answer = 20 * time.Minute })
	assert.Equal(t, "finished", r.Outcome)
	assert.Equal(t, 1, codes(r)[notice.ResumedByHand])
	assert.Zero(t, codes(r)["out of order"])

	r = cut(time.Minute, func(f *Firing) { f.Policy = resume.End })
	assert.Equal(t, "interrupted", r.Outcome)

	// An interruption that the record shows went on, and does so again.
	r = ran(t, func(f *Firing) { f.Gaps = []Gap{{At: 30 * time.Minute, For: 2 * time.Hour}} })
	assert.Equal(t, "finished", r.Outcome)
	longest := time.Duration(0)
	for i := 1; i < len(r.Readings); i++ {
		longest = max(longest, r.Readings[i].Since-r.Readings[i-1].Since)
	}
	assert.InDelta(t, 2*time.Hour, longest, float64(2*time.Second))
}

func TestMishaps(t *testing.T) {
	with := func(ms ...bench.Mishap) Record { return ran(t, func(f *Firing) { f.Mishaps = ms }) }
	whole, weak := ran(t, nil), with(bench.Mishap{Kind: "elements", Value: "0.9"})
	last := func(r Record) record.Reading { return r.Readings[len(r.Readings)-1] }
	assert.InEpsilon(t, 1/0.9, last(weak).EnergyJ/last(whole).EnergyJ, 0.03, "by rated power and relay time it takes more")
	assert.InEpsilon(t, 1, weak.EnergyJ/whole.EnergyJ, 0.02, "from the mains it takes the same")
	assert.Equal(t, "tripped", with(bench.Mishap{At: 20 * time.Minute, Kind: "open"}).Outcome)
	assert.Equal(t, "finished", with(bench.Mishap{At: 20 * time.Minute, Kind: "open", For: 4 * time.Second}).Outcome)
	assert.Equal(t, "tripped", with(bench.Mishap{At: 10 * time.Minute, Kind: "welded"}).Outcome)
	assert.Equal(t, "tripped", with(bench.Mishap{At: 10 * time.Minute, Kind: "frozen"}).Outcome)
	assert.Equal(t, 1, codes(with(bench.Mishap{At: 10 * time.Minute, Kind: "clock", Value: "600"}))[notice.ClockStepped])
	assert.ErrorContains(t, Check([]bench.Mishap{{Kind: "bit_flips"}}), "needs the emulated chips")
	assert.ErrorContains(t, Check([]bench.Mishap{{Kind: "welded", On: bench.OnMain}}), "on the main")
}

func TestPresses(t *testing.T) {
	r := ran(t, func(f *Firing) {
		f.Presses = []Press{{10 * time.Minute, controller.Pause}, {15 * time.Minute, controller.Resume}, {30 * time.Minute, controller.Stop}}
	})
	assert.Equal(t, "stopped", r.Outcome)
	assert.Equal(t, 30*time.Minute, r.Readings[len(r.Readings)-1].Since)
}

// Residuals of curves that are known.
func TestCompare(t *testing.T) {
	curve := func(off func(s float64) float64, late int) (out []record.Reading) {
		for i := range 7200 {
			step := uint16(0)
			if i >= 3600+late {
				step = 1
			}
			s := float64(i)
			out = append(out, record.Reading{Seq: uint64(i), Since: time.Duration(i) * time.Second, Step: step, Phase: record.Ramping, EnergyJ: s * 100, Channels: []record.Sample{{HotC: 100 + s/60 + off(s)}}})
		}
		return out
	}
	a := curve(func(float64) float64 { return 0 }, 0)
	d := Compare(simHead, a, curve(func(float64) float64 { return 3 }, 0), []string{"a", "b"})
	assert.InDelta(t, 3, float64(d.Chamber.MeanC), 1e-9)
	assert.InDelta(t, 3, float64(d.Chamber.RMSEC), 1e-9)
	assert.InDelta(t, 0, float64(d.Stages[0].MoreJ), 1e-9)
	// A sine of a contactor's minute is averaged out, one of an hour is not.
	d = Compare(simHead, a, curve(func(s float64) float64 { return 5 * math.Sin(2*math.Pi*s/60) }, 0), nil)
	assert.Less(t, float64(d.Chamber.RMSEC), 0.3)
	assert.Nil(t, d.Stages)
	d = Compare(simHead, a, curve(func(s float64) float64 { return 5 * math.Sin(2*math.Pi*s/3600) }, 0), nil)
	assert.InDelta(t, 5/math.Sqrt2, float64(d.Chamber.RMSEC), 0.1)
	// A step that begins ten minutes late is so, and not wrong from end to end.
	d = Compare(simHead, a, curve(func(float64) float64 { return 0 }, 600), []string{"a", "b"})
	assert.InDelta(t, 600, float64(d.Stages[1].ShiftS), 1)
	assert.InDelta(t, 600, float64(d.Stages[0].LongerS), 1)
	assert.InDelta(t, 10, float64(d.Stages[1].Chamber.MeanC), 0.01, "it is 10 °C hotter where the other begins")
	// Where one ends, there is nothing to compare.
	d = Compare(simHead, a, a[:100], nil)
	assert.InDelta(t, 0, float64(d.Chamber.RMSEC), 0.01)
}

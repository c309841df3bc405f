package summary

import (
	"bytes"
	"encoding/json"
	"flag"
	"math"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/profile"
	"calx/sensor"
	"calx/storage/record"
)

var update = flag.Bool("update", false, "rewrite the golden files")

var began = time.Date(2026, 4, 14, 16, 0, 0, 0, time.UTC)

func head() record.Firing {
	return record.Firing{
		ID: 7, Name: "pods", Started: began, Outcome: "finished", Reason: "the profile is done", PeriodMS: 1000,
		Channels: []record.Channel{{Role: "chamber"}, {Role: "witness 1"}},
	}
}

// firing builds readings one a second.
type firing struct{ r []record.Reading }

// run appends readings whose measured and set temperatures, duty and relay are
// functions of the second within the run.
func (f *firing) run(seconds int, step uint16, phase record.Phase, hotC, setC func(s float64) float64, duty float64) {
	for s := range seconds {
		i := len(f.r)
		since := time.Duration(i) * time.Second
		f.r = append(f.r, record.Reading{
			Seq: uint64(i), Since: since, Wall: began.Add(since), Step: step, Phase: phase,
			Channels:  []record.Sample{{HotC: hotC(float64(s))}, {HotC: 900}},
			SetpointC: setC(float64(s)), Duty: duty, Relay: i%10 < 5, EnergyJ: 1000 * float64(i),
		})
	}
}

func at(c float64) func(float64) float64 { return func(float64) float64 { return c } }

// invented is one ramp, one arrival, one hold and the end, all by formulas
// whose figures can be computed by hand.
func invented() []record.Reading {
	var f firing
	set := func(s float64) float64 { return 20 + s/36 }
	f.run(1800, 0, record.Ramping, func(s float64) float64 { return set(s) - 3 }, set, 0.5)
	f.run(1800, 0, record.Ramping, func(s float64) float64 { return set(s+1800) - 40 }, func(s float64) float64 { return set(s + 1800) }, 1)
	f.run(600, 1, record.Waiting, at(112), at(120), 0.99)
	f.run(1800, 1, record.Holding, func(s float64) float64 { return 120 + 4*math.Sin(math.Pi*s/1800) }, at(120), 0.3)
	f.run(3600, 1, record.Holding, func(s float64) float64 { return 120 + 0.5*math.Sin(2*math.Pi*s/60) }, at(120), 0.3)
	f.run(1, 2, record.Done, at(120), at(math.NaN()), 0)
	return f.r
}

func TestFiguresOfAnInventedFiring(t *testing.T) {
	r := invented()
	s := Summarise(head(), r, nil)
	assert.Equal(t, "finished", s.Outcome)
	assert.Equal(t, 9601, s.Readings)
	assert.Equal(t, 9600.0, s.DurationS)
	assert.InDelta(t, 3, float64(s.RMSEC), 1e-9, "the half at full power does not count")
	assert.InDelta(t, 4, float64(s.OvershootC), 1e-9)
	assert.InDelta(t, 0.5/math.Sqrt2, float64(s.HoldStdC), 1e-3, "a sine of amplitude 0.5 °C")
	assert.InDelta(t, 124, float64(s.PeakC), 1e-9, "the chamber, not the witness at 900 °C")
	assert.Equal(t, 5100.0, float64(s.PeakAtS))
	assert.Equal(t, 5400.0, s.TimeInHoldS)
	assert.Equal(t, 600.0, s.WaitingS)
	assert.Equal(t, 961, s.RelayCycles, "once every ten readings, from the first on")
	assert.InDelta(t, 9.6e6/3.6e6, s.EnergyKWh, 1e-9)
	assert.Equal(t, Gaps{}, s.Gaps)
	assert.Empty(t, s.Faults)
	assert.Empty(t, s.Trips)
	require.Len(t, s.Steps, 2)
	assert.Equal(t, [2]float64{3600, 6000}, [2]float64{s.Steps[0].ActualS, s.Steps[1].ActualS})
	assert.Equal(t, 600.0, s.Steps[1].WaitingS)
}

func TestOvershootCountsOutsideTheBandToo(t *testing.T) {
	var f firing
	set := func(s float64) float64 { return 20 + s }
	f.run(100, 0, record.Ramping, set, set, 0.5)
	f.run(10, 1, record.Holding, at(121), at(120), 0.1)
	f.run(60, 1, record.Waiting, at(134), at(120), 0) // above the band: the hold's clock stands
	f.run(1000, 1, record.Holding, at(120), at(120), 0.1)
	assert.InDelta(t, 14, float64(Summarise(head(), f.r, nil).OvershootC), 1e-9)
}

func TestOvershootNeedsAHeatingArrival(t *testing.T) {
	var cooling, below, late firing
	down := func(s float64) float64 { return 500 - s }
	cooling.run(100, 0, record.Ramping, down, down, 0.1)
	cooling.run(100, 1, record.Holding, at(450), at(400), 0)
	assert.False(t, Summarise(head(), cooling.r, nil).OvershootC.Known(), "cooled into the hold")

	up := func(s float64) float64 { return 20 + s }
	below.run(100, 0, record.Ramping, up, up, 0.5)
	below.run(100, 1, record.Holding, at(118), at(120), 0.5)
	assert.Equal(t, Number(0), Summarise(head(), below.r, nil).OvershootC, "never above")

	late.run(100, 0, record.Ramping, up, up, 0.5)
	late.run(1801, 1, record.Holding, at(120), at(120), 0.5)
	late.run(100, 1, record.Holding, at(150), at(120), 0.5)
	assert.Equal(t, Number(0), Summarise(head(), late.r, nil).OvershootC, "after half an hour it is no arrival any more")
}

func TestFaultsGapsAndTrips(t *testing.T) {
	var f firing
	f.run(100, 0, record.Ramping, at(300), at(300), 0.5)
	f.r[40].Channels[0] = record.Sample{HotC: math.NaN(), Fault: uint16(sensor.Open | sensor.ColdRange)}
	f.r[41].Channels[1] = record.Sample{HotC: math.NaN(), Fault: uint16(sensor.Open)}
	f.run(1, 0, record.Tripped, at(math.NaN()), at(math.NaN()), 0)
	f.r = append(f.r[:50], f.r[90:]...)
	events := []record.Event{
		{Since: 10 * time.Second, Severity: record.Alarm, Code: "log-behind"},
		{Since: 99 * time.Second, Severity: record.Warn, Code: "tell"},
		{Since: 100 * time.Second, Wall: began.Add(100 * time.Second), Severity: record.Alarm, Code: "no-reading", Text: "no valid temperature"},
	}
	s := Summarise(head(), f.r, events)
	assert.Equal(t, map[string]int{"open": 2, "cold_range": 1}, s.Faults)
	assert.Equal(t, Gaps{1, 41}, s.Gaps)
	assert.Equal(t, []Trip{{"no-reading", began.Add(100 * time.Second), 100, 300, "no valid temperature"}}, s.Trips)

	h := head()
	h.Outcome = "tripped"
	assert.Equal(t, "no-reading", Summarise(h, nil, events).Trips[0].Guard, "without the reading, the last alarm")
}

func TestChamberIsChosenByRole(t *testing.T) {
	two := record.Firing{Channels: []record.Channel{{Role: "witness 1"}, {Role: "chamber"}, {Role: "chamber 2"}}}
	r := record.Reading{Channels: []record.Sample{{HotC: 1}, {HotC: 2}, {HotC: 3}}}
	assert.Equal(t, 2.0, ChamberC(two, r))
	r.Channels[1].Fault = uint16(sensor.Open)
	assert.Equal(t, 3.0, ChamberC(two, r), "the second chamber thermocouple stands in")
	r.Channels[2].HotC = math.Inf(1)
	assert.True(t, math.IsNaN(ChamberC(two, r)), "never a witness")
	assert.Equal(t, 1.0, ChamberC(record.Firing{}, r))
	assert.True(t, math.IsNaN(ChamberC(record.Firing{}, record.Reading{})))
}

func TestPlannedTellsWhatTheProfileAskedFor(t *testing.T) {
	p, err := profile.Parse("heat to 120 C at 100 C/h\nhold until core within 5 C, at most 3 h\n")
	require.NoError(t, err)
	s := Summarise(head(), invented(), nil).Planned(p, profile.Unroll(p, profile.Outlook{StartC: 20}))
	assert.Equal(t, "heat to 120 C at 100 C/h", s.Steps[0].Text)
	assert.InDelta(t, 3600, float64(s.Steps[0].PlannedS), 1e-6)
	assert.False(t, s.Steps[1].PlannedS.Known(), "nobody planned how long the core takes")
}

// The object is read by other programs: its names are fixed, and what is
// unknown is null, also in an empty log.
func TestJSONNamesAndNulls(t *testing.T) {
	b, err := json.Marshal(Summarise(record.Firing{}, nil, nil))
	require.NoError(t, err)
	var m map[string]any
	require.NoError(t, json.Unmarshal(b, &m))
	for _, k := range []string{
		"outcome", "duration_s", "readings", "rmse_c", "overshoot_c", "hold_std_c", "time_in_hold_s", "relay_cycles",
		"energy_kwh", "clear_at_s", "trips", "peak_c", "peak_at_s", "gaps", "sensor_faults", "steps",
	} {
		assert.Contains(t, m, k)
	}
	for _, k := range []string{"rmse_c", "overshoot_c", "hold_std_c", "peak_c", "clear_at_s"} {
		assert.Nil(t, m[k], k)
	}
	assert.Equal(t, "running", m["outcome"])
	assert.Equal(t, []any{}, m["trips"])
	assert.Equal(t, []any{}, m["steps"])

	var back Summary
	full := Summarise(head(), invented(), nil)
	b, err = json.Marshal(full)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, &back))
	assert.Equal(t, full.RMSEC, back.RMSEC)
	assert.False(t, back.ClearAtS.Known())
}

// Whatever is in the log, the figures stay within their ranges and the object
// can be written.
func TestNoLogBreaksTheSummary(t *testing.T) {
	odd := []float64{0, 1, -1, math.NaN(), math.Inf(1), math.Inf(-1), 1e300}
	rapid.Check(t, func(t *rapid.T) {
		var rs []record.Reading
		var since time.Duration
		for range rapid.IntRange(0, 40).Draw(t, "n") {
			since += time.Duration(rapid.IntRange(0, 5000).Draw(t, "dt")) * time.Millisecond
			r := record.Reading{
				Since: since, Phase: record.Phase(rapid.IntRange(0, 12).Draw(t, "phase")), Step: uint16(rapid.IntRange(0, 3).Draw(t, "step")),
				SetpointC: rapid.SampledFrom(odd).Draw(t, "set"), Duty: rapid.SampledFrom(odd).Draw(t, "duty"), Relay: rapid.Bool().Draw(t, "relay"),
			}
			for range rapid.IntRange(0, 3).Draw(t, "channels") {
				r.Channels = append(r.Channels, record.Sample{HotC: rapid.SampledFrom(odd).Draw(t, "hot"), Fault: rapid.Uint16().Draw(t, "fault") & rapid.Uint16().Draw(t, "mask")})
			}
			rs = append(rs, r)
		}
		s := Summarise(head(), rs, nil)
		_, err := json.Marshal(s)
		assert.NoError(t, err)
		assert.LessOrEqual(t, s.RelayCycles, len(rs))
		assert.LessOrEqual(t, s.TimeInHoldS+s.WaitingS, s.DurationS+1e-9)
		if s.OvershootC.Known() {
			assert.GreaterOrEqual(t, float64(s.OvershootC), 0.0)
		}
		assert.NoError(t, WriteSummary(new(bytes.Buffer), s, true, true))
	})
}

func TestWriteSummaryGolden(t *testing.T) {
	p, err := profile.Parse("heat to 120 C at 100 C/h\nhold 1 1/2 h\n")
	require.NoError(t, err)
	s := Summarise(head(), invented(), nil).Planned(p, profile.Unroll(p, profile.Outlook{StartC: 20}))
	s.Faults = map[string]int{"open": 3, "cold_range": 1}
	s.Gaps = Gaps{2, 75}
	tripped := s
	tripped.Outcome, tripped.Reason = "tripped", ""
	tripped.DryAtS, tripped.ChanceClear, tripped.Evidence = 8000, 0.42, "physics alone, no test pieces"
	tripped.Trips = []Trip{{"above-ceiling", began, 8100, 741, "the chamber is at 741 °C, above the ceiling of 735 °C"}}
	var b bytes.Buffer
	require.NoError(t, WriteSummary(&b, s, false, false))
	b.WriteString("\n")
	require.NoError(t, WriteSummary(&b, tripped, true, true))
	b.WriteString("\n")
	require.NoError(t, WriteSummary(&b, Summarise(record.Firing{}, nil, nil), false, false))
	if *update {
		require.NoError(t, os.WriteFile("testdata/summary.txt", b.Bytes(), 0o644))
	}
	want, err := os.ReadFile("testdata/summary.txt")
	require.NoError(t, err, "run go test -update once")
	assert.Equal(t, string(want), b.String())
}

func BenchmarkSummarise(b *testing.B) {
	var f firing
	set := func(s float64) float64 { return 20 + s/100 }
	f.run(36000, 0, record.Ramping, set, set, 0.5)
	f.run(36000, 1, record.Holding, at(380), at(380), 0.5)
	for b.Loop() {
		Summarise(head(), f.r, nil)
	}
}

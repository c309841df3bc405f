package web_test

import (
	"bytes"
	"maps"
	"net/http"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/web"
	"calx/controller"
	"calx/controller/notice"
	"calx/sensor"
	"calx/sim/bench"
	"calx/storage/record"
)

// scrape asks for the metrics as Prometheus does: by name, then by labels.
func (r *rig) scrape(t *testing.T) (string, map[string]map[string]float64) {
	t.Helper()
	w := r.ask("GET", "/metrics", "")
	require.Equal(t, http.StatusOK, w.Code)
	text := w.Body.String()
	p := expfmt.NewTextParser(model.LegacyValidation)
	families, err := p.TextToMetricFamilies(strings.NewReader(text))
	require.NoError(t, err)
	out := map[string]map[string]float64{}
	for name, f := range families {
		out[name] = map[string]float64{}
		for _, m := range f.Metric {
			var labels []string
			for _, l := range m.Label {
				labels = append(labels, l.GetName()+"="+l.GetValue())
			}
			out[name][strings.Join(labels, ",")] = value(f.GetType(), m)
		}
	}
	return text, out
}

func value(kind dto.MetricType, m *dto.Metric) float64 {
	switch kind {
	case dto.MetricType_COUNTER:
		return m.Counter.GetValue()
	case dto.MetricType_HISTOGRAM:
		return float64(m.Histogram.GetSampleCount())
	case dto.MetricType_SUMMARY:
		return float64(m.Summary.GetSampleCount())
	}
	return m.Gauge.GetValue()
}

// The conventions are those of prometheus.io/docs/practices/naming, as
// promlint and promtool know them.
func TestMetricsFollowTheConventions(t *testing.T) {
	var text string
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 1)
		defer r.stop()
		r.run()
		r.fire(t, ramp)
		time.Sleep(5 * time.Minute)
		text, _ = r.scrape(t)
	})
	problems, err := promlint.New(strings.NewReader(text)).Lint()
	require.NoError(t, err)
	assert.Empty(t, problems)
	cmd := exec.Command(program(t, "promtool"), "check", "metrics")
	cmd.Stdin = strings.NewReader(text)
	said, err := cmd.CombinedOutput()
	assert.NoError(t, err, "%s", said)
	assert.Empty(t, string(said))
}

// program finds one that the test needs; a continuous build must have it.
func program(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil && os.Getenv("CI") != "" {
		t.Fatalf("%s is not installed, and CI is set; make test fetches it (Debian: prometheus)", name)
	}
	if err != nil {
		t.Skipf("%s is not installed, so what it would check is not checked; make test fetches it (Debian: prometheus)", name)
	}
	return path
}

func TestMetricsShowTheFiring(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 1)
		defer r.stop()
		r.run()
		time.Sleep(3 * time.Second)
		_, m := r.scrape(t)
		assert.NotContains(t, m, "calx_setpoint_celsius", "absent while nothing is controlled")
		assert.Equal(t, 1.0, m["calx_firing_phase"]["phase=idle"])
		assert.Equal(t, map[string]float64{"": 0}, m["calx_firing_step"])

		r.fire(t, ramp)
		time.Sleep(10*time.Minute + 500*time.Millisecond) // between two ticks
		_, m = r.scrape(t)
		st, log := r.status(t), r.log.Stats()
		assert.Equal(t, map[string]float64{"channel=chamber,junction=hot": *st.ChamberC, "channel=chamber,junction=cold": *st.ColdC}, m["calx_temperature_celsius"])
		for name, want := range map[string]float64{
			"calx_setpoint_celsius":          *st.SetpointC,
			"calx_duty_ratio":                st.Duty,
			"calx_firing_step":               1,
			"calx_relay_switches_total":      float64(st.Cycles),
			"calx_reading_timestamp_seconds": float64(st.Wall.UnixMilli()) / 1000,
			"calx_tick_overruns_total":       0,
			"calx_log_commits_total":         float64(log.Commits),
			"calx_log_commit_failures_total": 0,
			"calx_log_commit_seconds":        float64(log.Commits),
			"calx_log_bytes":                 float64(log.FileBytes),
			"calx_tick_lateness_seconds":     600,
			"calx_ticks_total":               604,
		} {
			assert.InDelta(t, want, m[name][""], 2, name)
		}
		assert.InEpsilon(t, st.Firing.EnergyKWh*3.6e6, m["calx_heater_energy_joules_total"][""], 1e-9)
		assert.Equal(t, 1.0, m["calx_firing_phase"]["phase=ramping"])
		sum := 0.0
		for _, v := range m["calx_firing_phase"] {
			sum += v
		}
		assert.Equal(t, 1.0, sum, "one phase at a time")
		assert.Len(t, m["calx_sensor_faults_total"], len(sensor.Names()))
		assert.Len(t, m["calx_notices_total"], len(notice.All()))
		assert.Equal(t, 1.0, m["calx_notices_total"]["code=started"])
	})
}

// Counters of one process never fall, whatever firings come and go.
func TestCountersNeverFall(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 1)
		defer r.stop()
		r.run()
		var before map[string]map[string]float64
		totals := map[string]float64{}
		for range 3 {
			r.fire(t, "heat to 100 C at 1200 C/h\nhold until stopped, at most 1 h")
			for range 6 {
				time.Sleep(time.Minute)
				_, m := r.scrape(t)
				for name, series := range m {
					for labels, v := range series {
						if strings.HasSuffix(name, "_total") {
							assert.GreaterOrEqual(t, v, before[name][labels], "%s{%s}", name, labels)
						}
					}
				}
				before = m
			}
			st := r.status(t)
			totals["calx_heater_energy_joules_total"] += st.Firing.EnergyKWh * 3.6e6
			totals["calx_relay_switches_total"] += float64(st.Cycles)
			require.Equal(t, http.StatusNoContent, r.ask("POST", "/api/command", `{"command":"stop"}`).Code)
			time.Sleep(5 * time.Second)
		}
		_, m := r.scrape(t)
		// Between the last look and the stop a tick may pass.
		assert.InEpsilon(t, totals["calx_heater_energy_joules_total"], m["calx_heater_energy_joules_total"][""], 0.02, "all three firings")
		assert.InDelta(t, totals["calx_relay_switches_total"], m["calx_relay_switches_total"][""], 3, "all three firings")
	})
}

// A thermocouple with a fault has no temperature, least of all the last one.
func TestFaultInTheMetrics(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 1, bench.Mishap{At: 5 * time.Minute, Kind: "open"})
		defer r.stop()
		r.run()
		r.fire(t, ramp)
		time.Sleep(4 * time.Minute)
		_, m := r.scrape(t)
		assert.Equal(t, 0.0, m["calx_alarm_active"]["code=no-reading"])
		time.Sleep(90 * time.Second)
		_, m = r.scrape(t)
		assert.NotContains(t, m["calx_temperature_celsius"], "channel=chamber,junction=hot")
		assert.Positive(t, m["calx_sensor_faults_total"]["fault=open"])
		assert.Zero(t, m["calx_sensor_faults_total"]["fault=dead_bus"])
		assert.Equal(t, 1.0, m["calx_alarm_active"]["code=no-reading"])
		assert.Equal(t, 1.0, m["calx_guard_tripped"]["code=no-reading"], "it lasted too long: the firing was ended")
		var trips []string
		for _, code := range []string{"above-ceiling", "above-kiln-maximum", "cannot-reach", "char-left", "cold-junction", "control-lost", "full-power-not-rising", "may-be-too-hot",
			"no-reading", "output-dead", "probes-apart", "reading-frozen", "reading-jumped", "reversed-probe", "rising-while-off"} {
			trips = append(trips, "code="+code)
		}
		assert.Equal(t, trips, slices.Sorted(maps.Keys(m["calx_guard_tripped"])), "a fixed set")
		silent := float64(r.status(t).Wall.Unix()) - m["calx_reading_timestamp_seconds"][""]
		assert.InDelta(t, 29, silent, 3, "since the wire came off")
	})
}

// Two probes may sit in two flasks of one name.
func TestWitnessesOfOneName(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRigWith(t, 2, 1)
		defer r.stop()
		r.run()
		time.Sleep(3 * time.Second)
		_, m := r.scrape(t)
		assert.Equal(t, []string{
			"channel=chamber,junction=cold", "channel=chamber,junction=hot",
			"channel=flask 2,junction=cold", "channel=flask 2,junction=hot", "channel=flask,junction=cold", "channel=flask,junction=hot",
		}, slices.Sorted(maps.Keys(m["calx_temperature_celsius"])))
	})
}

// A firing that this process did not begin brings its energy along; counting
// that too would look like a burst of power.
func TestResumedEnergyIsNotCounted(t *testing.T) {
	m := web.NewMetrics("test", 0)
	r := newRig(t, 0)
	r.metrics, r.handler = m, web.New(web.Options{Station: r.Station, Log: r.log, Metrics: m})
	for i, j := range []float64{5e6, 5e6 + 2000, 5e6 + 4000} {
		m.Tick(0, output(uint64(900+i), j))
	}
	_, got := r.scrape(t)
	assert.Equal(t, 4000.0, got["calx_heater_energy_joules_total"][""])
	m.Idle(time.Time{}, sensor.Failed(0, sensor.Open), nil)
	m.Tick(0, output(0, 0))
	m.Tick(2*time.Second, output(1, 2000))
	_, got = r.scrape(t)
	assert.Equal(t, 6000.0, got["calx_heater_energy_joules_total"][""])
	assert.Equal(t, 1.0, got["calx_tick_overruns_total"][""])
}

func output(seq uint64, energyJ float64) controller.Output {
	return controller.Output{Record: record.Reading{Seq: seq, EnergyJ: energyJ, Channels: []record.Sample{{HotC: 20}}}}
}

// What the control loop pays a tick.
func BenchmarkTick(b *testing.B) {
	m := web.NewMetrics("test", 0)
	o := output(1, 1)
	for b.Loop() {
		m.Tick(time.Millisecond, o)
	}
}

// What a scrape costs, beside the loop.
func BenchmarkScrape(b *testing.B) {
	r := newRig(b, 0)
	defer r.stop()
	var n int
	for b.Loop() {
		n = len(bytes.TrimSpace(r.ask("GET", "/metrics", "").Body.Bytes()))
	}
	b.ReportMetric(float64(n), "B/scrape")
}

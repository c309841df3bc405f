package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/sensor"
	"calx/storage/record"
)

// logged is a firing with everything in it that an export has to survive: a
// wall clock that is set during the firing, faults, values that do not exist,
// roles that are no column names.
func logged() *firing {
	start := time.Date(2026, 1, 9, 19, 0, 0, 0, time.UTC)
	f := &firing{head: record.Firing{ID: 7, Name: "two, \"flasks\"", Channels: []record.Channel{{Role: "chamber"}, {Role: "witness 1"}, {Role: "mould \"A\"\\"}}}}
	for i := range 40 {
		since := time.Duration(i) * time.Second
		r := record.Reading{
			Seq: uint64(i), Since: since, Wall: start.Add(since), SetpointC: 20 + float64(i)/3, Duty: 0.1 * float64(i%7),
			Relay: i%2 == 0, EnergyJ: float64(i) * 1e3 / 3, Phase: record.Ramping, Step: uint16(i / 20),
			Channels: []record.Sample{{HotC: 20.1 + float64(i)/7, ColdC: 21.0625, HotCode: int32(80 + i), ColdCode: 337}, {HotC: -0.25, ColdC: math.NaN()}, {HotC: 1e-7, ColdC: 20}},
		}
		if i < 10 {
			r.Wall = time.Date(1970, 1, 1, 0, 0, i, 0, time.UTC) // a board without a battery
		}
		if i == 12 {
			r.Channels[0] = record.Sample{HotC: math.NaN(), ColdC: math.NaN(), Fault: uint16(sensor.Open | sensor.ColdRange)}
			r.SetpointC, r.Phase = math.NaN(), record.Paused
		}
		f.readings = append(f.readings, r)
	}
	return f
}

// RFC 4180, section 2: records end in CRLF (1), the header comes first (3),
// every line has as many fields (4), quotes are doubled (7).
func TestCSVIsRFC4180(t *testing.T) {
	var b bytes.Buffer
	f := logged()
	require.NoError(t, writeCSV(&b, f, false))
	text := b.String()
	assert.Equal(t, strings.Count(text, "\n"), strings.Count(text, "\r\n"), "every line ends in CRLF")
	rows, err := csv.NewReader(&b).ReadAll() // refuses lines of different length
	require.NoError(t, err)
	require.Len(t, rows, 1+len(f.readings))
	column := map[string]int{}
	for i, name := range rows[0] {
		assert.NotContains(t, column, name, "a column of its own")
		assert.Regexp(t, `^[a-z][a-z0-9_]*$`, name)
		column[name] = i
	}
	for i, r := range f.readings {
		row := rows[i+1]
		at, err := time.Parse(time.RFC3339Nano, row[column["time_utc"]])
		require.NoError(t, err)
		assert.True(t, at.Equal(r.Wall), "%v, want %v", at, r.Wall)
		for name, want := range map[string]float64{
			"since_s": r.Since.Seconds(), "setpoint_c": r.SetpointC, "duty_ratio": r.Duty, "energy_j": r.EnergyJ, "step": float64(r.Step) + 1,
			"chamber_hot_c": r.Channels[0].HotC, "chamber_cold_c": r.Channels[0].ColdC, "witness_1_hot_c": -0.25, "mould__a_hot_c": 1e-7,
			"chamber_hot_code": float64(r.Channels[0].HotCode),
		} {
			got := row[column[name]]
			if math.IsNaN(want) {
				assert.Empty(t, got, "%s of reading %d", name, i)
				continue
			}
			v, err := strconv.ParseFloat(got, 64)
			require.NoError(t, err)
			assert.Equal(t, math.Float64bits(want), math.Float64bits(v), "%s of reading %d", name, i)
		}
		assert.Equal(t, sensor.Fault(r.Channels[0].Fault).String(), row[column["chamber_fault"]])
	}
	assert.Equal(t, "open, cold_range", rows[13][column["chamber_fault"]])
}

func TestNumbersReadBackToTheSameBits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Draw(t, "v")
		got, err := strconv.ParseFloat(number(v), 64)
		if err != nil || math.Float64bits(got) != math.Float64bits(v) {
			t.Fatalf("%q is %v (%v), want %v", number(v), got, err, v)
		}
	})
}

// The ABNF of OpenMetrics 1.0 (prometheus.io/docs/specs/om), as far as gauges
// and counters go, one line at a time.
var (
	omMeta   = regexp.MustCompile(`^# (TYPE|UNIT|HELP) ([a-zA-Z_:][a-zA-Z0-9_:]*) (\S.*)$`)
	omSample = regexp.MustCompile(`^([a-zA-Z_:][a-zA-Z0-9_:]*)\{([a-zA-Z_][a-zA-Z0-9_]*="(?:[^"\\\n]|\\["n\\])*"(?:,[a-zA-Z_][a-zA-Z0-9_]*="(?:[^"\\\n]|\\["n\\])*")*)\} ([-+]?[0-9]+(?:\.[0-9]*)?(?:[eE][-+]?[0-9]+)?) ([0-9]+\.[0-9]{3})$`)
)

// OpenMetrics 1.0: metadata before samples, the unit a suffix of the name,
// counters _total and never falling, families and metrics not interleaved,
// points of a metric in rising time, # EOF last.
func TestOpenMetricsFollowsTheSpecification(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, writeOpenMetrics(&b, logged()))
	text, ended := strings.CutSuffix(b.String(), "# EOF\n")
	require.True(t, ended, "ends in # EOF")
	var family, kind, metric string
	families, metrics := map[string]bool{}, map[string]bool{}
	var lastAt, lastV float64
	for _, l := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
		if m := omMeta.FindStringSubmatch(l); m != nil {
			if m[1] == "TYPE" {
				require.False(t, families[m[2]], "family %s comes once", m[2])
				family, kind, metric = m[2], m[3], ""
				families[family] = true
			}
			require.Equal(t, family, m[2], l)
			require.Empty(t, metric, "metadata comes before samples: %s", l)
			if m[1] == "UNIT" {
				assert.True(t, strings.HasSuffix(family, "_"+m[3]), l)
			}
			continue
		}
		m := omSample.FindStringSubmatch(l)
		require.NotNil(t, m, "no line of the format: %s", l)
		name := family
		if kind == "counter" {
			name += "_total"
		}
		require.Equal(t, name, m[1])
		v, err := strconv.ParseFloat(m[3], 64)
		require.NoError(t, err)
		at, err := strconv.ParseFloat(m[4], 64)
		require.NoError(t, err)
		if is := m[1] + m[2]; is != metric {
			require.False(t, metrics[is], "metric %s is not interleaved", is)
			metric, lastAt, lastV = is, 0, 0
			metrics[is] = true
		}
		assert.Greater(t, at, lastAt, l)
		if kind == "counter" {
			assert.GreaterOrEqual(t, v, lastV, l)
		}
		lastAt, lastV = at, v
	}
	assert.Contains(t, text, `calx_temperature_celsius{firing="7",channel="mould \"A\"\\",junction="hot"} 1e-07 `)
	assert.Contains(t, text, `calx_sensor_faults_total{firing="7",fault="open"} 1 `)
}

// What Prometheus itself makes of it: blocks with every sample, to the bit.
func TestPromtoolTakesTheExport(t *testing.T) {
	tool, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("CI") != "" {
			require.Fail(t, "promtool is not installed; CI needs it (Debian package prometheus)")
		}
		t.Skip("SKIPPED: promtool is not installed (Debian package prometheus)")
	}
	f := logged()
	dir := t.TempDir()
	file, blocks := filepath.Join(dir, "f.om"), filepath.Join(dir, "tsdb")
	require.NoError(t, writeFile(file, func(w *os.File) error { return writeOpenMetrics(w, f) }))
	out, err := exec.Command(tool, "tsdb", "create-blocks-from", "openmetrics", file, blocks).CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.NoError(t, os.MkdirAll(filepath.Join(blocks, "wal"), 0o755)) // dump wants one, though it be empty
	dump, err := exec.Command(tool, "tsdb", "dump", blocks).CombinedOutput()
	require.NoError(t, err, "%s", dump)
	seen := 0
	for _, l := range strings.Split(string(dump), "\n") {
		if !strings.Contains(l, `__name__="calx_temperature_celsius"`) || !strings.Contains(l, `channel="chamber"`) || !strings.Contains(l, `junction="hot"`) {
			continue
		}
		var v float64
		var ms int64
		_, err := fmt.Sscan(l[strings.LastIndex(l, "}")+1:], &v, &ms)
		require.NoError(t, err, l)
		i := (ms - f.began().UnixMilli()) / 1000
		assert.Equal(t, f.readings[i].Channels[0].HotC, v, "reading %d", i)
		seen++
	}
	assert.Equal(t, len(f.readings)-1, seen, "all but the one with a fault")
}

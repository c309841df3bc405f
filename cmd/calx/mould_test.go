package main

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/mould"
	"calx/storage/record"
)

// observed is logged with two moulds, of which the first reading knows nothing
// yet.
func observed(t *testing.T) *firing {
	f := logged()
	for _, name := range []string{"woody-pod-90", "thin-leaf-65"} {
		text, err := mould.ShippedFile(name)
		require.NoError(t, err)
		f.head.Moulds = append(f.head.Moulds, string(text))
	}
	for i := range f.readings[1:] {
		x := float64(i) / 100
		f.readings[i+1].Observer = []float64{100 + x, 110, 1 - x, x / 2, x / 3, 200, 210, 0, 0.5, 0.25, x / 4}
	}
	return f
}

func TestExportsNameTheMoulds(t *testing.T) {
	f := observed(t)
	var b bytes.Buffer
	require.NoError(t, writeCSV(&b, f, true))
	rows, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
		assert.NotContains(t, name, "observer", "all have a name")
	}
	get := func(row int, name string) string {
		require.Contains(t, column, name)
		return rows[1+row][column[name]]
	}
	assert.Empty(t, get(0, "woody_pod_90_core_f"))
	assert.Empty(t, get(0, "clear_chance_ratio"))
	for name, want := range map[string]float64{
		"woody_pod_90_core_f": 100.1*9/5 + 32, "woody_pod_90_surface_f": 230, "woody_pod_90_water_ratio": 0.9, "woody_pod_90_char_ratio": 0.05,
		"woody_pod_90_burnt_ratio": 0.1 / 3, "thin_leaf_65_core_f": 392, "thin_leaf_65_burnt_ratio": 0.25, "clear_chance_ratio": 0.025,
	} {
		got, err := strconv.ParseFloat(get(11, name), 64)
		require.NoError(t, err, name)
		assert.InDelta(t, want, got, 1e-9, name)
	}

	b.Reset()
	require.NoError(t, writeOpenMetrics(&b, f))
	text := b.String()
	for _, s := range []string{
		`calx_mould_core_celsius{firing="7",flask="woody-pod-90"} 100.1 `, `calx_mould_water_ratio{firing="7",flask="woody-pod-90"} 0.9 `,
		`calx_mould_clear_ratio{firing="7",flask="thin-leaf-65"} 0.25 `, `calx_firing_clear_chance_ratio{firing="7"} 0.025 `,
	} {
		assert.Contains(t, text, s)
	}
	assert.Equal(t, len(f.readings)-1, strings.Count(text, "\ncalx_firing_clear_chance_ratio{"))
}

// A log whose mould files cannot be read any more still has its figures.
func TestExportOfUnknownMoulds(t *testing.T) {
	f := observed(t)
	f.head.Moulds[1] = "name: from the future\n"
	assert.Equal(t, []string{"mould 1", "mould 2"}, mouldNames(f.head))
	f.head.Moulds = f.head.Moulds[:1]
	var b bytes.Buffer
	require.NoError(t, writeCSV(&b, f, false))
	assert.Contains(t, b.String(), ",observer_0,")
	assert.NotContains(t, b.String(), "woody")
}

func TestInsideCurves(t *testing.T) {
	f := observed(t)
	for i := range f.readings {
		f.readings[i].Since = time.Duration(i) * 10 * time.Second
	}
	f.readings[39].Since += time.Hour // readings are missing before it
	f.head.PeriodMS = 10_000
	c := insideCurves(f.head, f.readings)
	require.Len(t, c, 5)
	for i, name := range []string{"core woody-pod-90", "core thin-leaf-65", "water left", "burnt", "clear chance"} {
		assert.Equal(t, name, c[i].Name)
		assert.Equal(t, i > 1, c[i].Fraction)
		n := len(c[i].Samples)
		assert.Equal(t, 10*time.Second, c[i].Samples[0].Since)
		assert.Equal(t, 20*time.Second, c[i].Samples[1].Since-c[i].Samples[0].Since)
		assert.True(t, math.IsNaN(c[i].Samples[n-2].Value), "a gap must be seen")
		assert.Equal(t, f.readings[39].Since, c[i].Samples[n-1].Since)
	}
	last := func(i int) float64 { return c[i].Samples[len(c[i].Samples)-1].Value }
	assert.InDelta(t, 0.62, last(2), 1e-9, "the wettest")
	assert.InDelta(t, 0.38/3, last(3), 1e-9, "the least burnt")
	assert.InDelta(t, 0.38/4, last(4), 1e-9)
	assert.Empty(t, insideCurves(record.Firing{}, logged().readings))
}

func TestLoadMoulds(t *testing.T) {
	none, err := loadMoulds([]string{"none"})
	require.NoError(t, err)
	assert.Empty(t, none)
	bad := filepath.Join(t.TempDir(), "bad.yaml")
	require.NoError(t, os.WriteFile(bad, []byte("name: bad\nflask: {diameter: 90, height: 120 mm, sleeve: steel, stands: grate}\n"), 0o644))
	_, err = loadMoulds([]string{bad, "woody-pod-90", "nosuch"})
	assert.ErrorContains(t, err, bad+":2:19: flask.diameter")
	assert.ErrorContains(t, err, "mould: there is no file nosuch")
	for v, want := range map[float64]string{0: "0 %", 0.002: "under 1 %", 0.5: "50 %", 0.9951: "over 99 %", 1: "100 %"} {
		assert.Equal(t, want, share(v))
	}
}

func TestLabelsWithoutBounds(t *testing.T) {
	for label, want := range map[string]string{
		`step 2, "hold until dry, at least 2 h, at most 10 h" is over after 7 h`: `step 2, "hold until dry" is over after 7 h`,
		`step 4, "hold until 14:00" at 20 °C`:                                    `step 4, "hold until 14:00" at 20 °C`,
		`stopped by hand in step 1, "heat to 180 C, x"`:                          `stopped by hand in step 1, "heat to 180 C, x"`,
	} {
		assert.Equal(t, want, withoutBounds(label))
	}
}

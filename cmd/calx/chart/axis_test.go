package chart

import (
	"math"
	"testing"
	"time"
	_ "time/tzdata" // the zones below, wherever the tests run

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func texts(ticks []tick) []string {
	out := []string{}
	for _, t := range ticks {
		out = append(out, t.label)
	}
	return out
}

func TestTemperatureLabelsAreRoundAndFew(t *testing.T) {
	assert.Equal(t, []string{"0", "100", "200", "300", "400", "500", "600", "700"}, texts(tempTicks(0, 756, 8)))
	assert.Equal(t, []string{"0", "500", "1000"}, texts(tempTicks(-10, 1360, 4)))
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(-50, 1300).Draw(t, "lo")
		hi := lo + rapid.Float64Range(10, 2400).Draw(t, "span")
		n := rapid.IntRange(2, 20).Draw(t, "n")
		got := tempTicks(lo, hi, n)
		assert.LessOrEqual(t, len(got), n+1)
		for _, k := range got {
			assert.True(t, k.at >= lo-1e-9 && k.at <= hi+1e-9, "%v outside %v..%v", k.at, lo, hi)
			assert.Equal(t, math.Trunc(k.at), k.at)
		}
	})
}

// The two fixed points and their relation: NIST SP 811 (2008), B.8 and B.9.
func TestFahrenheit(t *testing.T) {
	for c, f := range map[float64]float64{0: 32, 100: 212, -40: -40, 1064.18: 1947.524} {
		assert.InDelta(t, f, degrees(true).of(c), 1e-9)
		assert.InDelta(t, c, convert(true, f), 1e-9)
		assert.Equal(t, c, degrees(false).of(c))
	}
}

// Summer time in the Union begins and ends at 01:00 UTC on the last Sundays of
// March and October (Directive 2000/84/EC, articles 2 and 3): in Berlin 02:00
// becomes 03:00 on 29 March 2026 and 03:00 becomes 02:00 on 25 October 2026.
func TestClockLabelsThroughSummerTime(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)

	spring := time.Date(2026, 3, 28, 22, 30, 0, 0, berlin)
	got := wallTicks(spring, 6*time.Hour, 8)
	assert.Equal(t, []string{"23:00", "Sun", "01:00", "03:00", "04:00", "05:00"}, texts(got))
	assert.Equal(t, 3.5, got[3].at/3600, "03:00 comes one hour after 01:00… and 3.5 h after the start")

	autumn := time.Date(2026, 10, 24, 22, 30, 0, 0, berlin)
	got = wallTicks(autumn, 6*time.Hour, 8)
	assert.Equal(t, []string{"23:00", "Sun", "01:00", "02:00", "03:00"}, texts(got))
	assert.Equal(t, 5.5, got[4].at/3600, "two hours pass between 02:00 and 03:00")
}

func TestClockLabelsNameTheDays(t *testing.T) {
	start := time.Date(2026, 4, 14, 18, 20, 0, 0, time.UTC)
	assert.Equal(t, []string{"20:00", "Wed", "04:00", "08:00", "12:00"}, texts(wallTicks(start, 20*time.Hour, 5)))
	assert.Equal(t, []string{"Wed 15", "Thu 16", "Fri 17"}, texts(wallTicks(start, 72*time.Hour, 3)))
	assert.Empty(t, wallTicks(time.Time{}, time.Hour, 6), "no start, no clock")
}

func TestHourLabels(t *testing.T) {
	assert.Equal(t, []string{"0", "4", "8", "12", "16", "20"}, texts(hourTicks(20*time.Hour, 5)))
	assert.Equal(t, []string{"0:00", "0:15", "0:30"}, texts(hourTicks(40*time.Minute, 2)))
	assert.Less(t, len(hourTicks(20000*time.Hour, 6)), 8, "a year is still labelled")
}

func TestDurationsInWords(t *testing.T) {
	assert.Equal(t, "20 h 10 min", hoursMinutes(20*time.Hour+10*time.Minute))
	assert.Equal(t, "2 h", hoursMinutes(2*time.Hour+10*time.Second))
	assert.Equal(t, "7 min", hoursMinutes(7*time.Minute))
}

package chart

import (
	"bytes"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/profile"
	"calx/sensor"
	"calx/storage/record"
)

func TestFromRecordsKeepsEveryReadingAndItsGaps(t *testing.T) {
	wrong := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	right := time.Date(2026, 4, 14, 16, 0, 0, 0, time.UTC)
	head := record.Firing{
		Name: "pods", Started: wrong, Units: "F", PeriodMS: 1000,
		Channels: []record.Channel{{Role: "witness 1"}, {Role: "chamber"}},
	}
	read := func(s int, c float64, fault sensor.Fault) record.Reading {
		since := time.Duration(s) * time.Second
		return record.Reading{
			Since: since, Wall: right.Add(since), SetpointC: 100, Duty: 0.5,
			Channels: []record.Sample{{HotC: 5}, {HotC: c, Fault: uint16(fault)}},
		}
	}
	f := FromRecords(head,
		[]record.Reading{read(0, 20, 0), read(1, 21, 0), read(2, math.NaN(), sensor.Open), read(100, 22, 0)},
		[]record.Event{
			{Since: time.Second, Text: "first line\nsecond", Severity: record.Warn},
			{Since: 2 * time.Second, Code: "step"},
		})

	require.Len(t, f.Points, 5)
	assert.Equal(t, 20.0, f.Points[0].HotC, "the chamber, not the first channel")
	assert.True(t, math.IsNaN(f.Points[2].HotC), "a fault is a gap")
	assert.Equal(t, 0.5, f.Points[2].Duty, "what was asked for is known all the same")
	assert.True(t, math.IsNaN(f.Points[3].Duty), "missing readings are a gap in everything")
	assert.Equal(t, right, f.Start, "the clock was set after the start")
	assert.True(t, f.Fahrenheit)
	assert.Equal(t, []Mark{{time.Second, "first line", record.Warn}, {2 * time.Second, "step", record.Info}}, f.Events)

	assert.Equal(t, wrong, FromRecords(head, nil, nil).Start)
}

func TestPlanFollowsTheTimeline(t *testing.T) {
	p, err := profile.Parse("heat to 150 C at 60 C/h\nhold 2 h\n")
	require.NoError(t, err)
	plan := Plan(profile.Unroll(p, profile.Outlook{StartC: 30}))
	require.NotEmpty(t, plan)
	assert.Equal(t, PlanPoint{0, 30}, plan[0])
	assert.Equal(t, PlanPoint{4 * time.Hour, 150}, plan[len(plan)-1], "(150 − 30) °C at 60 °C/h, and 2 h")
}

// Every drawing must survive what a log can hold.
func TestOddFirings(t *testing.T) {
	nan := math.NaN()
	odd := map[string]Firing{
		"empty":           {},
		"only a title":    {Title: "a\x1b[31mtitle\x07 with 窯 and a very long name that goes on and on and on and on and on"},
		"one point":       {Points: []Point{{0, 20, 30, 0.5}}},
		"one late point":  {Start: night(), Points: []Point{{time.Hour, 20, 30, 0.5}}},
		"nothing valid":   {Points: []Point{{0, nan, nan, nan}, {time.Hour, nan, nan, nan}}},
		"infinite":        {Points: []Point{{0, math.Inf(1), 20, math.Inf(-1)}, {time.Hour, 20, nan, 1}}},
		"duty beyond 1":   {Points: []Point{{0, 20, 20, -3}, {time.Hour, 20, 20, 7}}},
		"beyond any kiln": {Points: []Point{{0, -300, 20, 0}, {time.Hour, 90000, 20, 1}}},
		"a nanosecond":    {Points: []Point{{0, 20, 20, 0}, {1, 21, 20, 1}}},
		"a year":          {Start: night(), Points: []Point{{0, 20, 20, 0}, {365 * 24 * time.Hour, 21, 20, 1}}},
		"only events":     {Start: night(), Events: []Mark{{time.Hour, "tripped", record.Alarm}}},
		"only a plan":     {Plan: corners, Now: 1},
		"ceiling far off": {CeilingC: 2000, Points: []Point{{0, 20, 20, 0}, {time.Hour, 40, 20, 1}}},
		"empty series":    {Extra: []Series{{Name: "core"}, {Name: "clear", Fraction: true}}},
	}
	for name, f := range odd {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			require.NoError(t, Sketch(&b, f, SketchOpts{Unicode: true}))
			assertFits(t, b.String(), 80, 24)
			require.NoError(t, SVG(&b, f, 400, 400))
			require.NoError(t, PNG(&b, f, 320, 320))
			assert.NotContains(t, b.String(), "NaN")
		})
	}
}

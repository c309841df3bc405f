package controller_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/guard"
	"calx/controller/law"
	"calx/profile"
	"calx/sensor"
)

// A kiln that cooled while nobody controlled it is brought back at the pace of
// the profile: full power to catch up would crack a mould.
func TestInterruptedHoldIsReachedAgainAtThePaceOfTheProfile(t *testing.T) {
	p, err := profile.Parse("heat to 300 C at 200 C/h\nhold 1 h\n")
	require.NoError(t, err)
	c, err := controller.New(controller.Config{Profile: p, Plant: law.Simple(2000, 9000, 2.5, 30, 20), Guard: guard.DefaultLimits(1100)})
	require.NoError(t, err)
	start := time.Date(2000, 1, 1, 20, 0, 0, 0, time.UTC)
	var s controller.State
	var out controller.Output
	chamberC, lowest := 20.0, 300.0
	gapAt, gap := 100*time.Minute, 20*time.Minute
	var from, back time.Duration
	for now := time.Duration(0); !out.Ended && now < 10*time.Hour; now += time.Second {
		if now == gapAt {
			for range int(gap.Seconds()) {
				chamberC -= 3 * (chamberC - 20) / 10000
			}
			now += gap
			from, lowest = now, chamberC
		}
		s, out = c.Step(s, controller.Input{Now: now, Wall: start.Add(now), Chamber: sensor.Reading{At: now, HotC: chamberC}})
		lossW := 3 * (chamberC - 20)
		if out.Heat {
			lossW -= 1900
		}
		chamberC -= lossW / 10000
		if from > 0 && back == 0 {
			assert.LessOrEqual(t, out.Record.SetpointC, lowest+200.0/3600*(now-from).Seconds()+1, "°C, %v after the gap", now-from)
			if out.Record.SetpointC >= 300 {
				back = now
			}
		}
	}
	require.Equal(t, "finished", s.Outcome())
	require.Less(t, lowest, 240.0, "the test is of a kiln that cooled")
	assert.InDelta(t, (300-lowest)/200*3600, (back - from).Seconds(), 120)
	assert.InDelta(t, time.Hour.Seconds(), (s.Now-back).Seconds()+(gapAt-84*time.Minute).Seconds(), 240, "the hold still lasts its hour")
}

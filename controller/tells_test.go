package controller_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/notice"
	"calx/sensor"
)

// A loop that is away for most of ten minutes ends the firing; one long gap does
// not.
func TestControlLost(t *testing.T) {
	r := newRig(t, "heat to 400 C at 200 C/h\nhold 2 h\n", nil).run(10 * time.Minute)
	r.pass(time.Hour, false)
	r.now += time.Hour
	r.step()
	assert.Empty(t, r.s.TripCode, "one gap")
	for n := 0; n < 60 && r.s.TripCode == ""; n++ {
		r.pass(30*time.Second, false)
		r.now += 30 * time.Second
		r.step()
	}
	assert.Equal(t, notice.ControlLost, r.s.TripCode)
}

func TestLongHoldBackIsToldOnce(t *testing.T) {
	r := newRig(t, "heat to 700 C at 760 C/h\nhold 10 min\n", nil).run(2 * time.Hour)
	assert.Equal(t, 1, r.said(notice.HoldBackLong))
	assert.Contains(t, r.text(notice.HoldBackLong), "the plan has waited for 60 min in step 1")
}

// After a trip both contactors are open. A chamber that rises all the same is
// told, once.
func TestMainContactorWelded(t *testing.T) {
	for _, welded := range []bool{true, false} {
		r := newRig(t, "heat to 400 C at 200 C/h\nhold 2 h\n", nil).run(20 * time.Minute)
		dead := true
		for range 600 {
			var out controller.Output
			r.s, out = r.c.Step(r.s, controller.Input{Now: r.now, Wall: r.wall, OutputDead: dead,
				Chamber: sensor.Reading{HotC: r.probeC + 0.1*float64(r.s.Seq%3), ColdC: 25}})
			dead = false
			r.events = append(r.events, out.Events...)
			require.False(t, out.Main)
			r.pass(time.Second, welded)
			r.now += time.Second
		}
		require.Equal(t, notice.OutputDead, r.s.TripCode)
		want := 0
		if welded {
			want = 1
		}
		assert.Equal(t, want, r.said(notice.MainWelded))
	}
}

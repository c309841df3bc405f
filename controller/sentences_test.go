package controller_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/notice"
	"calx/profile"
	"calx/sensor"
	"calx/storage/record"
)

func TestHeatByRate(t *testing.T) {
	r := newRig(t, "heat to 200 C at 150 C/h\nhold 1 h\n", nil).run(0)
	assert.InDelta(t, 180.0/150, r.lasted(0).Hours(), 0.02)
	for _, k := range r.of(0)[600:] {
		require.InDelta(t, k.setC, k.hotC, 1.5, "at %v", k.at)
	}
	assert.InDelta(t, 1, r.lasted(1).Hours(), 0.02)
	assert.Equal(t, "finished", r.s.Outcome())
	assert.Equal(t, 1, r.said(notice.Finished))
}

func TestHeatInTime(t *testing.T) {
	r := newRig(t, "heat to 200 C in 2 h\nhold 10 min\n", nil).run(0)
	assert.InDelta(t, 2, r.lasted(0).Hours(), 0.02)
}

func TestHeatAsFastAsPossible(t *testing.T) {
	r := newRig(t, "heat to 300 C as fast as possible\nhold 20 min\n", nil).run(0)
	// Full power from the room: 9000 J/K, 2.5 W/K, so 280 = 800 (1 - exp(-t/3600 s)).
	fullS := -rigJPerK / rigWPerK * math.Log(1-280.0/800)
	assert.InDelta(t, fullS, r.lasted(0).Seconds(), 120)
	full := 0
	for _, k := range r.of(0) {
		if k.duty >= 0.98 {
			full++
		}
	}
	assert.Greater(t, float64(full), 0.85*float64(len(r.of(0))), "full power nearly all the way")
	for _, k := range r.of(1) {
		require.LessOrEqual(t, k.hotC, 303.0, "and no overshoot")
	}
	assert.Zero(t, r.said(notice.HoldBack), "full power by request is no hold-back")
}

func TestCool(t *testing.T) {
	r := newRig(t, "heat to 300 C at 400 C/h\ncool to 200 C at 100 C/h\nheat to 300 C at 400 C/h\ncool to 200 C unpowered\nhold 10 min\n", nil).run(0)
	assert.InDelta(t, 1, r.lasted(1).Hours(), 0.02)
	for _, k := range r.of(1)[300:] {
		require.InDelta(t, k.setC, k.hotC, 2)
	}
	freeS := rigJPerK / rigWPerK * math.Log(280.0/180)
	assert.InDelta(t, freeS, r.lasted(3).Seconds(), 150)
	for _, k := range r.of(3) {
		require.False(t, k.heat)
		require.Equal(t, record.Cooling, k.phase)
		require.True(t, math.IsNaN(k.setC), "nothing is asked for")
	}
	for _, k := range r.of(4)[60:] {
		require.InDelta(t, 200, k.hotC, 2, "the hold catches the falling kiln")
	}
}

func TestWaitUntilBelow(t *testing.T) {
	r := newRig(t, "heat to 150 C at 600 C/h\nwait until below 90 C\ntell \"handle with gloves\"\n", nil).run(0)
	assert.InDelta(t, rigJPerK/rigWPerK*math.Log(130.0/70), r.lasted(1).Seconds(), 250)
	for _, k := range r.of(1) {
		require.False(t, k.heat)
	}
	assert.Less(t, r.trace[len(r.trace)-1].hotC, 91.0)
	assert.Equal(t, "handle with gloves", r.text(notice.Told))
}

func TestAirAndTellTakeNoTime(t *testing.T) {
	r := newRig(t, "heat to 60 C at 600 C/h\nair on\ntell \"air is on\"\nhold 10 min\nair off\nhold 5 min\n", nil).run(0)
	assert.Empty(t, r.of(1))
	assert.Empty(t, r.of(2))
	for _, k := range r.of(0) {
		require.False(t, k.air)
	}
	for _, k := range r.of(3) {
		require.True(t, k.air)
	}
	for _, k := range r.of(5) {
		require.False(t, k.air)
	}
}

// The relay of the fresh air does not stay on after the end.
func TestAirEndsWithTheFiring(t *testing.T) {
	r := newRig(t, "air on\nheat to 60 C at 600 C/h\n", nil).run(0)
	assert.False(t, r.trace[len(r.trace)-1].air)
}

func TestHoldUntilStopped(t *testing.T) {
	text := "heat to 60 C at 600 C/h\nhold until stopped, at most 20 min\n"
	r := newRig(t, text, nil).run(0)
	assert.InDelta(t, 20, r.lasted(1).Minutes(), 1)
	assert.Equal(t, 1, r.said(notice.HoldCutShort))

	r = newRig(t, text, nil).runUntil(1)
	r.run(5 * time.Minute)
	r.step(controller.StepOn)
	assert.Equal(t, "finished", r.s.Outcome())
	assert.Zero(t, r.said(notice.HoldCutShort))
	assert.Equal(t, 1, r.said(notice.SteppedOn))
}

// The clock of a hold starts within 3 °C of it, and stops while the chamber is
// more than 6 °C away.
func TestHoldClock(t *testing.T) {
	r := newRig(t, "heat to 300 C as fast as possible\nhold 30 min\n", nil).runUntil(1)
	for r.s.Plan.HeldS == 0 {
		r.step()
	}
	assert.InDelta(t, 300, r.probeC, 3.3)
	r.run(5 * time.Minute)
	r.powerW = 0 // the fuse is out for a while
	away, before := 0.0, r.s.Plan.HeldS
	from := r.now
	for r.now < from+20*time.Minute {
		if r.now == from+5*time.Minute {
			r.powerW = rigW
		}
		r.step()
		if math.Abs(r.probeC-300) > 6 {
			away++
		}
	}
	require.Greater(t, away, 300.0)
	assert.InDelta(t, 1200-away, r.s.Plan.HeldS-before, 60, "time away does not count")
	r.run(0)
	assert.Equal(t, "finished", r.s.Outcome())
}

func TestHoldUntilClock(t *testing.T) {
	vienna, err := time.LoadLocation("Europe/Vienna")
	require.NoError(t, err)
	local := func(s string) time.Time {
		w, err := time.ParseInLocation("2006-01-02 15:04", s, vienna)
		require.NoError(t, err)
		return w
	}
	for _, c := range []struct{ name, from, until, ends string }{
		{"same day", "2024-05-01 09:00", "12:00", "2024-05-01 12:00"},
		{"across midnight", "2024-05-01 22:00", "01:30", "2024-05-02 01:30"},
		{"into the next year", "2024-12-31 23:00", "00:30", "2025-01-01 00:30"},
		{"the night that has no half past two", "2024-03-31 00:30", "04:00", "2024-03-31 04:00"},
		{"the night that has half past two twice", "2024-10-27 00:30", "04:00", "2024-10-27 04:00"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, "heat to 40 C at 600 C/h\nhold until "+c.until+"\n", func(f *controller.Config) { f.Zone = vienna })
			r.wall = local(c.from).UTC()
			r.run(0)
			last := r.trace[len(r.trace)-1]
			assert.WithinDuration(t, local(c.ends), last.wall, time.Second)
		})
	}
}

// On the last Sunday of March the clocks of central Europe go from 2 to 3
// (Directive 2000/84/EC), so four hours by the clock are three.
func TestSpringNightIsShorter(t *testing.T) {
	vienna, err := time.LoadLocation("Europe/Vienna")
	require.NoError(t, err)
	r := newRig(t, "hold until 04:00\n", func(f *controller.Config) { f.Zone = vienna })
	r.wall = time.Date(2024, 3, 31, 0, 0, 0, 0, vienna).UTC()
	r.run(0)
	assert.InDelta(t, 3, r.now.Hours(), 0.01)
}

// A board without a battery starts in 1970 and is set right later.
func TestHoldUntilClockOnABoardThatWokeIn1970(t *testing.T) {
	r := newRig(t, "hold until 14:00\n", nil)
	r.wall = time.Date(1970, 1, 1, 3, 0, 0, 0, time.UTC)
	r.run(time.Minute)
	r.wall = time.Date(2024, 5, 1, 5, 0, 0, 0, time.UTC)
	r.run(0)
	assert.WithinDuration(t, time.Date(2024, 5, 1, 14, 0, 0, 0, time.UTC), r.trace[len(r.trace)-1].wall, time.Second)
}

// A clock that is set across the time it waits for ends the hold; it does not
// wait for the next day.
func TestClockSetAcrossTheEnd(t *testing.T) {
	r := newRig(t, "hold until 20:30\n", nil).run(29 * time.Minute)
	r.wall = r.wall.Add(2 * time.Minute)
	r.run(0)
	assert.InDelta(t, 29, r.now.Minutes(), 0.1)
}

func TestHoldBackSaysSoOnce(t *testing.T) {
	// 300 °C/h at 500 °C need 750 W beside the 1200 W of losses.
	r := newRig(t, "heat to 600 C at 400 C/h\nhold 1 h\n", nil).run(0)
	assert.Equal(t, "finished", r.s.Outcome())
	assert.Equal(t, 1, r.said(notice.HoldBack))
	assert.Equal(t, 1, r.said(notice.CaughtUp))
	assert.Contains(t, r.text(notice.HoldBack), "the plan waits in step 1")
	waited, worst := false, 0.0
	for _, k := range r.trace {
		if math.IsNaN(k.setC) {
			continue
		}
		waited = waited || k.phase == record.Waiting
		require.Less(t, k.setC-k.hotC, 12.0, "the plan does not run away, at %v", k.at)
		worst = math.Max(worst, k.hotC-k.setC)
	}
	assert.True(t, waited)
	assert.Less(t, worst, 4.0, "nothing was wound up")
}

func TestPauseResume(t *testing.T) {
	r := newRig(t, "heat to 300 C at 200 C/h\nhold 5 min\n", nil).run(30 * time.Minute)
	setC := r.s.Plan.SetC
	r.step(controller.Pause, controller.Pause)
	r.run(40 * time.Minute)
	assert.Equal(t, setC, r.s.Plan.SetC)
	assert.Equal(t, record.Paused, r.s.Phase)
	assert.InDelta(t, setC, r.hotC, 1.5, "the setpoint is held")
	r.step(controller.Resume)
	assert.Equal(t, 1, r.said(notice.PausedByHand))
	assert.Equal(t, 1, r.said(notice.ResumedByHand))
	r.run(0)
	assert.Equal(t, "finished", r.s.Outcome())
	assert.InDelta(t, (280.0/200*60+5+40)/60, r.now.Hours(), 0.05)
}

// Step-on while paused used to leave a step that had not begun, and so no heat.
func TestStepOnEndsAPause(t *testing.T) {
	r := newRig(t, "heat to 300 C at 200 C/h\nhold 1 h\n", nil).run(30 * time.Minute)
	r.step(controller.Pause)
	r.step(controller.StepOn)
	r.run(30 * time.Minute)
	assert.Equal(t, record.Holding, r.s.Phase)
	assert.InDelta(t, r.s.Plan.SetC, r.hotC, 1.5)
}

func TestStop(t *testing.T) {
	r := newRig(t, "heat to 300 C at 200 C/h\n", nil).run(30 * time.Minute)
	out := r.step(controller.Stop, controller.Resume, controller.StepOn)
	assert.False(t, out.Heat)
	assert.True(t, out.Ended)
	assert.Equal(t, "stopped", r.s.Outcome())
	for range 100 {
		require.False(t, r.step(controller.Resume).Heat, "a stopped firing cannot be talked into heat")
	}
	assert.Equal(t, 1, r.said(notice.StoppedByHand))
}

// A kiln that was hot before may stand above the ceiling; the plan may not.
func TestSetpointStartsNoHigherThanTheCeiling(t *testing.T) {
	r := newRig(t, "never above 200 C\nhold 10 min\n", nil)
	r.hotC, r.probeC = 207, 207
	r.run(time.Minute)
	for _, k := range r.trace[5:] {
		require.LessOrEqual(t, k.setC, 200.0)
		require.False(t, k.heat)
	}
}

// The first frame of the chip is corrupt and says 900 °C: the ramp must not be
// skipped.
func TestCorruptFirstFrame(t *testing.T) {
	r := newRig(t, "heat to 150 C at 60 C/h\nhold 1 h\n", nil)
	r.read(sensor.Reading{HotC: 900, ColdC: 25})
	r.run(time.Minute)
	assert.Equal(t, 0, r.s.Plan.Step)
	assert.Less(t, r.s.Plan.SetC, 23.0)
	assert.Zero(t, r.s.TripCode)
}

// A chamber that never comes to its hold, with the law content: the clock runs
// after two hours, so that the night has an end.
func TestHoldAdrift(t *testing.T) {
	r := newRig(t, "heat to 200 C at 200 C/h\nhold 1 h\n", nil).runUntil(1)
	for i := 0; !r.s.Plan.Adrift; i++ {
		require.Less(t, i, 9000)
		// Something else heats the chamber, slowly enough for every guard.
		r.hotC = 208 + 0.5*float64(i%2)
		r.probeC = r.hotC
		r.step()
	}
	assert.InDelta(t, 2, r.lasted(1).Hours(), 0.1)
	assert.Equal(t, 1, r.said(notice.HoldAdrift))
	assert.Contains(t, r.text(notice.HoldAdrift), "not at 200 °C")
	r.step()
	assert.Equal(t, record.Holding, r.s.Phase)
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		text, want string
		change     func(*controller.Config)
	}{
		{"heat to 1150 C at 100 C/h\n", "heat to 1150 °C is above the kiln's maximum of 1100 °C", nil},
		{"hold until dry, at least 1 h, at most 2 h\n", "needs a mould", nil},
		{"hold 1 h\n", "period is 20s; it must be from 250 ms to 10 s", func(c *controller.Config) { c.Period = 20 * time.Second }},
		{"hold 1 h\n", "least on time is -1", func(c *controller.Config) { c.Relay.LeastOnS = -1 }},
		{"hold 1 h\n", "the kiln's maximum is 0 °C", func(c *controller.Config) { c.Guard.MaxC = 0 }},
		{"hold 1 h\n", "the profile has no steps", func(c *controller.Config) { c.Profile = &profile.Profile{} }},
	} {
		p, err := profile.Parse(c.text)
		require.NoError(t, err)
		cfg := controller.Config{Profile: p, Plant: newPlant(), Guard: rigLimits()}
		if c.change != nil {
			c.change(&cfg)
		}
		_, err = controller.New(cfg)
		assert.ErrorContains(t, err, c.want)
	}
}

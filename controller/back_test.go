package controller_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/controller"
	"calx/controller/notice"
	"calx/sensor"
	"calx/sim/kiln"
	"calx/storage/record"
)

const burnout = "heat to 150 C at 120 C/h\nhold 1 h\nair on\nheat to 370 C at 75 C/h\nheat to 700 C at 300 C/h\nhold 2 h\ncool to 540 C unpowered\nhold 1 h\n"

// until runs on until something is so.
func (f *fired) until(what string, is func() bool) {
	f.t.Helper()
	for end := f.now + 48*time.Hour; !is(); f.tick() {
		require.Less(f.t, f.now, end, "waited in vain for %s", what)
	}
}

func (f *fired) at(step int) func() bool {
	return func() bool { return f.s.Plan.Step == step && f.s.Plan.Entered }
}

// A kiln that lost its heat climbs through the inversions as slowly as the
// first time, whatever the step it was in may do.
func TestWayBackIsNoFasterThanTheProfileWas(t *testing.T) {
	if testing.Short() {
		t.Skip("long: a kiln and a mould")
	}
	f := fire(t, "bench-9l-brick", burnout, nil)
	f.until("the hold at 700", f.at(5))
	f.run(20 * time.Minute)
	held := f.s.Plan.HeldS
	f.cut(4 * time.Hour)
	require.Less(t, f.k.JunctionC(), 340.0, "the test is of a kiln that cooled")
	var climbs []record.Event
	slow, fast := 0.0, 0.0
	for last := math.NaN(); f.s.Plan.BackToC > 0 || len(climbs) == 0; {
		f.tick()
		climbs = append(climbs, only(f.out.Events, notice.WayBack)...)
		if setC := f.out.Record.SetpointC; setC > last {
			cPerH := (setC - last) * 3600
			if setC < 370 {
				slow = math.Max(slow, cPerH)
			} else {
				fast = math.Max(fast, cPerH)
			}
		}
		last = f.out.Record.SetpointC
	}
	assert.InDelta(t, 75, slow, 0.1, "°C/h below 370 °C")
	assert.InDelta(t, 300, fast, 0.1, "°C/h above it")
	require.Len(t, climbs, 1)
	assert.Regexp(t, `^the plan climbs from \d+ °C back to 700 °C at the pace of the profile$`, climbs[0].Text)
	f.until("the end of the hold", f.at(6))
	assert.InDelta(t, 2*time.Hour.Seconds(), held+(f.s.Now-climbs[0].Since).Seconds()-climbHours(climbs[0], f)*3600, 1800, "the hold lasts two hours in all")
}

// climbHours is how long the plan climbed.
func climbHours(e record.Event, f *fired) float64 {
	var fromC float64
	_, err := fmt.Sscanf(e.Text, "the plan climbs from %f", &fromC)
	require.NoError(f.t, err)
	return (370-fromC)/75 + (700-370)/300.0
}

func only(es []record.Event, code string) (out []record.Event) {
	for _, e := range es {
		if e.Code == code {
			out = append(out, e)
		}
	}
	return out
}

// A wet mould that stopped steaming is held at steam once more, from the
// beginning, and the air relay is what it was then.
func TestWetMouldIsSteamedAgain(t *testing.T) {
	f := fire(t, "bench-9l-brick", "heat to 150 C at 120 C/h\nhold 10 min\nair on\nheat to 370 C at 75 C/h\n", plug(t))
	f.until("the ramp after the steam hold", f.at(3))
	f.run(10 * time.Minute)
	require.False(t, f.s.Inside.Dry)
	require.True(t, f.s.Air)
	f.cut(4 * time.Hour)
	require.Less(t, f.k.JunctionC(), 100.0)
	f.run(time.Minute)
	assert.Equal(t, 1, f.s.Plan.Step)
	assert.Zero(t, f.s.Plan.HeldS)
	assert.InDelta(t, 150, f.s.Plan.BackToC, 1e-9)
	assert.False(t, f.s.Air, "as it was at the steam hold")
	back := f.now
	f.until("the ramp once more", f.at(3))
	assert.Greater(t, (f.now - back).Minutes(), 10+(150-100)/120.0*60, "the whole climb and the whole hold")
}

// A dry mould is not.
func TestDryMouldIsNotSteamedAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("long: a kiln and a mould")
	}
	f := fire(t, "bench-9l-brick", "heat to 150 C at 120 C/h\nhold until dry, at most 20 h\nheat to 200 C at 75 C/h\n", plug(t))
	f.until("the ramp after the steam hold", f.at(2))
	require.True(t, f.s.Inside.Dry)
	f.run(10 * time.Minute)
	f.cut(6 * time.Hour)
	require.Less(t, f.k.JunctionC(), 100.0)
	f.run(time.Minute)
	assert.Equal(t, 2, f.s.Plan.Step)
}

// A kiln that cooled past the target of a cooling step is brought back to it.
func TestCooledPastTheTarget(t *testing.T) {
	for _, cool := range []string{"cool to 250 C unpowered", "cool to 250 C at 100 C/h"} {
		f := fire(t, "bench-9l-brick", "heat to 300 C at 600 C/h\n"+cool+"\nhold 1 h\n", nil)
		f.until("the cooling", f.at(1))
		f.cut(2 * time.Hour)
		require.Less(t, f.k.JunctionC(), 200.0)
		f.run(time.Minute)
		assert.Equal(t, 1, f.s.Plan.Step)
		assert.InDelta(t, 250, f.s.Plan.BackToC, 1e-9, cool)
		f.until("the hold", func() bool { return f.s.Plan.Step == 2 && f.s.Plan.Arrived })
		assert.InDelta(t, 250, f.k.JunctionC(), 5)
	}
}

// asking is a firing that waits for a person after a cut of an hour.
func asking(t *testing.T) *fired {
	f := fire(t, "bench-9l-brick", burnout, nil)
	f.until("the ramp", f.at(4))
	f.cut(time.Hour)
	f.s.Asks = "why"
	return f
}

func TestAsksForAPerson(t *testing.T) {
	f := asking(t)
	seq := f.s.Seq
	for range 3600 {
		f.tick(controller.Pause, controller.StepOn)
		require.Equal(t, controller.Lines{}, f.out.Lines(), "nothing is on, the main contactor is open")
		require.True(t, math.IsNaN(f.out.Record.SetpointC))
		require.Equal(t, record.Paused, f.out.Record.Phase)
	}
	assert.Equal(t, seq+3600, f.s.Seq, "it is recorded")
	assert.Equal(t, 4, f.s.Plan.Step)
	lowC := f.k.JunctionC()
	f.tick(controller.Resume)
	assert.Empty(t, f.s.Asks)
	require.Len(t, only(f.out.Events, notice.ResumedByHand), 1)
	require.Len(t, only(f.out.Events, notice.WayBack), 1)
	assert.InDelta(t, lowC, f.s.Plan.SetC, 5)
	f.until("heat", func() bool { return f.out.Heat && f.out.Main })
	f.tick(controller.Stop)
	assert.Equal(t, "stopped", f.s.Outcome())
}

func TestAskingFiringIsStoppedByHand(t *testing.T) {
	f := asking(t)
	f.run(time.Minute)
	f.tick(controller.Stop)
	assert.Equal(t, "stopped", f.s.Outcome())
}

// While nothing is heated a lost probe ends no firing; a relay that is welded
// does.
func TestGuardsWhileAPersonIsWaitedFor(t *testing.T) {
	f := asking(t)
	f.run(time.Minute)
	for range 600 {
		in := f.input()
		in.Chamber = sensor.Reading{At: f.now, HotC: math.NaN(), Fault: sensor.Open}
		if f.now%7 == 0 {
			in.Commands = []controller.Command{controller.Resume}
		}
		f.s, f.out = f.c.Step(f.s, in)
		f.pass(false)
		require.Empty(t, f.s.Outcome())
		require.NotEmpty(t, f.s.Asks, "there is nothing to go on from")
	}
	for range 1800 {
		in := f.input()
		f.s, f.out = f.c.Step(f.s, in)
		f.pass(true)
	}
	assert.Equal(t, "tripped", f.s.Outcome())
	assert.Equal(t, notice.RisingWhileOff, f.s.TripCode)
}

func TestDoorIsShutBeforeItGoesOn(t *testing.T) {
	f := asking(t)
	f.run(time.Minute)
	in := f.input()
	in.Door, in.Commands = sensor.DoorOpen, []controller.Command{controller.Resume}
	f.s, f.out = f.c.Step(f.s, in)
	assert.NotEmpty(t, f.s.Asks)
	require.Len(t, only(f.out.Events, notice.CannotGoOn), 1)
	assert.Contains(t, f.out.Events[0].Text, "the door is open")
}

// Wherever a firing is cut, and for how long: after it the setpoint never
// starts above the kiln by more than the hold-back allows, and never rises
// faster than the profile did there.
func TestNoCutMakesTheSetpointLeap(t *testing.T) {
	const text = "heat to 60 C at 400 C/h\nhold 5 min\nheat to 120 C at 200 C/h\nhold 5 min\ncool to 90 C at 300 C/h\nheat to 140 C at 900 C/h\n"
	mostCPerH := func(c float64, step int) float64 { // the slowest leg through c °C
		switch {
		case c < 54:
			return 400
		case c > 60 && c < 114 && step >= 2:
			return 200
		}
		return 900
	}
	whole := fire(t, "jewellery-3l-fibre", text, nil)
	rapid.Check(t, func(rt *rapid.T) {
		f := &fired{t: t, c: whole.c, k: kiln.New(whole.p, 20)}
		f.run(time.Duration(rapid.IntRange(30, 2500).Draw(rt, "s before")) * time.Second)
		if f.out.Ended {
			return
		}
		f.cut(time.Duration(rapid.IntRange(10, 1000).Draw(rt, "s of gap")) * time.Second)
		last := math.NaN()
		for range 200 {
			f.tick()
			setC := f.out.Record.SetpointC
			if f.s.Plan.BackToC > 0 {
				require.LessOrEqual(rt, setC, f.k.JunctionC()+8)
				if setC > last {
					require.LessOrEqual(rt, (setC-last)*3600, mostCPerH(setC, f.s.Plan.Step)+0.1)
				}
			}
			last = setC
		}
	})
}

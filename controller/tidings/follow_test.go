package tidings

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/controller/notice"
	"calx/profile"
	"calx/storage/record"
)

const text = "heat to 700 C at 100 C/h\nhold 2 h\ncool to 540 C at 100 C/h\nhold until stopped, at most 4 h\n"

func factsAt(t require.TestingT, since time.Duration, step int, phase record.Phase) Facts {
	p, err := profile.Parse(text)
	require.NoError(t, err)
	return Facts{
		Wall: time.Date(2026, 1, 10, 20, 0, 0, 0, time.UTC).Add(since), Zone: berlin(t), Firing: 3, Name: "pods", Since: since,
		Step: step, Steps: 4, Sentence: p.Sentence(step), Phase: phase, ChamberC: 412, SetpointC: 420, Profile: p,
	}
}

func event(x Facts, seq uint64, code, text string) record.Event {
	n := notice.For(code)
	return record.Event{Seq: seq, Since: x.Since, Wall: x.Wall, Code: code, Severity: record.Severity(n.Severity), Step: uint16(x.Step), Text: text, Hint: n.Do}
}

func subjects(ms []record.Message) (out []string) {
	for _, m := range ms {
		out = append(out, m.Kind+" | "+m.Subject)
	}
	return out
}

func TestAFiringAsItIsTold(t *testing.T) {
	var f Follower
	var got []string
	say := func(ms []record.Message) { got = append(got, subjects(ms)...) }
	x := factsAt(t, 0, 0, record.Ramping)
	say(f.Events(x, []record.Event{event(x, 0, notice.Started, "the firing began"), event(x, 1, notice.Step, "step 1")}))
	x = factsAt(t, 8*time.Hour, 1, record.Holding)
	say(f.Events(x, []record.Event{event(x, 2, notice.Step, "step 2")}))
	x = factsAt(t, 10*time.Hour, 2, record.Ramping)
	last := f.Events(x, []record.Event{event(x, 3, notice.HoldMet, "step 2 is over after 2 h"), event(x, 4, notice.Step, "step 3")})
	say(last)
	assert.Equal(t, "step 2 is over after 2 h\nchamber 412 °C, setpoint 420 °C", last[0].Body)
	assert.Equal(t, uint64(5), last[0].Event)
	x = factsAt(t, 12*time.Hour, 3, record.Holding)
	say(f.Events(x, []record.Event{event(x, 5, notice.Step, "step 4")}))
	say(f.Look(x))
	say(f.Look(x))
	x = factsAt(t, 16*time.Hour, 3, record.Ramping)
	say(f.Events(x, []record.Event{event(x, 6, notice.HoldCutShort, "step 4 reached its longest time, 4 h")}))
	x.Phase = record.Done
	say(f.Events(x, []record.Event{event(x, 7, notice.Finished, "the profile is done; the heat is off at 540 °C")}))
	say(f.Events(x, []record.Event{event(x, 8, notice.LogBehind, "late")}))
	assert.Equal(t, []string{
		"stage | pods: begun, step 1 of 4: heat to 700 C at 100 C/h",
		"stage | pods: step 2 of 4: hold 2 h",
		"stage | pods: step 3 of 4: cool to 540 C at 100 C/h",
		"stage | pods: step 4 of 4: hold until stopped, at most 4 h",
		"pour | pods: pour window reached, 420 °C",
		"person | pods: needs you: a hold ended at its longest time, not on what it waited for",
		"finished | pods: finished, heat off",
	}, got)
}

// A trip is told with what happened, what calx did and what to do; all else of
// that turn and after it follows from it.
func TestATripIsToldAloneAndWhole(t *testing.T) {
	var f Follower
	x := factsAt(t, time.Hour, 0, record.Ramping)
	require.Empty(t, f.Events(x, []record.Event{event(x, 0, notice.NoReading, "no valid temperature for 2 s")}), "it may be a blip")
	x = factsAt(t, time.Hour+10*time.Second, 0, record.Tripped)
	ms := f.Events(x, []record.Event{event(x, 1, notice.HoldBack, "cannot follow"), event(x, 2, notice.NoReading, "no valid temperature for 10 s: open circuit (last 412 °C at 02:51)")})
	require.Len(t, ms, 1)
	m := ms[0]
	assert.Equal(t, "trip", m.Kind)
	assert.Equal(t, record.Alarm, m.Severity)
	assert.Equal(t, "pods: TRIP, heat off: no valid temperature", m.Subject)
	assert.Equal(t, strings.Join([]string{
		"no valid temperature for 10 s: open circuit (last 412 °C at 02:51)",
		"calx ended firing 3 in step 1, heat to 700 C at 100 C/h; the heat is off and stays off",
		"do: " + notice.For(notice.NoReading).Do,
	}, "\n"), m.Body)
	x.Since += time.Minute
	assert.Empty(t, f.Look(x))
	assert.Empty(t, f.Events(x, []record.Event{event(x, 3, notice.LogBehind, "x")}))
}

// A firing that waits without heat rings until somebody comes.
func TestWaitingForAPersonIsAnAlarm(t *testing.T) {
	var f Follower
	x := factsAt(t, time.Hour, 1, record.Waiting)
	ms := f.Events(x, []record.Event{event(x, 0, notice.WaitsForPerson, "calx was interrupted for 3 h")})
	require.Len(t, ms, 1)
	assert.True(t, Repeats(&ms[0]))
	assert.Equal(t, []string{"person | pods: waits for you, heat off"}, subjects(ms))
	assert.Contains(t, ms[0].Body, "calx resume to go on, or calx stop")
}

func TestBlipsAreNotTold(t *testing.T) {
	var f Follower
	x := factsAt(t, time.Hour, 0, record.Ramping)
	f.Events(x, []record.Event{event(x, 0, notice.NoReading, "no valid temperature for 2 s")})
	y := factsAt(t, time.Hour+5*time.Second, 0, record.Ramping)
	f.Events(y, []record.Event{event(y, 1, notice.ReadingBack, "a valid temperature again")})
	y.Since += time.Minute
	assert.Empty(t, f.Look(y))

	f = Follower{}
	f.Events(x, []record.Event{event(x, 0, notice.NoReading, "no valid temperature for 2 s")})
	x.Since += blip
	assert.Equal(t, []string{"trouble | pods: no valid temperature"}, subjects(f.Look(x)))
	assert.Empty(t, f.Look(x))
}

func TestACauseIsToldAndItsFollowersAreNot(t *testing.T) {
	var f Follower
	x := factsAt(t, time.Hour, 0, record.Waiting)
	assert.Len(t, f.Events(x, []record.Event{event(x, 0, notice.HoldBack, "a")}), 1)
	x.Since += 10 * time.Minute
	assert.Empty(t, f.Events(x, []record.Event{event(x, 1, notice.HoldAdrift, "b")}), "it follows")
	assert.Empty(t, f.Events(x, []record.Event{event(x, 2, notice.HoldBack, "c")}), "the same again")
	x.Since += 2 * time.Hour
	assert.Len(t, f.Events(x, []record.Event{event(x, 3, notice.HoldAdrift, "d")}), 1, "long after it stands by itself")
	assert.Len(t, f.Events(x, []record.Event{event(x, 4, notice.Told, "open the vent"), event(x, 5, notice.Told, "close it")}), 2, "each is another one")
	x.Firing = 4
	assert.Len(t, f.Events(x, []record.Event{event(x, 0, notice.HoldAdrift, "e")}), 1, "another firing")
}

func TestClearIsPredictedMovedAndReached(t *testing.T) {
	var f Follower
	look := func(since time.Duration, in Inside) []string {
		x := factsAt(t, since, 1, record.Holding)
		x.Inside = &in
		return subjects(f.Look(x))
	}
	in := Inside{CoreC: []float64{400}, Chance: 0.1, Want: 0.95, Foresaw: true, WantAtS: 9 * 3600, EndS: 12 * 3600}
	assert.Empty(t, look(time.Minute, in), "the chamber has yet to show what it does")
	assert.Equal(t, []string{"clear | pods: clear expected Sun 06:00"}, look(time.Hour, in))
	in.WantAtS += 1800
	assert.Empty(t, look(2*time.Hour, in), "it moved by half an hour")
	in.WantAtS = 12 * 3600
	assert.Equal(t, []string{"clear | pods: clear now expected Sun 09:00, was Sun 06:00"}, look(3*time.Hour, in))
	in.WantAtS = -1
	assert.Equal(t, []string{"clear | pods: not expected to be clear by the end of the profile"}, look(4*time.Hour, in))
	assert.Empty(t, look(5*time.Hour, in))
	in.WantAtS = 11 * 3600
	assert.Equal(t, []string{"clear | pods: clear expected Sun 08:00"}, look(6*time.Hour, in))
	in.Chance = 0.9534
	assert.Equal(t, []string{"clear | pods: clear, 95 % sure"}, look(7*time.Hour, in))
	assert.Empty(t, look(8*time.Hour, in))
}

// After a restart nothing of what was estimated is told as if it were new.
func TestRecall(t *testing.T) {
	x := factsAt(t, 2*time.Hour, 3, record.Holding)
	x.Inside = &Inside{CoreC: []float64{421}, Chance: 0.1, Want: 0.95, Foresaw: true, WantAtS: 9 * 3600, EndS: -1}
	var before, after Follower
	ms := before.Look(x)
	require.Equal(t, []string{"clear | pods: clear expected Sun 06:00", "pour | pods: pour window reached, 420 °C"}, subjects(ms))
	after.Recall(3, ms)
	assert.Empty(t, after.Look(x))
	x.Inside.Chance = 0.99
	ms = after.Look(x)
	require.Len(t, ms, 1)
	after = Follower{}
	after.Recall(3, ms)
	after.pour = true
	assert.Empty(t, after.Look(x))
}

func TestPourWindowWaitsForTheCore(t *testing.T) {
	var f Follower
	x := factsAt(t, 12*time.Hour, 3, record.Holding)
	x.SetpointC, x.ChamberC, x.Fahrenheit = 540, 541, true
	x.Inside = &Inside{CoreC: []float64{548, 580}, Chance: 0.5, Want: 0.95}
	assert.Empty(t, f.Look(x))
	x.Inside.CoreC[1] = 555
	ms := f.Look(x)
	require.Equal(t, []string{"pour | pods: pour window reached, 1004 °F"}, subjects(ms))
	assert.Contains(t, ms[0].Body, "cores by the model: 1018 °F, 1031 °F")
	assert.Contains(t, ms[0].Body, "CAUTION: only 50 % sure")
}

func TestPourStep(t *testing.T) {
	for s, want := range map[string]int{
		text:                        3,
		"heat to 700 C\nhold 2 h\n": -1, // poured hot, or not at all: only the person knows
		"heat to 700 C at 60 C/h\ncool to 540 C at 60 C/h\nhold 1 h\ntell \"pour\"\nhold 2 h\nwait until below 60 C\n": -1,
		"heat to 700 C at 60 C/h\ncool to 540 C at 60 C/h\nhold 1 h\ntell \"pour\"\nhold 2 h\n":                        4,
	} {
		p, err := profile.Parse(strings.ReplaceAll(s, "700 C\n", "700 C at 60 C/h\n"))
		require.NoError(t, err)
		assert.Equal(t, want, PourStep(p), s)
	}
}

// Every notice, in every phase, with any numbers: no panic, one trip at most,
// nothing after it, and every message fits.
func TestAnyFiringCanBeTold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var f Follower
		number := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), -1}))
		ended := false
		for i := range rapid.IntRange(1, 30).Draw(t, "turns") {
			x := factsAt(t, time.Duration(i)*time.Minute, rapid.IntRange(0, 3).Draw(t, "step"), record.Phase(rapid.IntRange(0, 9).Draw(t, "phase")))
			x.ChamberC, x.SetpointC = number.Draw(t, "chamber"), number.Draw(t, "setpoint")
			x.Inside = &Inside{CoreC: []float64{number.Draw(t, "core")}, Chance: number.Draw(t, "chance"), Want: number.Draw(t, "want"), Foresaw: true, WantAtS: number.Draw(t, "at"), EndS: number.Draw(t, "end")}
			var es []record.Event
			for range rapid.IntRange(0, 3).Draw(t, "events") {
				es = append(es, event(x, uint64(i), rapid.SampledFrom(notice.All()).Draw(t, "code").Code, "text"))
			}
			for _, m := range append(f.Events(x, es), f.Look(x)...) {
				require.False(t, ended, "%s after the end", m.Subject)
				fit := m
				Fit(&fit)
				require.Equal(t, fit, m)
				require.Contains(t, KindNames(), m.Kind)
				ended = m.Kind == string(Trip) || m.Kind == string(Finished)
			}
		}
	})
}

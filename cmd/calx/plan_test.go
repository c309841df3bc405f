package main

import (
	"bytes"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/profile"
	"calx/profile/plan"
	"calx/sim/kiln"
)

func TestClockTime(t *testing.T) {
	vienna, err := time.LoadLocation("Europe/Vienna")
	require.NoError(t, err)
	from := time.Date(2026, 11, 27, 18, 0, 0, 0, vienna) // a Friday
	for _, tt := range []struct{ in, want string }{
		{"19:30", "2026-11-27 19:30"},
		{"18:00", "2026-11-28 18:00"}, // not the present minute
		{"6:05", "2026-11-28 06:05"},
		{"Sat 14:00", "2026-11-28 14:00"},
		{"saturday 14:00", "2026-11-28 14:00"},
		{"Fri 19:00", "2026-11-27 19:00"},
		{"fri 9:00", "2026-12-04 09:00"},
		{"Fri 18:00", "2026-12-04 18:00"},
		{"today 20:00", "2026-11-27 20:00"},
		{"tomorrow 14:00", "2026-11-28 14:00"},
		{"2026-12-24 06:00", "2026-12-24 06:00"},
		{"2026-12-24T06:00", "2026-12-24 06:00"},
	} {
		got, err := clockTime("--pour", tt.in, from)
		require.NoError(t, err, tt.in)
		assert.Equal(t, tt.want, got.Format("2006-01-02 15:04"), tt.in)
		assert.Equal(t, vienna, got.Location())
	}
	for _, bad := range []string{"", "soon", "24:00", "14", "2 pm", "Sa 14:00", "Xat 14:00", "Sat 14:60", "next Sat 14:00", "2026-13-01 10:00"} {
		_, err := clockTime("--pour", bad, from)
		assert.ErrorContains(t, err, "it must be a time such as", bad)
	}
	// On the night the clocks go back the day still has the hour asked for
	// (Directive 2000/84/EC, article 3: last Sunday of October).
	got, err := clockTime("--pour", "Sun 14:00", time.Date(2026, 10, 24, 18, 0, 0, 0, vienna))
	require.NoError(t, err)
	assert.Equal(t, 21*time.Hour, got.Sub(time.Date(2026, 10, 24, 18, 0, 0, 0, vienna)))
}

func TestChance(t *testing.T) {
	for in, want := range map[string]float64{"95": 0.95, "99.5": 0.995, "90%": 0.9, "90 %": 0.9, "50": 0.5} {
		got, err := chance(in)
		require.NoError(t, err, in)
		assert.InDelta(t, want, got, 1e-12, in)
	}
	for _, in := range []string{"0.95", "100", "49", "NaN", "", "sure"} {
		_, err := chance(in)
		assert.ErrorContains(t, err, "a percentage from 50 to 99.9", in)
	}
}

func TestWrapKeepsNumbersWithTheirUnits(t *testing.T) {
	assert.Equal(t, "at most\n  1 h 10 min", wrapUnits("at most 1 h 10 min", 14, 2))
	assert.Equal(t, "100 C/h: the\n  8 °C are", wrapUnits("100 C/h: the 8 °C are", 14, 2))
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOf(rapid.SampledFrom([]string{"hold", "12", "h", "5", "min", "180", "C", "C/h:", "%", "the", "wall"})).Draw(t, "words")
		text := strings.Join(words, " ")
		out := wrapUnits(text, rapid.IntRange(20, 60).Draw(t, "width"), 2)
		assert.Equal(t, words, append([]string{}, strings.Fields(out)...), "nothing is lost")
	})
}

// leafPlan is a whole plan, quickly made: few draws on the small flask.
func leafPlan(t *testing.T, fahrenheit bool) *planned {
	t.Helper()
	if p, ok := leafPlans[fahrenheit]; ok {
		return p
	}
	text, err := kiln.ShippedFile("bench-9l-brick")
	require.NoError(t, err)
	in := plan.Input{AmbientC: 20, PourC: 540, Samples: 20, Clear: 0.9, Now: time.Date(2026, 11, 27, 18, 0, 0, 0, time.UTC)}
	in.Kiln, err = kiln.Load("bench-9l-brick", text)
	require.NoError(t, err)
	f, err := loadMould("thin-leaf-65")
	require.NoError(t, err)
	in.Moulds = append(in.Moulds, f.Params)
	in.Fahrenheit = fahrenheit
	p := &planned{in: in, title: mouldTitle(in.Moulds), end: "to pour"}
	p.Plan, err = plan.Make(in)
	require.NoError(t, err)
	p.alone = p.Plan
	leafPlans[fahrenheit] = p
	return p
}

// leafPlans are made once: each takes half a second.
var leafPlans = map[bool]*planned{}

func TestPlanViewFitsTheTerminal(t *testing.T) {
	p := leafPlan(t, false)
	t.Setenv("LC_ALL", "C.UTF-8")
	for _, width := range []int{60, 80, 120} {
		var b bytes.Buffer
		v := planView{env: &env{out: &b, width: width, height: 24}}
		v.plan(p)
		v.helps([]plan.Help{{Name: "bare flask, no sleeve", Saves: 149 * time.Minute, Total: 15 * time.Hour, Note: "air comes through the wall all round; it breaks more easily"}})
		for _, l := range strings.Split(b.String(), "\n") {
			assert.LessOrEqual(t, utf8.RuneCountInString(l), width, l)
			assert.Equal(t, strings.TrimRight(l, " "), l, "trailing blanks")
		}
		assert.Contains(t, b.String(), "2 h 29 min")
		assert.NotRegexp(t, `min[0-9a-z(]`, b.String(), "the columns of the table stand apart")
	}
}

func TestPlannedTextReadsBackAsThePlan(t *testing.T) {
	for _, f := range []bool{false, true} {
		p := leafPlan(t, f)
		got, err := profile.Parse(p.text())
		require.NoError(t, err)
		for i := range got.Steps {
			got.Steps[i].Line = 0
		}
		assert.Equal(t, p.Profile, got)
		for _, l := range strings.Split(p.text(), "\n") {
			assert.LessOrEqual(t, len(l), 80, l)
		}
		assert.GreaterOrEqual(t, strings.Count(p.text(), "\n# at "), len(p.Reasons), "a reason before every step")
	}
}

func TestPlannedFileIsWrittenWhole(t *testing.T) {
	name := filepath.Join(t.TempDir(), "leaf.txt")
	require.NoError(t, writePlanned(name, planHead+"\nheat to 100 C at 60 C/h\n"))
	require.NoError(t, writePlanned(name, planHead+"\nheat to 90 C at 60 C/h\n"))
	got, err := os.ReadFile(name)
	require.NoError(t, err)
	assert.Contains(t, string(got), "90 C")
	left, err := os.ReadDir(filepath.Dir(name))
	require.NoError(t, err)
	assert.Len(t, left, 1, "no part is left behind")
	assert.Error(t, writePlanned(filepath.Join(name, "below"), planHead+"\nheat to 100 C at 60 C/h\n"))
}

func TestPlanPictures(t *testing.T) {
	p := leafPlan(t, false)
	for _, size := range [][2]int{{1280, 860}, {720, 960}, {320, 320}} {
		var b bytes.Buffer
		require.NoError(t, planPNG(&b, p, size[0], size[1]))
		img, err := png.Decode(&b)
		require.NoError(t, err)
		assert.Equal(t, size, [2]int{img.Bounds().Dx(), img.Bounds().Dy()})
	}
	var one, two bytes.Buffer
	require.NoError(t, planSVG(&one, p, 1280, 860))
	require.NoError(t, planSVG(&two, p, 1280, 860))
	assert.Equal(t, one.String(), two.String(), "the same plan gives the same bytes")
	for i := range p.Profile.Steps {
		assert.Contains(t, one.String(), p.Profile.Sentence(i))
	}
	assert.NotContains(t, one.String(), "NaN")
}

func TestWashedOutIsOneFiringAfterAnother(t *testing.T) {
	if testing.Short() {
		t.Skip("long: plans three firings")
	}
	in := leafPlan(t, false).in
	ps, err := washedOut(in)
	require.NoError(t, err)
	p, q := ps[0], ps[1]
	require.NoError(t, p.Profile.Check())
	require.NoError(t, q.Profile.Check())
	assert.Len(t, p.Reasons, len(p.Profile.Steps))
	assert.Equal(t, p.Ready.Add(drainTime), q.Start)
	for i, step := range q.Profile.Steps {
		assert.NotContains(t, []profile.Until{profile.UntilDry, profile.UntilCore, profile.UntilClear}, step.Until,
			"the controller refuses %q without a mould", q.Profile.Sentence(i))
		if step.Until == profile.Elapsed && step.Kind == profile.Hold {
			assert.InDelta(t, step.For.Seconds(), (q.Reasons[i].To - q.Reasons[i].From).Seconds(), 1e-6)
		}
	}
	assert.InDelta(t, q.Total.Minutes(), q.Reasons[len(q.Reasons)-1].From.Minutes(), 2, "ready when the last hold begins")
	last := time.Duration(-1)
	for _, s := range p.Curve {
		assert.GreaterOrEqual(t, s.Since, last)
		last = s.Since
	}
	assert.InDelta(t, 45, p.Curve[len(p.Curve)-1].ChamberC, 1, "the end of the cool-down")
	assert.Less(t, len(p.alone.Reasons), len(p.Reasons), "the plan that is compared stays as it was made")

	in.PourAt = in.Now.Add(time.Hour)
	var r *plan.Refusal
	require.ErrorAs(t, tooSoon(in, p, q), &r)
	assert.Equal(t, in.Now.Add(p.Total+drainTime+q.Total), r.Earliest)
}

func TestFinite(t *testing.T) {
	assert.Zero(t, finite(math.Inf(1)))
	assert.Zero(t, finite(math.NaN()))
	assert.InDelta(t, 3.0, finite(3), 0)
}

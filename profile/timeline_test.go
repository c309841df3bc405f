package profile

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func unrolled(t *testing.T, text string, o Outlook) *Timeline {
	t.Helper()
	p, err := Parse(text)
	require.NoError(t, err)
	return Unroll(p, o)
}

func texts(ps []Problem) []string {
	var out []string
	for _, p := range ps {
		out = append(out, p.String())
	}
	return out
}

// By hand: 130/60 h + 2 h + 220/75 h + 350/120 h + 180/100 h + 1/2 h = 12.3167 h.
func TestUnrollStraight(t *testing.T) {
	tl := unrolled(t, `heat to 150 C at 60 C/h
hold 2 h
air on
heat to 370 C at 75 C/h
heat to 720 C at 120 C/h
cool to 540 C at 100 C/h
hold 30 min`, Outlook{StartC: 20})
	assert.Equal(t, 12*time.Hour+19*time.Minute, tl.Total)
	assert.Equal(t, tl.Total, tl.Expected)
	assert.Empty(t, tl.Problems)
	assert.Empty(t, tl.Notes)
	require.Len(t, tl.Segments, 7)
	for _, r := range []struct {
		at   time.Duration
		c    float64
		step int
		ok   bool
	}{
		{-time.Second, 20, 0, false},
		{0, 20, 0, true},
		{time.Hour, 80, 0, true},
		{130 * time.Minute, 150, 1, true},
		{3 * time.Hour, 150, 1, true},
		{250*time.Minute + time.Hour, 225, 3, true},
		{12 * time.Hour, 540, 6, true},
		{tl.Total, 540, 6, true},
		{tl.Total + 1, 540, 6, false},
	} {
		c, step, ok := tl.At(r.at)
		assert.InDelta(t, r.c, c, 1e-9, "%s", r.at)
		assert.Equal(t, r.step, step, "%s", r.at)
		assert.Equal(t, r.ok, ok, "%s", r.at)
	}
}

func TestAtOfNothing(t *testing.T) {
	c, _, ok := (&Timeline{}).At(0)
	assert.True(t, math.IsNaN(c))
	assert.False(t, ok)
}

// Newton's law of cooling, analytic: with rate k(T−Ta) the fall from T0 to T1
// takes ln((T0−Ta)/(T1−Ta))/k. Here k = 0.2/h, Ta = 20 °C: 720 to 120 °C takes
// 5 ln 7 = 9.72955 h, and 100 min after the start it is at 20 + 700 e^(−1/3).
func TestUnpoweredCurve(t *testing.T) {
	newton := func(tC float64) float64 { return 0.2 * (tC - 20) }
	for _, text := range []string{"cool to 120 C unpowered", "cool to 120 C as fast as possible", "wait until below 120 C"} {
		tl := unrolled(t, text, Outlook{StartC: 720, CoolRateCPerH: newton})
		assert.InDelta(t, 5*math.Log(7), tl.Total.Hours(), 1e-5, text)
		assert.Equal(t, tl.Total, tl.Expected)
		assert.False(t, tl.Segments[0].Powered)
		c, _, ok := tl.At(100 * time.Minute)
		assert.True(t, ok)
		// straight pieces 5 °C apart lie within 5²/(8·(T−Ta)) of the exponential
		assert.InDelta(t, 20+700*math.Exp(-1.0/3), c, 0.01, text)
	}
}

// Full power 600 − T/2 °C/h: 0 to 600 °C takes 2 ln 2 = 1.38629 h.
func TestFullPowerCurve(t *testing.T) {
	tl := unrolled(t, "tell \"go\"\nhold 1 h\nheat to 600 C as fast as possible",
		Outlook{FullRateCPerH: func(tC float64) float64 { return 600 - tC/2 }})
	assert.InDelta(t, 1+2*math.Ln2, tl.Total.Hours(), 1e-5)
	c, step, _ := tl.At(2 * time.Hour)
	assert.InDelta(t, 1200*(1-math.Exp(-0.5)), c, 0.01)
	assert.Equal(t, 2, step)
	assert.True(t, tl.Segments[2].Powered)
	assert.Equal(t, Point{time.Hour, 0}, tl.Segments[2].Points[0])
}

func TestLimitsOfTheKiln(t *testing.T) {
	// 120 °C/h up to 610 °C, 60 °C/h beyond: 350 °C take 240/120 + 110/60 h,
	// 55 min more than written.
	weak := func(tC float64) float64 {
		if tC > 610 {
			return 60
		}
		return 130
	}
	linear := func(a, b float64) func(float64) float64 { return func(tC float64) float64 { return a + b*tC } }
	rows := []struct {
		name, text string
		o          Outlook
		late       time.Duration
		want       []string
	}{
		{"weak at the top", "# x\n\nheat to 720 C at 120 C/h", Outlook{StartC: 370, FullRateCPerH: weak}, 55 * time.Minute,
			[]string{"line 3: 120 C/h is more than this kiln can do above 610 C; the plan will wait and take about 55 min longer"}},
		{"weak at the top, in F", "heat to 1328 F in 2 h 55 min", Outlook{StartC: 370, FullRateCPerH: weak}, 55 * time.Minute,
			[]string{"line 1: 216 F/h is more than this kiln can do above 1130 F; the plan will wait and take about 55 min longer"}},
		{"weak all the way", "heat to 220 C at 200 C/h", Outlook{StartC: 20, FullRateCPerH: linear(100, 0)}, time.Hour,
			[]string{"line 1: 200 C/h is more than this kiln can do all the way from 20 C to 220 C; the plan will wait and take about 1 h longer"}},
		// between 100 and 200 °C at 50 instead of 100 °C/h: 1 h more
		{"weak in between", "heat to 300 C at 100 C/h", Outlook{FullRateCPerH: func(tC float64) float64 {
			if tC > 100 && tC < 200 {
				return 50
			}
			return 500
		}}, time.Hour,
			[]string{"line 1: 100 C/h is more than this kiln can do between 100 C and 200 C; the plan will wait and take about 1 h longer"}},
		// rate T/4 falls below 100 °C/h at 400 °C; from there to 200 °C it
		// takes 4 ln 2 = 2.7726 h in place of 2 h: 46 min more
		{"cools slowly", "cool to 200 C at 100 C/h", Outlook{StartC: 700, CoolRateCPerH: linear(0, 0.25)}, 46 * time.Minute,
			[]string{"line 1: 100 C/h is faster than this kiln loses heat below 400 C; the plan will wait and take about 46 min longer"}},
		{"above the maximum", "heat to 800 C at 60 C/h", Outlook{MaxC: 750}, 0,
			[]string{"line 1: 800 C is above this kiln's maximum of 750 C; lower the step, the kiln will be stopped there"}},
		{"a hair too fast", "heat to 100 C at 100 C/h", Outlook{FullRateCPerH: linear(99.9, 0)}, 0, nil},
		{"well within", "heat to 100 C at 100 C/h\ncool to 0 C at 50 C/h", Outlook{FullRateCPerH: linear(200, 0), CoolRateCPerH: linear(60, 0)}, 0, nil},
		{"a rate at the least", "heat to 10 C at 1 C/h", Outlook{FullRateCPerH: linear(200, 0)}, 0, nil},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			tl := unrolled(t, r.text, r.o)
			assert.Equal(t, r.want, texts(tl.Problems))
			assert.InDelta(t, r.late.Minutes(), (tl.Expected - tl.Total).Minutes(), 0.5)
			assert.False(t, tl.Stuck)
		})
	}
}

func TestStuck(t *testing.T) {
	fading := func(tC float64) float64 { return 640 - tC }
	cooling := func(tC float64) float64 { return tC - 20 }
	unknown := func(float64) float64 { return math.NaN() }
	rows := []struct {
		name, text, want string
		o                Outlook
	}{
		{"ramp", "hold 1 h\nheat to 720 C at 120 C/h\nhold 3 h", "line 2: this kiln gets no hotter than about 639 C and never reaches 720 C; lower the step, the firing would wait there for good",
			Outlook{FullRateCPerH: fading}},
		{"full power", "hold 1 h\nheat to 720 C as fast as possible", "line 2: this kiln gets no hotter than about 639 C and never reaches 720 C; lower the step, the firing would wait there for good",
			Outlook{FullRateCPerH: fading}},
		{"wait", "hold 1 h\nwait until below 15 C", "line 2: this kiln cools no further than about 21 C by itself and never reaches 15 C; raise the step, the firing would wait there for good",
			Outlook{StartC: 300, CoolRateCPerH: cooling}},
		{"no number", "hold 1 h\nheat to 50 C at 60 C/h", "line 2: this kiln gets no hotter than about 0 C and never reaches 50 C; lower the step, the firing would wait there for good",
			Outlook{FullRateCPerH: unknown}},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			tl := unrolled(t, r.text, r.o)
			assert.Equal(t, []string{r.want}, texts(tl.Problems))
			assert.True(t, tl.Stuck)
			assert.Equal(t, time.Hour, tl.Expected, "up to the step that never ends")
		})
	}
}

func TestHolds(t *testing.T) {
	text := `hold until dry, at most 8 h
hold until clear 95%, at least 3 h, at most 10 h
hold until stopped, at most 4 h`
	tl := unrolled(t, text, Outlook{StartC: 150})
	assert.Equal(t, 9*time.Hour, tl.Total)
	assert.Equal(t, []string{
		"line 1: when this hold ends is not known yet; counted as half of its most, 4 h",
		"line 2: when this hold ends is not known yet; counted as its least, 3 h",
		"line 3: when this hold ends is not known yet; counted as half of its most, 2 h",
	}, texts(tl.Notes))
	for _, s := range tl.Segments {
		assert.True(t, s.Open)
	}
	guess := func(d time.Duration) Outlook { return Outlook{Hold: func(Step) time.Duration { return d }} }
	assert.Equal(t, 5*time.Hour+5*time.Hour+4*time.Hour, unrolled(t, text, guess(5*time.Hour)).Total, "kept within at most")
	assert.Equal(t, time.Hour+3*time.Hour+time.Hour, unrolled(t, text, guess(time.Hour)).Total, "and at least")
}

func TestHoldUntilClock(t *testing.T) {
	evening := time.Date(2024, 3, 1, 20, 0, 0, 0, time.UTC)
	text := "heat to 100 C at 100 C/h\nhold until 06:30\nhold 1 h"
	tl := unrolled(t, text, Outlook{Start: evening})
	assert.Equal(t, 11*time.Hour+30*time.Minute, tl.Total)
	assert.Empty(t, tl.Problems)

	half := func(float64) float64 { return 50 }
	tl = unrolled(t, text, Outlook{Start: evening, FullRateCPerH: half})
	assert.Equal(t, tl.Total, tl.Expected, "the hold takes up the delay")

	tl = unrolled(t, text, Outlook{Start: evening.Add(10 * time.Hour)})
	assert.Equal(t, []string{"line 2: the firing gets here at about 07:00, so it holds 23 h 30 min until 06:30; start at another time, or change the time here"}, texts(tl.Problems))

	tl = unrolled(t, text, Outlook{})
	assert.Equal(t, 2*time.Hour, tl.Total)
	assert.Equal(t, []string{"line 2: how long this holds depends on when the firing starts; counted as nothing"}, texts(tl.Notes))
}

func TestNextClock(t *testing.T) {
	at := time.Date(2024, 2, 29, 14, 0, 0, 0, time.FixedZone("", 3600))
	assert.Equal(t, at, NextClock(at, 14, 0), "now counts")
	assert.Equal(t, at.Add(24*time.Hour), NextClock(at.Add(1), 14, 0))
	assert.Equal(t, at.Add(10*time.Hour), NextClock(at, 0, 0), "into the next month")
}

func TestAssumptions(t *testing.T) {
	tl := unrolled(t, `heat to 150 C at 60 C/h
heat to 720 F as fast as possible
cool to 300 C unpowered
wait until below 500 C`, Outlook{StartC: 200})
	assert.Equal(t, []string{
		"line 1: the chamber starts at 200 C, already past 150 C; this step passes at once",
		"line 2: how long full power takes depends on the kiln; counted as nothing",
		"line 3: how fast this kiln cools is not known; counted as 100 C/h",
	}, texts(tl.Notes))
	// 720 F is 382.2 °C, 82.2 °C at 100 °C/h
	assert.InDelta(t, 0.8222, tl.Total.Hours(), 1e-4)
	assert.Equal(t, 300.0, tl.Segments[3].ToC, "already below: nothing to wait for")
	assert.Equal(t, "step 3: x", Problem{Step: 2, Text: "x"}.String())
}

func TestTimelineHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProfile(t)
		start := written(t, 0, 100, "start")
		top := max(start, 1100)
		tl := Unroll(p, Outlook{StartC: start,
			FullRateCPerH: func(tC float64) float64 { return 400 - tC/4 },
			CoolRateCPerH: func(tC float64) float64 { return 20 + 0.2*tC }})
		require.Len(t, tl.Segments, len(p.Steps))
		now, c := time.Duration(0), start
		for i, s := range tl.Segments {
			require.Equal(t, i, s.Step)
			require.Equal(t, now, s.From, "no gaps")
			require.Equal(t, c, s.FromC, "no jumps between steps")
			require.LessOrEqual(t, s.From, s.To)
			require.LessOrEqual(t, s.ExpectedFrom, s.ExpectedTo)
			now, c = s.To, s.ToC
		}
		require.Equal(t, now, tl.Total)
		at := time.Duration(rapid.Int64Range(0, int64(tl.Total)).Draw(t, "at"))
		planC, step, ok := tl.At(at)
		require.True(t, ok)
		s := tl.Segments[step]
		require.True(t, s.From <= at && at <= s.To)
		require.GreaterOrEqual(t, planC, min(s.FromC, s.ToC)-1e-9)
		require.LessOrEqual(t, planC, min(top, max(s.FromC, s.ToC))+1e-9)
	})
}

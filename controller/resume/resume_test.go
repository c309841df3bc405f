package resume

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var nan = math.NaN()

func known(d time.Duration) Gap { return Gap{Least: d, Likely: d, Most: d} }

func TestJudge(t *testing.T) {
	// A hold at 700 °C, dry, cut for ten minutes; each row changes something.
	hold := Case{Gap: known(10 * time.Minute), BeforeC: 700, NowC: 680, NeedC: 700, Moulds: true}
	for _, c := range []struct {
		name string
		mend func(*Case)
		do   Action
		says string
	}{
		{"short", func(*Case) {}, Proceed, "interrupted for 10 min; the chamber went from 700 °C to 680 °C"},
		{"just short", func(c *Case) { c.NowC = 670.1 }, Proceed, ""},
		{"just not", func(c *Case) { c.NowC = 670 }, Wait, "30 °C were lost, and from 30 °C on a person is asked"},
		{"warmer than before", func(c *Case) { c.NowC = 705 }, Proceed, ""},
		{"in °F", func(c *Case) { c.NowC, c.InF = 670, true }, Wait, "54 °F were lost"},
		{"long, person said go on", func(c *Case) { c.NowC, c.Policy = 400, GoOn }, Proceed, "the way back leads through an inversion"},
		{"through the inversion, person said go on", func(c *Case) { c.NowC, c.Policy = 150, GoOn }, Wait, "may have cracked"},
		{"short, person wants to be asked", func(c *Case) { c.Policy = Ask }, Wait, "a person was to be asked"},
		{"short, person wants it to end", func(c *Case) { c.Policy = End }, Over, "was to end at a power cut"},
		{"tripped", func(c *Case) { c.Tripped = true }, Over, "a guard had ended the firing"},
		{"tripped, person said go on", func(c *Case) { c.Tripped, c.Policy = true, GoOn }, Over, ""},
		{"tripped, had waited", func(c *Case) { c.Tripped, c.Waited = true, "the door was open" }, Over, ""},
		{"had waited", func(c *Case) { c.Waited = "the door was open" }, Wait, "the door was open"},
		{"no reading", func(c *Case) { c.NowC, c.Policy = nan, GoOn }, Wait, "no valid temperature"},
		{"door open", func(c *Case) { c.DoorOpen, c.Policy = true, GoOn }, Wait, "the door is open"},
		{"nobody knows how long", func(c *Case) { c.Gap, c.Policy = Gap{Most: -1, By: "the clock shows 1970"}, GoOn }, Wait, "nobody knows how long (the clock shows 1970)"},
		{"longer than allowed", func(c *Case) { c.MostGap = 9 * time.Minute }, Wait, "resume_within in calx.yaml is 9 min"},
		{"perhaps longer than allowed", func(c *Case) { c.MostGap = time.Hour; c.Gap = Gap{time.Minute, 10 * time.Minute, 2 * time.Hour, "x"} }, Wait, "about 10 min, between 60 s and 2 h 00 min (x)"},
		{"as long as allowed", func(c *Case) { c.MostGap = 10 * time.Minute }, Proceed, ""},
		{"record damaged", func(c *Case) { c.Damage = "readings 5 to 9" }, Proceed, "cannot be read (readings 5 to 9)"},
		{"steam hold, still steaming", func(c *Case) { c.BeforeC, c.NowC, c.NeedC, c.Wet, c.Steam = 150, 125, 150, true, true }, Proceed, "the moulds are wet"},
		{"steam hold, no longer steaming", func(c *Case) { c.BeforeC, c.NowC, c.NeedC, c.Wet, c.Steam = 110, 95, 110, true, true }, Proceed, "steam hold begins anew"},
		{"steam hold, cold", func(c *Case) { c.BeforeC, c.NowC, c.NeedC, c.Wet, c.Steam = 150, 60, 150, true, true }, Wait, "steam hold begins anew"},
		{"steam hold, cold, person said go on", func(c *Case) {
			*c = Case{Policy: GoOn, Gap: c.Gap, BeforeC: 150, NowC: 60, NeedC: 150, Wet: true, Steam: true}
		}, Proceed, "steam hold begins anew"},
		{"wet, and nowhere to steam", func(c *Case) { *c = Case{Policy: GoOn, Gap: c.Gap, BeforeC: 150, NowC: 60, NeedC: 150, Wet: true} }, Proceed, "have stopped steaming"},
		{"at the inversion", func(c *Case) { c.BeforeC, c.NowC, c.NeedC = 265, 240, 265 }, Proceed, "an inversion"},
		{"cooling as planned", func(c *Case) { c.NeedC, c.NowC = nan, 300 }, Proceed, "from 700 °C to 300 °C"},
		{"cooling, not yet at its target", func(c *Case) { c.NeedC, c.NowC = 540, 560 }, Proceed, ""},
		{"cooling, a little past its target", func(c *Case) { c.NeedC, c.NowC = 540, 515 }, Proceed, ""},
		{"cooling, far past its target", func(c *Case) { c.NeedC, c.NowC = 540, 500 }, Wait, "40 °C were lost"},
		{"cooling below the inversion as planned", func(c *Case) { c.Policy, c.NeedC, c.NowC = GoOn, 100, 150 }, Proceed, ""},
		{"cut twice, a little each time", func(c *Case) { c.BeforeC, c.NowC = 685, 665 }, Wait, "35 °C were lost"},
		{"just begun, nothing read", func(c *Case) { c.BeforeC, c.NowC, c.NeedC = nan, 20, nan }, Proceed, ""},
	} {
		k := hold
		c.mend(&k)
		v := Judge(k)
		assert.Equal(t, c.do, v.Do, "%s: %s", c.name, v.Why)
		assert.Contains(t, v.Why, c.says, c.name)
		assert.NotRegexp(t, `[.%]$|%!`, v.Why, c.name)
	}
}

func anyCase(t *rapid.T) Case {
	temp := rapid.OneOf(rapid.Float64Range(-20, 1300), rapid.Just(nan))
	c := Case{
		Policy: Policy(rapid.IntRange(0, 3).Draw(t, "policy")), Tripped: rapid.Bool().Draw(t, "tripped"),
		MostGap: time.Duration(rapid.SampledFrom([]int{0, 1, 60, 600}).Draw(t, "most")) * time.Minute,
		BeforeC: temp.Draw(t, "before"), NowC: temp.Draw(t, "now"), NeedC: temp.Draw(t, "need"),
		DoorOpen: rapid.Bool().Draw(t, "door"), Wet: rapid.Bool().Draw(t, "wet"), Steam: rapid.Bool().Draw(t, "steam"),
		Damage: rapid.SampledFrom([]string{"", "x"}).Draw(t, "damage"), Waited: rapid.SampledFrom([]string{"", "", "y"}).Draw(t, "waited"),
	}
	least := rapid.Int64Range(0, 1e6).Draw(t, "least")
	c.Gap = Gap{Least: time.Duration(least) * time.Second, Likely: time.Duration(2*least) * time.Second, Most: time.Duration(4*least) * time.Second}
	if rapid.Bool().Draw(t, "unknown") {
		c.Gap.Most = -1
	}
	return c
}

// What must never be, and what must not depend on luck.
func TestJudgeProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyCase(t)
		v := Judge(c)
		require.NotEmpty(t, v.Why)
		require.Equal(t, v, Judge(c), "the same case, the same verdict")
		if c.Tripped || c.Policy == End {
			require.Equal(t, Over, v.Do)
			return
		}
		require.NotEqual(t, Over, v.Do, "a firing is given up for a trip or by order only")
		if v.Do == Proceed {
			require.False(t, math.IsNaN(c.NowC) || c.DoorOpen || c.Policy == Ask || c.Waited != "")
			require.True(t, c.Gap.Most >= 0 || math.IsNaN(c.NeedC))
			require.True(t, c.Policy == GoOn || c.CostC() < ShortC)
			// Less lost, or a shorter time, or a person who allowed more: it goes on all the more.
			d := c
			d.NowC += rapid.Float64Range(0, 200).Draw(t, "warmer")
			d.Gap.Most = time.Duration(float64(d.Gap.Most) * rapid.Float64Range(0, 1).Draw(t, "shorter"))
			if c.Gap.Most < 0 {
				d.Gap.Most = -1
			}
			require.Equal(t, Proceed, Judge(d).Do)
			d.Policy = GoOn
			if !(c.BeforeC >= inversionHighC) {
				require.Equal(t, Proceed, Judge(d).Do)
			}
		}
		// A trip, an open door or a lost probe is never better than none.
		for _, worse := range []func(*Case){func(d *Case) { d.Tripped = true }, func(d *Case) { d.DoorOpen = true }, func(d *Case) { d.NowC = nan }} {
			d := c
			worse(&d)
			require.LessOrEqual(t, Judge(d).Do, v.Do)
		}
	})
}

func TestMeasure(t *testing.T) {
	last := time.Date(2026, 3, 29, 0, 30, 0, 0, time.UTC)
	paris, err := time.LoadLocation("Europe/Paris")
	require.NoError(t, err)
	// The chamber fell as in 20 minutes; a little further would be 25.
	fell := Cooling{Known: true, Least: 15 * time.Minute, Likely: 20 * time.Minute, Most: 25 * time.Minute}
	still := Cooling{Known: true, Likely: 0, Most: time.Minute}
	cold := Cooling{Known: true, Least: 405 * time.Minute, Likely: 9 * time.Hour, Most: -1}
	y1970 := time.Unix(60, 0)
	for _, c := range []struct {
		name                string
		c                   Clocks
		least, likely, most time.Duration
		by                  string
	}{
		{"the board stayed up", Clocks{4 * time.Minute, last, last.Add(3 * time.Hour), fell}, 4 * time.Minute, 4 * time.Minute, 4 * time.Minute, ""},
		{"plain", Clocks{0, last, last.Add(18 * time.Minute), fell}, 18 * time.Minute, 18 * time.Minute, 18 * time.Minute, ""},
		{"plain, nothing known of the kiln", Clocks{0, last, last.Add(18 * time.Minute), Cooling{}}, 18 * time.Minute, 18 * time.Minute, 18 * time.Minute, ""},
		{"daylight saving begins within", Clocks{0, last.In(paris), last.Add(40 * time.Minute).In(paris), fell}, 40 * time.Minute, 40 * time.Minute, 40 * time.Minute, ""},
		{"board woke in 1970", Clocks{0, last, y1970, fell}, 5 * time.Minute, 20 * time.Minute, time.Hour, "taken from how far the chamber fell"},
		{"board woke where it was switched off", Clocks{0, last, last.Add(20 * time.Second), fell}, 5 * time.Minute, 20 * time.Minute, time.Hour, "taken from"},
		{"board woke a little before the last reading", Clocks{0, last, last.Add(-20 * time.Second), still}, 0, 0, 12 * time.Minute, "taken from"},
		{"the firing ran in 1970, now it is right", Clocks{0, y1970, last, fell}, 5 * time.Minute, 20 * time.Minute, time.Hour, "taken from"},
		{"all of it in 1970", Clocks{0, y1970, y1970.Add(15 * time.Minute), fell}, 15 * time.Minute, 15 * time.Minute, 15 * time.Minute, ""},
		{"corrected by hours meanwhile", Clocks{0, last, last.Add(5 * time.Hour), fell}, 5 * time.Minute, 20 * time.Minute, time.Hour, "taken from"},
		{"a step back of an hour", Clocks{0, last, last.Add(-40 * time.Minute), fell}, 5 * time.Minute, 20 * time.Minute, time.Hour, "taken from"},
		{"cold kiln, clock right", Clocks{0, last, last.Add(12 * time.Hour), cold}, 12 * time.Hour, 12 * time.Hour, 12 * time.Hour, ""},
		{"cold kiln, clock wrong", Clocks{0, last, y1970, cold}, 135 * time.Minute, 9 * time.Hour, -1, "as cold as the room"},
		{"cold kiln, clock 56 years on", Clocks{0, y1970, last, cold}, 135 * time.Minute, 9 * time.Hour, -1, "as cold as the room"},
		{"nothing known, clock wrong", Clocks{0, last, y1970, Cooling{}}, 0, 0, -1, "the clock shows 1970"},
	} {
		g := Measure(c.c)
		assert.Equal(t, []time.Duration{c.least, c.likely, c.most}, []time.Duration{g.Least, g.Likely, g.Most}, c.name)
		if c.by == "" {
			assert.Empty(t, g.By, c.name)
		}
		assert.Contains(t, g.By, c.by, c.name)
		assert.NotEmpty(t, g.String())
	}
}

// Whatever the clocks show, the bounds stand in their order, and a board that
// stayed up is believed.
func TestMeasureProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		wall := func(name string) time.Time { return time.Unix(rapid.Int64Range(-1e9, 5e9).Draw(t, name), 0) }
		c := Clocks{Up: time.Duration(rapid.Int64Range(0, 1e15).Draw(t, "up")), LastWall: wall("last"), Wall: wall("now")}
		if rapid.Bool().Draw(t, "known") {
			c.Cooling = Cooling{true, 0, time.Duration(rapid.Int64Range(0, 1e15).Draw(t, "likely")), time.Duration(rapid.Int64Range(-1, 1e15).Draw(t, "further"))}
			c.Cooling.Least = c.Cooling.Likely / time.Duration(rapid.IntRange(1, 5).Draw(t, "part"))
			if c.Cooling.Most >= 0 {
				c.Cooling.Most += c.Cooling.Likely
			}
		}
		g := Measure(c)
		require.GreaterOrEqual(t, g.Least, time.Duration(0))
		require.GreaterOrEqual(t, g.Likely, g.Least)
		if g.Most >= 0 {
			require.GreaterOrEqual(t, g.Most, g.Likely)
		}
		if c.Up > 0 {
			require.Equal(t, c.Up, g.Likely)
		}
		// How the clocks are set does not matter where neither is believed.
		if g.By != "" {
			c.Wall = c.LastWall.Add(-time.Second)
			h := Measure(c)
			require.Equal(t, [3]time.Duration{g.Least, g.Likely, g.Most}, [3]time.Duration{h.Least, h.Likely, h.Most})
		}
	})
}

func TestPolicies(t *testing.T) {
	for i, n := range Names() {
		p, err := ParsePolicy(n)
		require.NoError(t, err)
		assert.Equal(t, Policy(i), p)
		assert.Equal(t, n, p.String())
	}
	p, err := ParsePolicy("")
	require.NoError(t, err)
	assert.Equal(t, IfShort, p)
	_, err = ParsePolicy("never")
	assert.EqualError(t, err, `read "never"; it must be one of go-on-if-short, go-on, ask, end`)
}

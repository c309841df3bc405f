package plan

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/kiln"
	"calx/sim/quantity"
)

func TestRefusals(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		do   func(*Input)
		want string
	}{
		{"no mould", func(in *Input) { in.Moulds = nil }, "moulds: there is none; a plan needs at least one mould file"},
		{"a bad mould", func(in *Input) { in.Moulds[0].Flask.Sleeve = "tin" }, `mould woody-pod-90: flask.sleeve: "tin" is not known; use steel, none, perforated`},
		{"flask wider than the kiln", func(in *Input) { in.Moulds[0].Flask.Diameter = 0.25 }, "mould woody-pod-90: flask.diameter 250 mm: with its sleeve it is 254 mm across; kiln bench-16l-fibre-120v takes 240 mm, with 10 mm of air on each side"},
		{"flask higher than the kiln", func(in *Input) { in.Moulds[0].Flask.Height = 0.21 }, "mould woody-pod-90: flask.height 210 mm: kiln bench-16l-fibre-120v takes 200 mm, with 20 mm of air above"},
		{"too many flasks", func(in *Input) { in.Moulds[0].Count = 6 }, "moulds: they need about 150 % of the room in kiln bench-16l-fibre-120v (an estimate: it takes 4 like woody-pod-90); fire some another time"},
		{"ceiling too low for char", func(in *Input) { in.Limits.CeilingC = 300 }, "ceiling 300 C: mould woody-pod-90, with 10 C kept for overshoot: ceiling 290 C: seed pod would take over 12 h to burn there even in fresh air; it needs at least 334 C"},
		{"ceiling past gypsum", func(in *Input) { in.Limits.CeilingC = 950 }, "ceiling 950 C: mould woody-pod-90, with 10 C kept for overshoot: ceiling 940 C: gypsum-bonded investment breaks down near 900 C; at most 900 C, and 730 C while char is left"},
		{"pour hotter than the ceiling", func(in *Input) { in.PourC = 800 }, "pour temperature 800 C: is above the ceiling of 730 C less 10 C for overshoot; give at most 720 C"},
		{"pour too cold", func(in *Input) { in.PourC = 90 }, "pour temperature 90 C: a mould below 120 C may hold water, which throws metal; give 120 C or more"},
		{"window upside down", func(in *Input) { in.LeastC = 600 }, "least temperature at the pour 600 C: is not below the pour temperature of 540 C"},
		{"a sure thing", func(in *Input) { in.Clear = 1 }, "clear 100 %: is outside 1 % to 99.9 %"},
		{"no relay", func(in *Input) { in.AirOn, in.Kiln.Air.Vent = true, 0 }, "air on: kiln bench-16l-fibre-120v has no fresh-air relay: its file gives no air.vent"},
		{"no such pattern", func(in *Input) { in.Beliefs = []Belief{{Pattern: 3, MedianFactor: 1}} }, "belief 1 mould 0, pattern 3: there is no such pattern; both count from 0"},
		{"weak kiln", func(in *Input) { in.Kiln.Elements.Rated *= 0.4 }, "kiln bench-16l-fibre-120v: at 720 C it still rises by 0 C/h on full power, and 20 % of that is kept back; a stronger kiln, new elements or a lower ceiling would do"},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := woody(t)
			c.do(&in)
			p, err := Make(in)
			assert.Nil(t, p)
			assert.EqualError(t, err, c.want)
			var r *Refusal
			assert.ErrorAs(t, err, &r)
		})
	}
}

func TestCeilingAboveTheKiln(t *testing.T) {
	t.Parallel()
	in := woody(t)
	in.Kiln.Max = quantity.Temperature(700)
	_, err := Make(in)
	assert.EqualError(t, err, "ceiling 730 C: the maker of kiln bench-16l-fibre-120v allows 700 C; lower the ceiling to that")
}

func TestStartIsWorkedBackFromThePour(t *testing.T) {
	t.Parallel()
	in := woody(t)
	in.Samples, in.Now, in.PourAt = 40, saturday, saturday.Add(24*time.Hour)
	p, err := Make(in)
	require.NoError(t, err)
	assert.Equal(t, in.PourAt, p.Ready)
	assert.Equal(t, in.PourAt.Add(-p.Total), p.Start)
	assert.False(t, p.Start.Before(in.Now))
}

func TestPourTooEarlyNamesTheEarliest(t *testing.T) {
	t.Parallel()
	in := woody(t)
	in.Samples, in.Now, in.PourAt = 40, saturday, saturday.Add(2*time.Hour)
	in.Kiln.Air.Leakage /= 10 // a tight kiln, so that air helps
	_, err := Make(in)
	var r *Refusal
	require.ErrorAs(t, err, &r)
	assert.Regexp(t, `^pour time Sat 14:00: no profile that keeps every limit is clear and at 540 C by then; the earliest is Sun \d\d:\d\d; with air on, Sun \d\d:\d\d; what takes longest is water \(7 h \d+ min of \d+ h \d+ min\), then air \(.*\)$`, err.Error())
	assert.True(t, r.WithAir.Before(r.Earliest))
	assert.Equal(t, ByWater, r.Limit)

	in.PourAt = r.Earliest // what was promised can be had
	p, err := Make(in)
	require.NoError(t, err)
	assert.False(t, p.Start.Before(in.Now))
	in.PourAt, in.AirOn = r.WithAir, true
	_, err = Make(in)
	require.NoError(t, err)
}

func TestRefusalsInFahrenheit(t *testing.T) {
	t.Parallel()
	in := woody(t)
	in.Fahrenheit, in.PourC = true, 800
	_, err := Make(in)
	assert.EqualError(t, err, "pour temperature 1472 F: is above the ceiling of 1346 F less 18 F for overshoot; give at most 1325 F")
}

// A kiln whose load of its own file fits must take the flask it was drawn for:
// studio-60l-fibre says twelve 100 mm flasks.
func TestRoomAgreesWithTheKilnFile(t *testing.T) {
	t.Parallel()
	in := shipped(t, "woody-pod-90", "studio-60l-fibre")
	in.Moulds[0].Flask.Diameter = 0.100
	k := &maker{in: in}
	assert.GreaterOrEqual(t, k.places(in.Moulds[0]), 12)
	assert.Contains(t, kiln.Shipped(), in.Kiln.Name)
}

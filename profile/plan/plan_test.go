package plan

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/profile"
	"calx/sim/mould"
	"calx/sim/quantity"
)

// keepsLimits runs the sentences of a plan on the mould model alone and holds
// the result against the limits as they stand, margin included.
func keepsLimits(t require.TestingT, in Input, p *Plan) {
	lim := in.Limits.orDefault()
	m, err := mould.New(in.Moulds, mould.Env{Air: airOf(in.Kiln, in.AmbientC)})
	require.NoError(t, err)
	chamber := chamberOf(p, in.AmbientC)
	s := m.Forecast(m.Start(in.AmbientC), chamber, p.Total.Seconds(), 120, func(tS float64, r *mould.Reading) bool {
		for _, f := range r.Flasks {
			if !f.Dry {
				assert.LessOrEqual(t, r.ChamberC, lim.SteamHoldC+1e-6, "wet at %.0f s and above the steam hold", tS)
			}
			if f.ClearS < 0 {
				assert.LessOrEqual(t, r.ChamberC, lim.CeilingC-lim.OvershootC+1e-6, "char left and too hot")
			}
		}
		return true
	})
	keep := 1 - lim.Margin + 0.01 // the step of another run may fall elsewhere
	for _, f := range s.Flasks {
		assert.LessOrEqual(t, f.MostSteam, lim.SteamIndex*keep, "steam index")
		assert.LessOrEqual(t, f.MostCristobalK, lim.CristobaliteK*keep, "cristobalite inversion, K")
		assert.LessOrEqual(t, f.MostQuartzK, lim.QuartzK*keep, "quartz inversion, K")
	}
	can := in.Kiln.Envelope(in.AmbientC)
	fromC := in.AmbientC
	for i, st := range p.Profile.Steps {
		if st.Kind != profile.Heat && st.Kind != profile.Cool {
			continue
		}
		assert.LessOrEqual(t, st.RateCPerH, lim.MostCPerH, p.Profile.Sentence(i))
		power := can.FullPowerRate(st.TargetC)
		if st.Kind == profile.Cool {
			power = can.CoolRate(st.TargetC)
		}
		assert.LessOrEqual(t, st.RateCPerH, power*(1-lim.PowerMargin)+5, p.Profile.Sentence(i)) // a rate rounds up to 5 for want of less
		fromC = st.TargetC
	}
	assert.InDelta(t, in.PourC, fromC, 1e-6, "ends at the pour temperature, °C")
}

func TestShippedMouldsKeepTheLimits(t *testing.T) {
	t.Parallel()
	var totals []time.Duration
	for _, c := range cases {
		in := shipped(t, c.mould, c.kiln)
		p := made(t, in)
		keepsLimits(t, in, p)
		totals = append(totals, p.Total)
		assert.Less(t, p.ClearAt.Low, p.ClearAt.Median)
		assert.Less(t, p.ClearAt.Median, p.ClearAt.High)
		assert.Less(t, p.DryAt, p.ClearAt.Low)
		assert.LessOrEqual(t, p.ClearBy, p.Total)
	}
	assert.Less(t, totals[0], totals[1], "a thin leaf before a woody pod")
	assert.Less(t, totals[1], totals[2], "a woody pod before a cone")
}

func TestAnyMouldKeepsTheLimits(t *testing.T) {
	t.Parallel()
	checks := 0
	rapid.Check(t, func(r *rapid.T) {
		if checks++; checks > 3 || testing.Short() && checks > 1 {
			return // each is a whole plan
		}
		in := cone(t)
		in.Samples = 20
		p := &in.Moulds[0]
		p.Flask.Diameter = quantity.Length(rapid.Float64Range(0.05, 0.15).Draw(r, "diameter"))
		p.Flask.Height = quantity.Length(rapid.Float64Range(0.08, 0.2).Draw(r, "height"))
		p.Flask.Sleeve = rapid.SampledFrom([]string{mould.SleeveSteel, mould.SleeveNone, mould.SleevePerforated}).Draw(r, "sleeve")
		wet := quantity.Fraction(rapid.Float64Range(0.2, 1).Draw(r, "wet"))
		p.Wet = &wet
		p.Patterns = []mould.Pattern{{Material: rapid.SampledFrom([]string{"twig", "leaf", "woody stem"}).Draw(r, "material"), Shape: mould.ShapeStem,
			Section: quantity.Length(rapid.Float64Range(0.003, 0.02).Draw(r, "section")), Length: 0.05}}
		in.Limits.QuartzK = rapid.Float64Range(60, 150).Draw(r, "quartz")
		in.Limits.SteamIndex = rapid.Float64Range(0.005, 0.1).Draw(r, "steam")
		in.PourC = rapid.Float64Range(300, 690).Draw(r, "pour")
		q, err := Make(in)
		require.NoError(r, err)
		require.NoError(r, q.Profile.Check())
		keepsLimits(r, in, q)
	})
}

func TestSameInputSamePlan(t *testing.T) {
	t.Parallel()
	in := leaf(t)
	again, err := Make(quick(in))
	require.NoError(t, err)
	assert.Equal(t, made(t, in), again)
	in.Seed = 7
	assert.NotEqual(t, again.ClearAt, made(t, in).ClearAt)
}

func TestAirIsNeverSlower(t *testing.T) {
	t.Parallel()
	list := []Input{leaf(t), woody(t)}
	if !testing.Short() {
		list = append(list, cone(t))
	}
	for _, in := range list {
		without := made(t, in)
		in.AirOn = true
		with := made(t, in)
		assert.LessOrEqual(t, with.Total, without.Total+time.Minute, "%s: a minute for rounding", in.Moulds[0].Name)
		assert.Contains(t, with.Profile.String(), "air on\n")
		assert.Contains(t, with.Profile.String(), "air off\n")
	}
}

// The search against every combination of rates on a grid of 40 °C/h, breaks
// and top as found: what it gives away.
func TestSearchAgainstBruteForce(t *testing.T) {
	t.Parallel()
	in := leaf(t)
	in.Limits.CristobaliteK, in.Limits.QuartzK, in.Limits.MostCPerH = 60, 40, 400 // so that the limits bind
	k, err := newMaker(in, false)
	require.NoError(t, err)
	k.guess()
	k.fit(k.march(k.coarse))
	k.search(k.coarse)
	dried := k.walker(k.coarse, k.begin(k.coarse)).run(k.d.drying())
	run := func() *walk {
		return k.walker(k.coarse, dried.end).run(k.d.burning(k.in.Clear, false))
	}
	found := run()
	require.Zero(t, k.excess(found))
	best, tried := k.score(found), 0
	var at string
	d := &k.d
	step := 40.0
	if testing.Short() {
		step = 80
	}
	for d.slow = 40; d.slow <= 300; d.slow += step {
		for d.mid = 40; d.mid <= 400; d.mid += step {
			for d.last = 40; d.last <= 300; d.last += step {
				tried++
				if w := run(); k.excess(w) == 0 && k.score(w) < best {
					best, at = k.score(w), fmt.Sprint(d.slow, d.mid, d.last)
				}
			}
		}
	}
	dryS := dried.totalS()
	t.Logf("%d tried; search %.0f s after dry, grid %.0f s at %s", tried, k.score(found)-dryS, best-dryS, at)
	assert.Less(t, k.score(found)-dryS, 1.03*(best-dryS), "within 3 %")
}

// Against the march, which no sentence binds, and against a schedule of one
// rate throughout that keeps the limits: what a careful person would write.
func TestShorterThanOneRate(t *testing.T) {
	t.Parallel()
	for _, in := range []Input{woody(t), cone(t)} {
		k, err := newMaker(in, false)
		require.NoError(t, err)
		k.guess()
		k.fit(k.march(k.coarse))
		k.search(k.coarse)
		assert.InEpsilon(t, k.marchedS, k.fittedS, 0.04, "%s: the fit gives away at most 4 %%", in.Moulds[0].Name)
		for r := k.lim.MostCPerH; ; r = k.slower(r) {
			k.d.slow, k.d.mid, k.d.last, k.d.fall, k.d.cool = r, r, r, r, r
			w := k.walker(k.coarse, k.begin(k.coarse)).run(append(k.untilClear(), k.d.cooling(in.PourC, false)...))
			if k.excess(w) == 0 {
				assert.Less(t, k.fittedS, w.totalS(), "%s at %g C/h throughout", in.Moulds[0].Name, r)
				t.Logf("%s: %.2f h, at %g C/h throughout %.2f h", in.Moulds[0].Name, k.fittedS/3600, r, w.totalS()/3600)
				break
			}
		}
	}
}

func TestBeliefsReplaceThePhysics(t *testing.T) {
	t.Parallel()
	in := woody(t)
	in.Beliefs = []Belief{{MedianFactor: 1, SigmaLn: 0.2}}
	one := made(t, in)
	in.Beliefs = []Belief{{MedianFactor: 2, SigmaLn: 0.2}}
	two := made(t, in)
	assert.Greater(t, two.ClearAt.Median, one.ClearAt.Median+time.Hour)
	in.Beliefs = []Belief{{MedianFactor: 1, SigmaLn: 0.8}}
	assert.Greater(t, made(t, in).Total, one.Total, "more scatter, more hold")
}

func TestNothingToBurn(t *testing.T) {
	t.Parallel()
	in := woody(t)
	in.Moulds[0].Patterns = nil
	p := made(t, in)
	assert.Zero(t, p.ClearAt)
	assert.Less(t, p.Total, made(t, woody(t)).Total)
}

func TestSeveralMoulds(t *testing.T) {
	t.Parallel()
	in := shipped(t, "woody-pod-90", "studio-40l-brick")
	alone := made(t, in)
	in.Moulds = append(in.Moulds, leaf(t).Moulds...)
	in.Moulds[1].Count = 2
	p := made(t, in)
	keepsLimits(t, in, p)
	assert.InEpsilon(t, alone.DryAt, p.DryAt, 0.02, "the large flask sets the pace")
	assert.Contains(t, p.Reasons[1].Text, "3 moulds")
}

// Where clearing takes three weeks, half as much again is more than a sentence
// may say.
func TestLongHoldsMakeAProfile(t *testing.T) {
	steps := []profile.Step{
		{Kind: profile.Heat, TargetC: 720, Pace: profile.Fastest},
		{Kind: profile.Hold, Until: profile.UntilClear, Clear: 0.95},
	}
	new(maker).spans(steps, &walk{legs: []leg{{}, {toS: 21 * 24 * 3600}}})
	p := profile.Profile{Steps: steps}
	assert.NoError(t, p.Check(), p.String())
}

package law

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// course is one run of the law on a plant that is like its model, or nearly.
type course struct {
	plant   Plant
	options Options
	plan    func(s float64) float64
	truth   func(s, duty float64) float64 // the duty that really acts; nil: the one asked for
	startC  float64
	hours   float64
}

// run gives the error of the junction, reading by reading, and the last state.
func (c course) run(t testing.TB, each func(s, errC, duty float64)) State {
	l, err := New(c.plant, c.options)
	require.NoError(t, err)
	period := l.periodS
	truth, s := l.Start(c.startC), l.Start(c.startC)
	times := l.AheadS()
	for now := 0.0; now < c.hours*3600; now += period {
		yC := l.JunctionC(truth)
		s = l.Observe(s, yC)
		var a Ahead
		for i, d := range times {
			a[i] = c.plan(now + d)
		}
		var u float64
		s, u = l.Decide(s, &a)
		require.True(t, u >= 0 && u <= 1)
		s = l.Advance(s, u)
		acts := u
		if c.truth != nil {
			acts = c.truth(now, u)
		}
		truth.Duty = acts
		truth = l.Advance(truth, acts)
		each(now, yC-c.plan(now), u)
	}
	return s
}

// rampTo climbs at perH and stays.
func rampTo(fromC, toC, perH float64) func(float64) float64 {
	return func(s float64) float64 { return math.Min(fromC+perH*s/3600, toC) }
}

func TestConstantPlanIsTrackedExactly(t *testing.T) {
	for _, c := range []float64{25, 150, 299, 301, 500, 700, 900, 1050} {
		last := math.Inf(1)
		course{plant: benchPlant(), plan: func(float64) float64 { return c }, startC: 20, hours: 8}.run(t, func(_, e, _ float64) { last = e })
		assert.InDelta(t, 0, last, 0.02, "at %g °C, between the points of the table too", c)
	}
}

func TestRampIsFollowedAndArrivedAt(t *testing.T) {
	worst, over := 0.0, 0.0
	course{plant: benchPlant(), plan: rampTo(20, 420, 200), startC: 20, hours: 4}.run(t, func(s, e, _ float64) {
		if s > 600 {
			worst = math.Max(worst, math.Abs(e))
		}
		if s > 7200 {
			over = math.Max(over, e)
		}
	})
	assert.Less(t, worst, 1.0)
	assert.Less(t, over, 0.5)
}

// Mains at 80 % take a third of the power; a pattern gives heat of its own.
func TestDisturbanceIsRemoved(t *testing.T) {
	for name, truth := range map[string]func(s, duty float64) float64{
		"mains fall to 80 %": func(s, u float64) float64 {
			if s > 7200 {
				return 0.64 * u
			}
			return u
		},
		"a pattern burns": func(s, u float64) float64 {
			if s > 7200 {
				return u + 0.1
			}
			return u
		},
	} {
		worst, late := 0.0, 0.0
		end := course{plant: benchPlant(), plan: func(float64) float64 { return 500 }, startC: 500, hours: 4, truth: truth}.run(t, func(s, e, _ float64) {
			if s > 7200 {
				worst = math.Max(worst, math.Abs(e))
			}
			if s > 7200+1800 {
				late = math.Max(late, math.Abs(e))
			}
		})
		assert.Less(t, worst, 8.0, name)
		assert.Less(t, late, 0.5, "%s: gone after half an hour", name)
		assert.Greater(t, math.Abs(end.Extra), 0.05, "%s: it knows that something is amiss", name)
	}
}

// A plan that no power can follow, for hours, and then a hold: nothing was wound
// up meanwhile.
func TestSaturationLeavesNothingToUnwind(t *testing.T) {
	full, over := 0, 0.0
	course{plant: benchPlant(), plan: func(float64) float64 { return 600 }, startC: 20, hours: 6}.run(t, func(_, e, u float64) {
		if u == 1 {
			full++
		}
		over = math.Max(over, e)
	})
	assert.Greater(t, full, 1000)
	assert.Less(t, over, 3.0)
}

func TestEveryPeriodIsStable(t *testing.T) {
	for _, period := range []float64{0.25, 0.5, 1, 2, 5, 10} {
		worst := 0.0
		course{plant: benchPlant(), options: Options{PeriodS: period}, plan: rampTo(300, 700, 150), startC: 300, hours: 5,
			truth: func(_, u float64) float64 { return 0.9 * u }}.run(t, func(s, e, _ float64) {
			if s > 3600 {
				worst = math.Max(worst, math.Abs(e))
			}
		})
		assert.Less(t, worst, 1.5, "period %g s", period)
	}
}

func TestNoReadingLeavesTheEstimateToTheModel(t *testing.T) {
	l, err := New(benchPlant(), Options{})
	require.NoError(t, err)
	s := l.Start(400)
	for _, c := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		assert.Equal(t, s, l.Observe(s, c))
		assert.Equal(t, State{}, l.Observe(State{}, c), "and nothing starts from it")
	}
	_, u := l.Decide(State{}, &Ahead{})
	assert.Zero(t, u, "nothing known: no heat")
	assert.Equal(t, State{}, l.Advance(State{}, 1))
}

// The plan ahead is cut at half an hour; what lies beyond is taken as its last
// entry.
func TestPlanReachesHalfAnHour(t *testing.T) {
	for _, period := range []float64{0.25, 1, 10} {
		l, err := New(benchPlant(), Options{PeriodS: period})
		require.NoError(t, err)
		a := l.AheadS()
		assert.Greater(t, a[0], 0.0)
		for i := 1; i < len(a); i++ {
			require.GreaterOrEqual(t, a[i], a[i-1])
		}
		assert.InDelta(t, 1800, a[len(a)-1], 120)
	}
}

// The mean of the model follows the duty and not the pulses by which a relay
// gives it.
func TestPulsesDoNotMoveTheMean(t *testing.T) {
	l, err := New(benchPlant(), Options{})
	require.NoError(t, err)
	smooth, pulsed := l.Start(500), l.Start(500)
	smooth.Duty, pulsed.Duty = 0.4, 0.4
	sum, n := 0.0, 0
	for k := range 20000 {
		smooth = l.Advance(smooth, 0.4)
		on := 0.0
		if (k+20)%100 < 40 { // half a pulse first, so that the first one is not for ever ahead
			on = 1
		}
		pulsed = l.Advance(pulsed, on)
		require.Equal(t, smooth.Mean, pulsed.Mean)
		if k >= 10000 {
			sum += l.JunctionC(pulsed) - l.MeanC(pulsed)
			n++
		}
	}
	assert.InDelta(t, 0, sum/float64(n), 0.05, "the ripple goes both ways alike")
	assert.NotZero(t, pulsed.Ripple[1])
	off := l.Off(pulsed)
	assert.InDelta(t, l.JunctionC(pulsed), l.JunctionC(off), 1e-9)
	assert.Zero(t, off.Duty)
}

// Any state and any plan give a duty that a relay can work with.
func TestAnyStateGivesADuty(t *testing.T) {
	l, err := New(benchPlant(), Options{})
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		s := l.Start(rapid.Float64Range(-100, 2000).Draw(t, "at"))
		for range rapid.IntRange(1, 50).Draw(t, "ticks") {
			var a Ahead
			v := rapid.OneOf(rapid.Float64Range(-300, 3000), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), 1e300})).Draw(t, "plan")
			for i := range a {
				a[i] = v
			}
			var u float64
			s = l.Observe(s, rapid.Float64Range(-300, 2500).Draw(t, "reading"))
			s, u = l.Decide(s, &a)
			if !(u >= 0 && u <= 1) {
				t.Fatalf("duty %v", u)
			}
			s = l.Advance(s, rapid.Float64Range(0, 1).Draw(t, "on"))
			for _, x := range append(s.Mean[:], append(s.Ripple[:], s.Extra, s.Duty)...) {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					t.Fatalf("state %+v", s)
				}
			}
		}
	})
}

func TestTableEdges(t *testing.T) {
	l, err := New(benchPlant(), Options{})
	require.NoError(t, err)
	for _, c := range []struct {
		tC, lo, hi, f float64
	}{{-50, 20, 20, 0}, {20, 20, 20, 0}, {160, 20, 300, 0.5}, {300, 300, 700, 0}, {1100, 1100, 1100, 0}, {3000, 1100, 1100, 0}} {
		lo, hi, f := l.between(c.tC)
		assert.Equal(t, []float64{c.lo, c.hi, c.f}, []float64{lo.tempC, hi.tempC, f}, "at %g °C", c.tC)
	}
}

func TestPlantIsChecked(t *testing.T) {
	for want, spoil := range map[string]func(*Plant){
		"plant power is 0; it must be above 0 W":                                  func(p *Plant) { p.PowerW = 0 },
		"plant power is +Inf":                                                     func(p *Plant) { p.PowerW = math.Inf(1) },
		"plant ambient is 90; it must be between -60 and 80 °C":                   func(p *Plant) { p.AmbientC = 90 },
		"plant has no points":                                                     func(p *Plant) { p.Points = nil },
		"point 2 temperature is 20; it must be above that of the point before":    func(p *Plant) { p.Points[1].TempC = 20 },
		"point 1 element lag is -1; it must be between 0 and 1e5 s":               func(p *Plant) { p.Points[0].ElementLagS = -1 },
		"point 3 probe lag is NaN":                                                func(p *Plant) { p.Points[2].ProbeLagS = math.NaN() },
		"point 1 number of nodes is 0; it must be from 1 to 8":                    func(p *Plant) { p.Points[0].Nodes = nil },
		"point 2 number of nodes is 1; it must be the same as in the first point": func(p *Plant) { p.Points[1].Nodes = p.Points[1].Nodes[:1] },
		"point 1 node 0 capacity is 0; it must be above 0 J/K":                    func(p *Plant) { p.Points[0].Nodes[0].CapJPerK = 0 },
		"point 1 node 0 loss is -1; it must be 0 W/K or more":                     func(p *Plant) { p.Points[0].Nodes[0].AmbientWPerK = -1 },
		"point 1 node 1 link is 0; it must be above 0 W/K":                        func(p *Plant) { p.Points[0].Nodes[1].LinkWPerK = 0 },
		"point 1 node 2 parent is 2; it must be a node before it":                 func(p *Plant) { p.Points[0].Nodes[2].Parent = 2 },
	} {
		p := benchPlant()
		spoil(&p)
		assert.ErrorContains(t, p.Check(), want)
		_, err := New(p, Options{})
		assert.ErrorContains(t, err, want)
	}
	for want, o := range map[string]Options{
		"period is 11 s; it must be from 0.1 to 10 s":        {PeriodS: 11},
		"noise is -1 °C; it must be above 0 and below 20 °C": {NoiseC: -1},
		fmt.Sprintf("period is %g s", math.NaN()):            {PeriodS: math.NaN()},
	} {
		_, err := New(benchPlant(), o)
		assert.ErrorContains(t, err, want)
	}
}

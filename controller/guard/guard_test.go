package guard

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/controller/notice"
	"calx/sensor"
)

// limits are those of a small kiln, figures of our own.
func limits() *Limits {
	return &Limits{CeilingC: 735, MarginC: 10, MaxC: 1100, NoReadingS: 10, Response: []Response{
		{TempC: 20, LagS: 200, FullCPerH: 1200, CoastC: 30},
		{TempC: 400, LagS: 100, FullCPerH: 600, CoastC: 4},
		{TempC: 800, LagS: 40, FullCPerH: 240, CoastC: 0},
	}}
}

func ok(hotC float64) sensor.Reading {
	return sensor.Reading{HotC: hotC, ColdC: 25, HotCode: int32(hotC * 4), ColdCode: 400}
}

// plain is a look at a healthy kiln that is asked for nothing.
func plain(hotC float64) Look { return Look{DtS: 1, Reading: ok(hotC), SetpointC: math.NaN()} }

// at is a history that has settled at a temperature.
// judge is Judge of a history that has no name.
func judge(l *Limits, h History) Finding { return Judge(l, &h) }

func at(l *Limits, hotC float64) History {
	return run(History{}, l, 5, func(int) Look { return plain(hotC) })
}

// run takes n looks.
func run(h History, l *Limits, n int, look func(i int) Look) History {
	for i := range n {
		h = h.After(l, look(i))
	}
	return h
}

// firstTrip looks until a guard trips, and gives the look and the finding.
func firstTrip(h History, l *Limits, n int, look func(i int) Look) (int, Finding) {
	for i := range n {
		h = h.After(l, look(i))
		if f := judge(l, h); f.Verdict == Trip {
			return i, f
		}
	}
	return -1, Finding{}
}

func TestNothingIsKnownAtFirst(t *testing.T) {
	l := limits()
	f := judge(l, History{})
	assert.Equal(t, Withhold, f.Verdict)
	assert.Equal(t, notice.NoReading, f.Code)
	h := History{}
	for i := range 2 {
		h = h.After(l, plain(20))
		assert.Equal(t, Withhold, judge(l, h).Verdict, "after %d readings", i+1)
	}
	h = h.After(l, plain(20))
	assert.Equal(t, Fine, judge(l, h).Verdict, "three readings that agree are believed")
}

// A first frame that is corrupt must not become what later ones are held to.
func TestFirstFrameMayBeCorrupt(t *testing.T) {
	l := limits()
	h := run(History{}, l, 4, func(i int) Look { return plain([]float64{900, 20, 20.25, 20}[i]) })
	require.True(t, h.Believed())
	assert.Equal(t, 20.0, h.HotC)
	assert.Equal(t, Fine, judge(l, h).Verdict)
}

func TestNoReading(t *testing.T) {
	l := limits()
	bad := Look{DtS: 1, Reading: sensor.Failed(0, sensor.Open), SetpointC: math.NaN()}
	h := at(l, 412)
	for i := 1; i <= 9; i++ {
		h = h.After(l, bad)
		f := judge(l, h)
		require.Equal(t, Withhold, f.Verdict, "%d s", i)
		require.Equal(t, notice.NoReading, f.Code)
	}
	back := h.After(l, plain(411))
	assert.Equal(t, Fine, judge(l, back).Verdict, "it goes on when the reading is back in time")
	f := judge(l, h.After(l, bad))
	assert.Equal(t, Trip, f.Verdict)
	assert.Equal(t, "no valid temperature for 10 s: open (last good 412 °C)", f.Text)
	l.Fahrenheit = true
	assert.Equal(t, "no valid temperature for 10 s: open (last good 774 °F)", judge(l, h.After(l, bad)).Text)
}

// How long ago the look before a bad frame was says nothing about the frame.
func TestLateTickWithOneBadFrame(t *testing.T) {
	l := limits()
	late := Look{DtS: 25, Reading: sensor.Failed(0, sensor.Corrupt), SetpointC: math.NaN()}
	assert.Equal(t, Withhold, judge(l, at(l, 500).After(l, late)).Verdict)
	hot := plain(750)
	hot.DtS = 25
	assert.Equal(t, Withhold, judge(l, at(l, 740).After(l, hot)).Verdict)
}

func TestNumbersThatAreNoTemperatures(t *testing.T) {
	l := limits()
	for _, c := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e308, -1e9, 2001, -101} {
		h := at(l, 300).After(l, plain(c))
		assert.False(t, h.Believed(), "%g", c)
		assert.NotEqual(t, Fine, judge(l, h).Verdict, "%g", c)
		assert.Equal(t, 300.0, h.HotC, "%g", c)
	}
}

func TestLimitsFromBothSides(t *testing.T) {
	for _, c := range []struct {
		name         string
		below, above float64
		code, text   string
	}{
		{"ceiling", 745, 745.25, notice.AboveCeiling, "the chamber is at 745 °C, more than 10 °C above the ceiling of 735 °C"},
		{"maximum", 1100, 1100.25, notice.AboveKilnMax, "the chamber is at 1100 °C, above the kiln's maximum of 1100 °C"},
	} {
		l := limits()
		if c.name == "maximum" {
			l.CeilingC = 0
		}
		h := at(l, c.below)
		assert.Equal(t, Fine, judge(l, h).Verdict, c.name)
		h = h.After(l, plain(c.above))
		f := judge(l, h)
		assert.Equal(t, Withhold, f.Verdict, "%s: no heat from the first reading above", c.name)
		assert.Equal(t, c.code, f.Code)
		assert.Equal(t, c.text, f.Text)
		i, f := firstTrip(at(l, c.below), l, 10, func(int) Look { return plain(c.above) })
		assert.Equal(t, 2, i, "%s: the third reading above trips", c.name)
		assert.Equal(t, c.code, f.Code)
	}
}

func TestTextsInFahrenheit(t *testing.T) {
	l := limits()
	l.Fahrenheit = true
	h := at(l, 745).After(l, plain(750))
	assert.Equal(t, "the chamber is at 1382 °F, more than 18 °F above the ceiling of 1355 °F", judge(l, h).Text)
}

func TestLeap(t *testing.T) {
	l := limits()
	h := at(l, 500)
	assert.Equal(t, Fine, judge(l, h.After(l, plain(511.75))).Verdict)
	assert.Equal(t, Fine, judge(l, h.After(l, plain(488.25))).Verdict)
	for _, c := range []float64{512.25, 487.75, 250, 1000} {
		once := h.After(l, plain(c))
		assert.Equal(t, Withhold, judge(l, once).Verdict, "%g", c)
		assert.Equal(t, Fine, judge(l, once.After(l, plain(500))).Verdict, "back from %g", c)
	}
	i, f := firstTrip(h, l, 20, func(int) Look { return plain(250) })
	assert.Equal(t, 9, i)
	assert.Equal(t, notice.ReadingJumped, f.Code)
	assert.Equal(t, "the reading leapt from 500 °C to 250 °C, and no kiln does that", f.Text)
}

// Doubt is one, whatever feeds it: a contact that comes and goes must not start
// the clock again with every change of fault.
func TestDoubtOfTwoKindsAddsUp(t *testing.T) {
	l := limits()
	i, _ := firstTrip(at(l, 500), l, 60, func(i int) Look {
		if i%2 == 0 {
			return Look{DtS: 1, Reading: sensor.Failed(0, sensor.Open), SetpointC: math.NaN()}
		}
		return plain(180)
	})
	assert.Equal(t, 9, i)
}

func TestFrozen(t *testing.T) {
	l := limits()
	ramp := func(perH float64) func(int) Look {
		return func(i int) Look {
			k := plain(300)
			k.SetpointC = 300 + perH/3600*float64(i)
			return k
		}
	}
	warm := at(l, 300)
	warm.FirstC = 20
	i, f := firstTrip(warm, l, 2000, ramp(180))
	assert.Equal(t, notice.ReadingFrozen, f.Code)
	assert.InDelta(t, 108, i, 4, "3 °C at 180 °C/h are a minute, and the kiln needs two")
	assert.Equal(t, "the reading has stood at exactly 300 °C for 110 s", f.Text)
	i, _ = firstTrip(warm, l, 2000, ramp(60))
	assert.InDelta(t, 180, i, 4)
	i, _ = firstTrip(at(l, 300), l, 2000, ramp(180))
	assert.InDelta(t, 250, i, 4, "at the start of a firing it is given two lags of the kiln")
	i, f = firstTrip(warm, l, 2000, func(int) Look { return plain(300) })
	assert.Equal(t, notice.ReadingFrozen, f.Code)
	assert.InDelta(t, 900, i, 6, "standing still without a reason takes a quarter of an hour")
	i, _ = firstTrip(warm, l, 3600, func(i int) Look {
		k := ramp(180)(i)
		k.Reading.ColdCode = 400 + int32(i/50)%2 // the cold junction alone still moves
		return k
	})
	assert.Equal(t, -1, i)
}

func TestFrozenAtFullPower(t *testing.T) {
	l := limits()
	i, f := firstTrip(at(l, 400), l, 2000, func(int) Look {
		k := plain(400)
		k.On, k.Duty, k.SetpointC = true, 1, 406
		return k
	})
	assert.Equal(t, notice.ReadingFrozen, f.Code)
	assert.InDelta(t, 200, i, 3, "two lags of 100 s")
}

func TestReversed(t *testing.T) {
	l := limits()
	heated := func(perS float64) func(int) Look {
		return func(i int) Look {
			k := plain(22 + perS*float64(i))
			k.On, k.Duty = true, 0.5
			return k
		}
	}
	_, f := firstTrip(at(l, 22), l, 600, heated(-0.1))
	assert.Equal(t, notice.ReversedProbe, f.Code)
	i, _ := firstTrip(at(l, 22), l, 300, heated(0.1))
	assert.Equal(t, -1, i)
	// A cold room, heat off: it may fall as it likes.
	i, _ = firstTrip(at(l, 22), l, 300, func(i int) Look { return plain(22 - 0.1*float64(i)) })
	assert.Equal(t, -1, i)
	// Far below the terminals without any heat.
	i, f = firstTrip(at(l, -20), l, 10, func(int) Look { return plain(-20) })
	assert.Equal(t, notice.ReversedProbe, f.Code)
	assert.LessOrEqual(t, i, 3)
}

// A chip that gives no cold junction leaves the first reading to compare with.
func TestReversedWithoutColdJunction(t *testing.T) {
	l := limits()
	look := func(c float64) Look {
		k := plain(c)
		k.Reading.ColdC, k.On = math.NaN(), true
		return k
	}
	h := run(History{}, l, 5, func(int) Look { return look(22) })
	i, f := firstTrip(h, l, 200, func(i int) Look { return look(22 - 0.2*float64(i)) })
	assert.Equal(t, notice.ReversedProbe, f.Code)
	assert.Greater(t, i, 0)
}

// weld is a kiln that was held at duty, and goes on rising by perMin after the
// relay was opened.
func weld(l *Limits, fromC, perMin float64) (int, Finding) {
	h := run(at(l, fromC), l, 1200, func(i int) Look {
		k := plain(fromC + 0.25*float64(i%2))
		k.On, k.Duty, k.SetpointC = i%5 == 0, 0.2, fromC
		return k
	})
	return firstTrip(h, l, 7200, func(i int) Look {
		k := plain(fromC + perMin*float64(i)/60)
		k.SetpointC = fromC
		return k
	})
}

func TestRisingWhileOff(t *testing.T) {
	l := limits()
	i, f := weld(l, 400, 10)
	assert.Equal(t, notice.RisingWhileOff, f.Code)
	assert.InDelta(t, 70, i, 15)
	i, _ = weld(l, 400, 0.3) // a pattern that burns: a sixth of what full power lasts to
	assert.Equal(t, -1, i)
	i, f = weld(l, 400, 3)
	assert.Equal(t, notice.RisingWhileOff, f.Code, "slow, but as steep as half of full power")
	assert.Less(t, i, 900)
}

// The door was open: the walls give the probe its heat back, with no relay at
// work.
func TestReboundAfterTheDoor(t *testing.T) {
	l := limits()
	open := func(i int) float64 {
		s := float64(i)
		if s < 180 {
			return 600 - 150*(1-math.Exp(-s/60))
		}
		return 458 + 170*(1-math.Exp(-(s-180)/60)) // 28 °C more than before
	}
	i, f := firstTrip(at(l, 600), l, 1000, func(i int) Look { return plain(open(i) + 0.25*float64(i%2)) })
	assert.Equal(t, -1, i, f.Text)
}

func TestFullPowerNotRising(t *testing.T) {
	l := limits()
	full := func(perH float64) func(int) Look {
		return func(i int) Look {
			k := plain(400 + perH*float64(i)/3600 + 0.25*float64(i%2))
			k.On, k.Duty, k.SetpointC = true, 1, 406
			return k
		}
	}
	i, f := firstTrip(at(l, 400), l, 7200, full(0))
	assert.Equal(t, notice.NotRising, f.Code)
	assert.InDelta(t, 605, i, 35)
	assert.Equal(t, "full power for 10 min, and the chamber moved by 0 °C to 400 °C; 100 °C were to be expected", f.Text)
	i, _ = firstTrip(at(l, 400), l, 7200, full(50))
	assert.Positive(t, i)
	i, _ = firstTrip(at(l, 400), l, 7200, full(75))
	assert.Equal(t, -1, i, "slow, but more than a tenth")
	i, _ = firstTrip(at(l, 400), l, 7200, func(i int) Look {
		k := full(0)(i)
		k.Duty = 0.97
		return k
	})
	assert.Equal(t, -1, i, "not full power")
}

// A weak kiln at its end is given an hour.
func TestCannotReach(t *testing.T) {
	l := limits()
	l.CeilingC = 0
	l.Response = append(l.Response, Response{TempC: 900, LagS: 30, FullCPerH: 5})
	look := func(perH float64) func(int) Look {
		return func(i int) Look {
			k := plain(900 + perH*float64(i)/3600 + 0.25*float64(i%2))
			k.On, k.Duty, k.SetpointC = true, 1, 906
			return k
		}
	}
	i, f := firstTrip(at(l, 900), l, 8000, look(1))
	assert.Equal(t, notice.CannotReach, f.Code)
	assert.InDelta(t, 3605, i, 35)
	i, _ = firstTrip(at(l, 900), l, 8000, look(4))
	assert.Equal(t, -1, i)
}

func TestTheGravestVerdictWinsAndTheFirstAmongEquals(t *testing.T) {
	l := limits()
	l.MaxC = 700
	h := at(l, 690)
	h = run(h, l, 6, func(int) Look { return plain(701) })
	require.Equal(t, Trip, judge(l, h).Verdict)
	assert.Equal(t, notice.AboveKilnMax, judge(l, h).Code)
	both := run(at(l, 696), l, 60, func(i int) Look { return plain(696 + math.Min(float64(i), 60)) })
	assert.Equal(t, notice.AboveKilnMax, judge(l, both).Code, "above both: the kiln's maximum is asked first")
	lost := h.After(l, Look{DtS: 1, Reading: sensor.Failed(0, sensor.Open), SetpointC: math.NaN()})
	assert.Equal(t, notice.AboveKilnMax, judge(l, lost).Code, "a trip stands above a withheld tick")
}

// anyLook is whatever a sick machine might see.
func anyLook(t *rapid.T) Look {
	k := Look{
		DtS:       rapid.OneOf(rapid.Float64Range(0, 2), rapid.SampledFrom([]float64{0, 1, 10, 3600, -5, math.NaN()})).Draw(t, "dt"),
		On:        rapid.Bool().Draw(t, "on"),
		Duty:      rapid.OneOf(rapid.Float64Range(0, 1), rapid.Just(math.NaN())).Draw(t, "duty"),
		SetpointC: rapid.OneOf(rapid.Float64Range(0, 1000), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1)})).Draw(t, "setpoint"),
	}
	k.Reading = sensor.Reading{
		HotC:     rapid.OneOf(rapid.Float64Range(300, 310), rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1)})).Draw(t, "hot"),
		ColdC:    rapid.OneOf(rapid.Float64Range(15, 40), rapid.Just(math.NaN())).Draw(t, "cold"),
		ColdCode: rapid.Int32Range(0, 3).Draw(t, "code"),
		Fault:    sensor.Fault(rapid.SampledFrom([]int{0, 0, 0, 0, 1, 128, 256}).Draw(t, "fault")),
	}
	return k
}

func TestAnyHistory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, h := limits(), History{}
		for range rapid.IntRange(1, 200).Draw(t, "looks") {
			k := anyLook(t)
			h = h.After(l, k)
			f := judge(l, h)
			if !k.Reading.OK() && f.Verdict == Fine {
				t.Fatalf("fine on a reading of %v with fault %v", k.Reading.HotC, k.Reading.Fault)
			}
			if f.Verdict == Fine && (!h.Believed() || h.HotC > l.CeilingC+l.MarginC || h.HotC != k.Reading.HotC) {
				t.Fatalf("fine at %+v", h)
			}
			if f.Verdict != Fine && (f.Text == "" || notice.For(f.Code).Severity != notice.Alarm) {
				t.Fatalf("verdict %d without words: %+v", f.Verdict, f)
			}
			for _, v := range []float64{h.HotC, h.AgeS, h.DoubtS, h.BadS, h.JumpS, h.SameS, h.SameSetC, h.SetC, h.OffS, h.OffFromC, h.OnBefore, h.OnShare, h.FullS, h.TrailS, h.UnrestS, h.BelowS} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("not a number in %+v", h)
				}
			}
		}
	})
}

// Without three valid readings nothing is ever fine.
func TestNeverFineWithoutReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, h := limits(), History{}
		for range rapid.IntRange(1, 100).Draw(t, "looks") {
			k := anyLook(t)
			if k.Reading.OK() {
				k.Reading = sensor.Failed(0, sensor.Open)
			}
			h = h.After(l, k)
			if judge(l, h).Verdict == Fine {
				t.Fatal("fine, and no temperature was ever known")
			}
		}
	})
}

// A corrupted reading that was believed shuts no true one out: the next goes
// with the one before it. A probe that touches itself stays shut out.
func TestCorruptedReadingIsLeftBehind(t *testing.T) {
	l := limits()
	h := run(at(l, 300), l, 60, func(i int) Look { return plain(300) })
	bad := Look{DtS: 1, Reading: sensor.Failed(0, sensor.Open), SetpointC: math.NaN()}
	h = h.After(l, bad)
	h = h.After(l, bad)
	h = h.After(l, plain(315.5)) // 10 °C and 2 °C a second
	require.True(t, h.Believed())
	h = h.After(l, plain(300))
	assert.True(t, h.Believed())
	after, f := firstTrip(h, l, 30, func(int) Look { return plain(285) })
	assert.Equal(t, notice.ReadingJumped, f.Code)
	assert.InDelta(t, 10, after, 2)
}

// What a probe lost at once is a share of its heat: shorted a tenth of the way
// at 150 °C it hides 70 °C at the top, and the ceiling counts for them.
func TestWhatAProbeLostGrows(t *testing.T) {
	l := limits()
	k := func(c float64) Look {
		x := plain(c)
		x.Reading.ColdC = 25
		return x
	}
	h := run(at(l, 109), l, 60, func(int) Look { return k(109) }) // 84 °C above the terminals
	h = run(h, l, 60, func(int) Look { return k(100.6) })         // a tenth less
	_, tells := Ask(l, &h)
	require.Len(t, tells, 1)
	assert.Equal(t, notice.ProbeSlipped, tells[0].Code)
	assert.InDelta(t, 109, h.hottestC(), 0.1)
	h = run(h, l, 3600, func(i int) Look { return k(100.6 + float64(i)/6) })
	truth := 25 + (h.HotC-25)/0.9
	assert.InDelta(t, truth, h.hottestC(), 0.5)
	h = run(h, l, 60, func(int) Look { return k(h.HotC) })
	assert.Greater(t, truth, 735.0+10)
	assert.Equal(t, notice.AboveCeiling, judge(l, h).Code)
}

func TestGapEmptiesTheMemory(t *testing.T) {
	l := limits()
	h := run(at(l, 300), l, 1000, func(i int) Look { return plain(300 + 0.25*float64(i%2)) })
	_, known := h.rise(600)
	require.True(t, known)
	late := plain(310)
	late.DtS = 900
	h = h.After(l, late)
	_, known = h.rise(600)
	assert.False(t, known, "what was 20 steps ago is not what was 10 min ago")
}

func TestResponseBetweenAndOutside(t *testing.T) {
	l := limits()
	assert.Equal(t, 200.0, l.at(-50).LagS)
	assert.Equal(t, 150.0, l.at(210).LagS)
	assert.Equal(t, 240.0, l.at(2000).FullCPerH)
	assert.Equal(t, 375.0, l.lastingCPerH(350))
	assert.Equal(t, DefaultLimits(900).Response[0], (&Limits{MaxC: 900}).at(500))
}

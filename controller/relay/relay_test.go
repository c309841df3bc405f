package relay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// run applies a constant duty and returns closures an hour, mean on fraction
// and the shortest on and off runs, s.
func run(c Config, duty, dtS, hours float64) (cyclesPerH, mean, shortOn, shortOff float64) {
	var s State
	var on float64
	shortOn, shortOff = math.Inf(1), math.Inf(1)
	length := 0.0
	n := int(hours * 3600 / dtS)
	for i := range n {
		was := s.On
		s = Update(c, s, duty, dtS)
		if s.On != was {
			if i > 0 && s.Cycles > 1 {
				if was {
					shortOn = math.Min(shortOn, length)
				} else {
					shortOff = math.Min(shortOff, length)
				}
			}
			length = 0
		}
		length += dtS
		if s.On {
			on += dtS
		}
	}
	return float64(s.Cycles) / hours, on / (hours * 3600), shortOn, shortOff
}

func TestContactorKeepsItsLimits(t *testing.T) {
	c := DefaultConfig(Contactor)
	step := 0.01
	if testing.Short() {
		step = 0.07
	}
	for duty := step; duty < 1; duty += step {
		cycles, mean, on, off := run(c, duty, 1, 20)
		assert.LessOrEqual(t, cycles, 85.0, "duty %.2f", duty)
		assert.InDelta(t, duty, mean, 0.001, "duty %.2f", duty)
		assert.GreaterOrEqual(t, on, 10.0, "duty %.2f", duty)
		assert.GreaterOrEqual(t, off, 10.0, "duty %.2f", duty)
	}
}

func TestSolidStateFollowsWithinATick(t *testing.T) {
	c := DefaultConfig(SolidState)
	for _, duty := range []float64{0, 0.003, 0.25, 0.5, 0.777, 0.999, 1} {
		_, mean, _, _ := run(c, duty, 1, 2)
		assert.InDelta(t, duty, mean, 1.0/7200, "duty %.3f", duty)
	}
}

func TestAnyDutySequence(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := Config{
			Kind:      Contactor,
			LeastOnS:  rapid.Float64Range(0, 60).Draw(t, "least on"),
			LeastOffS: rapid.Float64Range(0, 60).Draw(t, "least off"),
		}
		var s State
		length, first := 0.0, true
		for range rapid.IntRange(1, 400).Draw(t, "ticks") {
			duty := rapid.OneOf(rapid.Float64(), rapid.Float64Range(0, 1), rapid.Just(math.NaN())).Draw(t, "duty")
			was := s.On
			s = Update(c, s, duty, 1)
			if s.On != was {
				least := c.LeastOffS
				if was {
					least = c.LeastOnS
				}
				if !first && length < least {
					t.Fatalf("relay changed after %g s, least %g s", length, least)
				}
				first, length = false, 0
			}
			length++
			if math.IsNaN(s.OwedS) {
				t.Fatal("owed is not a number")
			}
		}
	})
}

func TestOpenIsAtOnce(t *testing.T) {
	c := DefaultConfig(Contactor)
	var s State
	for !s.On {
		s = Update(c, s, 1, 1)
	}
	s = Open(s, 1)
	require.False(t, s.On)
	require.Zero(t, s.OwedS)
	// and it may not close again before the least off time
	for range 9 {
		s = Update(c, s, 1, 1)
		require.False(t, s.On)
	}
}

func TestRestartHoldsTheLeastOffTime(t *testing.T) {
	s := Resumed(State{On: true, Cycles: 7, OwedS: 3})
	s = Update(DefaultConfig(Contactor), s, 1, 1)
	require.False(t, s.On)
	require.EqualValues(t, 7, s.Cycles)
}

func TestSettingsOutOfRange(t *testing.T) {
	require.ErrorContains(t, Config{LeastOnS: -1}.Check(), "least on time is -1")
	require.ErrorContains(t, Config{CyclesPerH: math.NaN()}.Check(), "cycles per hour")
	require.NoError(t, DefaultConfig(Contactor).Check())
}

// The loop may tick four times a second or once in ten.
func TestLimitsHoldAtEveryPeriod(t *testing.T) {
	c := DefaultConfig(Contactor)
	periods := []float64{0.25, 0.7, 3, 10}
	if testing.Short() {
		periods = periods[2:]
	}
	for _, dtS := range periods {
		for duty := 0.07; duty < 1; duty += 0.11 {
			cycles, mean, on, off := run(c, duty, dtS, 10)
			assert.LessOrEqual(t, cycles, 85.0, "duty %.2f, tick %g s", duty, dtS)
			assert.InDelta(t, duty, mean, 0.002, "duty %.2f, tick %g s", duty, dtS)
			assert.GreaterOrEqual(t, on, 10.0-1e-9, "duty %.2f, tick %g s", duty, dtS)
			assert.GreaterOrEqual(t, off, 10.0-1e-9, "duty %.2f, tick %g s", duty, dtS)
		}
	}
}

// Whatever is asked for, a contactor closes no more often than its least times
// allow, and what is owed stays bounded.
func TestCyclesForAnyDutySequence(t *testing.T) {
	c := DefaultConfig(Contactor)
	rapid.Check(t, func(t *rapid.T) {
		dtS := rapid.SampledFrom([]float64{0.25, 1, 10}).Draw(t, "tick")
		var s State
		ticks := rapid.IntRange(1, 500).Draw(t, "ticks")
		for range ticks {
			duty := rapid.OneOf(rapid.Float64Range(0, 1), rapid.SampledFrom([]float64{0, 1, math.NaN(), math.Inf(1), -1})).Draw(t, "duty")
			s = Update(c, s, duty, dtS)
			if math.Abs(s.OwedS) > c.most(dtS)+dtS {
				t.Fatalf("owed %g s", s.OwedS)
			}
		}
		if most := 1 + float64(ticks)*dtS/(c.LeastOnS+c.LeastOffS); float64(s.Cycles) > most {
			t.Fatalf("%d closures in %g s, at most %.0f", s.Cycles, float64(ticks)*dtS, most)
		}
	})
}

// A duty that moves slowly, as a law's does, keeps the cycles an hour too.
func TestCyclesAnHourForASlowDuty(t *testing.T) {
	c := DefaultConfig(Contactor)
	rapid.Check(t, func(t *rapid.T) {
		var s State
		duty := rapid.Float64Range(0, 1).Draw(t, "duty")
		for range 60 {
			duty = math.Min(math.Max(duty+rapid.Float64Range(-0.03, 0.03).Draw(t, "by"), 0), 1)
			for range 60 {
				s = Update(c, s, duty, 1)
			}
		}
		if s.Cycles > 85+2 {
			t.Fatalf("%d closures in an hour", s.Cycles)
		}
	})
}

func TestKinds(t *testing.T) {
	for _, k := range []Kind{SolidState, Contactor} {
		got, err := ParseKind(k.String())
		require.NoError(t, err)
		assert.Equal(t, k, got)
	}
	_, err := ParseKind("triac")
	assert.EqualError(t, err, `relay: kind is "triac"; it must be ssr or contactor`)
}

package controller_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"calx/controller"
	"calx/profile/pieces"
	"time"
)

// Figures of an independent prototype of the same dose; they are the ones
// package pieces is held to as well.
func TestWeight(t *testing.T) {
	for _, c := range []struct{ tC, at6kJ, at12kJ float64 }{
		{300, 0.070835, 0.046129}, {350, 0.32976, 0.21746}, {400, 0.60830, 0.43122},
		{500, 0.81619, 0.67187}, {600, 0.91754, 0.84248}, {700, 1, 1}, {750, 1.03704, 1.07538},
	} {
		assert.InDelta(t, c.at6kJ, controller.Weight(c.tC, 6000), 1e-5, "%g °C, 6 kJ/mol", c.tC)
		assert.InDelta(t, c.at12kJ, controller.Weight(c.tC, 12000), 1e-5, "%g °C, 12 kJ/mol", c.tC)
	}
}

// The observer and the test pieces count the same dose, or evidence from one
// would mislead the other.
func TestWeightIsThatOfTheTestPieces(t *testing.T) {
	for tC := 50.0; tC <= 800; tC += 50 {
		want := pieces.Equivalent(pieces.Soak(tC, time.Hour), 9).Minutes() / 60
		assert.InDelta(t, want, controller.Weight(tC, 9000), 1e-4, "%g °C", tC)
	}
}

func TestChance(t *testing.T) {
	b := controller.Belief{MedianMin: 300, SigmaLn: 0.5}
	assert.Zero(t, b.Chance(0))
	assert.InDelta(t, 0.5, b.Chance(300), 1e-12)
	// one standard deviation: 0.841345, any table of the normal distribution
	assert.InDelta(t, 0.841345, b.Chance(300*math.Exp(0.5)), 1e-6)
}

package plan

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"calx/sim/mould"
	"calx/sim/quantity"
)

// Burnout schedules by flask diameter: common practice, no source.
func TestCommonPracticeByFlask(t *testing.T) {
	t.Parallel()
	const h = time.Hour
	for _, c := range []struct {
		mm        float64
		low, high time.Duration
	}{
		{50, 8 * h, 12 * h}, {65, 8 * h, 12 * h}, {66, 14 * h, 18 * h}, {100, 14 * h, 18 * h}, {150, 22 * h, 30 * h}, {200, 40 * h, 48 * h},
	} {
		p := mould.Params{Flask: mould.Flask{Diameter: quantity.Length(c.mm / 1000)}, Patterns: []mould.Pattern{{}}}
		got := commonFor([]mould.Params{p})
		assert.Equal(t, c.low, got.Low, "%g mm", c.mm)
		assert.Equal(t, c.high, got.High, "%g mm", c.mm)
		assert.Equal(t, "common practice, no source", got.Source)
		assert.Equal(t, 2*h, got.ExtraLow)
		assert.Equal(t, 6*h, got.Extra)
	}
	assert.Equal(t, "a schedule by flask size (65 to 100 mm) takes 14 to 18 h, and 2 to 6 h more for organic patterns; common practice, no source",
		commonFor(woody(t).Moulds).String())
}

// A plan with an uncertain pattern is no shorter than what practice allows a
// small flask, and no longer than half as much again: common practice, no
// source, so a wide check.
func TestPlansAreOfTheOrderOfPractice(t *testing.T) {
	t.Parallel()
	for _, in := range []Input{leaf(t), woody(t), cone(t)} {
		p := made(t, in)
		low, high := p.Common.Low, p.Common.High+p.Common.Extra
		assert.Greater(t, p.Total, low*8/10, in.Moulds[0].Name)
		assert.Less(t, p.Total, high*15/10, in.Moulds[0].Name)
	}
}

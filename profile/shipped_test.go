package profile

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Char reduces calcium sulfate noticeably from about 700 to 750 °C, so every
// shipped profile carries this ceiling: common practice, no source.
const ceilingC = 735

func TestShipped(t *testing.T) {
	assert.Equal(t, []string{"demo-woody-pods", "fast", "kiln-step-test", "long-holds", "reheat", "slow", "steep"}, Shipped())
	for _, name := range Shipped() {
		t.Run(name, func(t *testing.T) {
			text, err := ShippedText(name)
			require.NoError(t, err)
			p, err := Parse(text)
			require.NoError(t, err)
			assert.LessOrEqual(t, p.CeilingC, float64(ceilingC))
			assert.Empty(t, Unroll(p, Outlook{StartC: 20, MaxC: 1000}).Problems)
		})
	}
	_, err := ShippedText("slwo")
	assert.EqualError(t, err, `no shipped profile "slwo"; there are demo-woody-pods, fast, kiln-step-test, long-holds, reheat, slow, steep`)
}

// The demo shows all holds that a mould ends, and is told how long each takes:
// ramps by hand, then the holds.
func TestShippedDemo(t *testing.T) {
	text, err := ShippedText("demo-woody-pods")
	require.NoError(t, err)
	p, err := Parse(text)
	require.NoError(t, err)
	open := map[Until]bool{}
	tl := Unroll(p, Outlook{StartC: 20, Hold: func(s Step) time.Duration { open[s.Until] = true; return 0 }})
	assert.Equal(t, map[Until]bool{UntilDry: true, UntilCore: true, UntilClear: true}, open)
	assert.InDelta(t, 120+114+140+108+(120+15+120+30), tl.Total.Minutes(), 1e-6, "at the least")
	assert.Equal(t, 540.0, tl.Segments[len(tl.Segments)-1].ToC, "ends at pour temperature")
}

// By hand, from 20 °C: the ramps' spans over their rates plus the holds.
func TestShippedLengths(t *testing.T) {
	for name, minutes := range map[string]float64{
		"slow": 130 + 120 + 176 + 120 + 210 + 240 + 108 + 90,
		"fast": 52 + 45 + 60 + 45 + 70 + 120 + 60 + 30,
	} {
		text, err := ShippedText(name)
		require.NoError(t, err)
		p, err := Parse(text)
		require.NoError(t, err)
		tl := Unroll(p, Outlook{StartC: 20})
		assert.InDelta(t, minutes, tl.Total.Minutes(), 1e-6, name)
		assert.Equal(t, 540.0, tl.Segments[len(tl.Segments)-1].ToC, "ends at pour temperature")
	}
	assert.Equal(t, 90*time.Minute, one(t, "hold 1 1/2 h").For)
}

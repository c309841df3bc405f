package kiln_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/sim/kiln"
	"calx/sim/quantity"
)

// A kiln that is written is the same kiln when it is read, to the last bit,
// whatever its figures are.
func TestTextIsReadBackBitForBit(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		p := anyKiln(r, t)
		by := func(name string) float64 { return rapid.Float64Range(0.7, 1.4).Draw(r, name) }
		ratio := func(name string) *quantity.Ratio { v := quantity.Ratio(by(name)); return &v }
		p.Walls = append([]kiln.Layer(nil), p.Walls...)
		for i := range p.Walls {
			p.Walls[i].Conducts, p.Walls[i].ConductsHot, p.Walls[i].Holds = ratio("conducts"), ratio("hot"), ratio("holds")
		}
		p.Load.Mass *= quantity.Mass(by("mass"))
		p.Shell.Bridges *= quantity.Conductance(by("bridges"))
		p.Air.Leakage *= quantity.Frequency(by("leakage"))
		p.Probe.InnerLag *= quantity.Duration(by("lag"))
		p.Elements.Ageing = quantity.Fraction(rapid.Float64Range(0, 0.2).Draw(r, "ageing"))
		p.Fitted = &kiln.Fitted{When: "2026-11-25", Firings: []string{"firing 3: # odd \"name\"", "yes"}, Residual: 0.4, Doubt: 0.02}
		text, err := p.Text([]string{"a head\nin two lines"}, map[string]string{"load.mass": "was 6 kg\n- not: yaml", "walls[0].conducts": "± 3 %", "no.such": "x"})
		require.NoError(t, err)
		back, err := kiln.Load("k.yaml", text)
		require.NoError(t, err, "%s", text)
		require.Equal(t, p, back)
	})
}

// What people write into a text may be what YAML means something by.
func TestTextKeepsWhatPeopleWrote(t *testing.T) {
	p := load(t, "bench-9l-brick")
	for _, s := range []string{"", "\t", "a\tb", "\n", "\n a", "a\r\nb\n", "? a", "- a", "a: b", "a # b", "yes", "1e5", "\u0085\u2028\ufeff", "a\x00", `"\a"`} {
		p.About, p.Fitted = s, &kiln.Fitted{When: s, Firings: []string{s, "b"}}
		text, err := p.Text(nil, nil)
		require.NoError(t, err)
		back, err := kiln.Load("k.yaml", text)
		if assert.NoError(t, err, "%q:\n%s", s, text) {
			assert.Equal(t, p, back, "%q", s)
		}
	}
}

func TestTextIsForPeople(t *testing.T) {
	p := load(t, "bench-9l-brick")
	text, err := p.Text([]string{"Fitted."}, map[string]string{"load.mass": "was 6 kg"})
	require.NoError(t, err)
	assert.True(t, strings.HasPrefix(string(text), "# Fitted.\nname: bench-9l-brick\n"), "%s", text)
	assert.Contains(t, string(text), "  mass: 6.5 kg # was 6 kg\n")
	assert.Contains(t, string(text), "  rated: 2.4 kW\n")
	p.Load.Mass = 0
	_, err = p.Text(nil, nil)
	assert.ErrorContains(t, err, "load.mass")
}

package pieces

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Intervals for the equivalent minutes to clear, as factors on those of the
// pull. The shares of X follow the shrinking core under supply control, where
// burn-off goes with time (Levenspiel, Chemical Reaction Engineering, 3rd ed.,
// ch. 25, from memory); the widths are this package's own.
func TestWhatABrokenPieceSays(t *testing.T) {
	inf := math.Inf(1)
	base := Pull{Kind: stem, SectionM: 0.010, History: Soak(700, time.Hour)}
	for _, c := range []struct {
		name   string
		set    func(*Pull)
		lo, hi float64
	}{
		{"raw", func(p *Pull) { p.State = Raw }, 5, inf},
		{"charred", func(p *Pull) { p.State = Charred }, 5, inf},
		{"char core", func(p *Pull) { p.State = CharCore }, 1, 5},
		{"core of 7.07 mm, half burnt", func(p *Pull) { p.State, p.CoreM = CharCore, 0.010*math.Sqrt(0.5) }, 1 / 0.65, 1 / 0.35},
		{"core of 2 mm", func(p *Pull) { p.State, p.CoreM = CharCore, 0.002 }, 1, 1 / 0.81},
		{"core of 9.8 mm", func(p *Pull) { p.State, p.CoreM = CharCore, 0.0098 }, 1 / (1 - 0.98*0.98 + 0.15), 20},
		{"ash", func(p *Pull) { p.State = Ash }, 0, 1},
		{"clear", func(p *Pull) { p.State = Clear }, 0, 1},
	} {
		p := base
		c.set(&p)
		require.NoError(t, p.check(0))
		l := p.looks(dose{}, woody)
		require.Len(t, l, 1, c.name)
		assert.InDelta(t, c.lo, math.Exp(l[0].lo), 1e-9, c.name)
		if math.IsInf(c.hi, 1) {
			assert.Equal(t, c.hi, l[0].hi, c.name)
		} else {
			assert.InDelta(t, c.hi, math.Exp(l[0].hi), 1e-9, c.name)
		}
	}
}

// A piece of 4 g of wood leaves 1.02 g of char and 0.04 g of ash.
func TestAWeighedResidueSaysHowMuchIsBurnt(t *testing.T) {
	p := Pull{Kind: stem, SectionM: 0.012, State: CharCore, DryKg: 0.004, History: Soak(700, time.Hour)}
	p.ResidueKg = 0.00004 + 0.5*0.00102 // half of the char is left
	l := p.looks(dose{}, woody)
	require.Len(t, l, 2)
	assert.InDelta(t, 1/0.75, math.Exp(l[1].lo), 1e-9)
	assert.InDelta(t, 1/0.25, math.Exp(l[1].hi), 1e-9)
	p.ResidueKg = 0.00004 // ash alone
	l = p.looks(dose{}, woody)
	assert.Equal(t, math.Inf(-1), l[1].lo)
	assert.InDelta(t, 1/0.85, math.Exp(l[1].hi), 1e-9)
	p.ResidueKg = 0.00106 // all the char
	l = p.looks(dose{}, woody)
	assert.Equal(t, math.Inf(1), l[1].hi)
	assert.InDelta(t, 1/0.35, math.Exp(l[1].lo), 1e-9)

	p.ResidueKg = 0.00004 + 0.2*0.00102
	weighed, looked := p, p
	looked.ResidueKg = 0
	a, b := mustFit(t, DefaultPrior(), weighed), mustFit(t, DefaultPrior(), looked)
	assert.Less(t, mustHold(t, a, stem, 0.012, 0.5).ratio(), mustHold(t, b, stem, 0.012, 0.5).ratio(), "a weight adds to the look")
}

func TestErrorsNameFieldValueAndRange(t *testing.T) {
	good := isothermal(0.012, CharCore, 300, 700)
	good.Piece = "p3"
	for _, c := range []struct {
		set  func(*Pull)
		want string
	}{
		{func(p *Pull) { p.SectionM = 0.9 }, "pieces: pull 1 (p3): section 900 mm is outside 0.2 to 300 mm"},
		{func(p *Pull) { p.SectionM = math.NaN() }, "section NaN mm is outside 0.2 to 300 mm"},
		{func(p *Pull) { p.Kind.Material = " " }, "give it a name of 1 to 40"},
		{func(p *Pull) { p.State = 9 }, "state 9 is not known; it is one of raw, charred, char core, ash, clear"},
		{func(p *Pull) { p.State, p.CoreM = Ash, 0.003 }, "core 3 mm given, but the piece is ash"},
		{func(p *Pull) { p.CoreM = 0.013 }, "core 13 mm is outside 0 to the section of 12 mm"},
		{func(p *Pull) { p.ResidueKg = 0.001 }, "dry mass 0 g is outside 0 to 10000 g; a residue needs it"},
		{func(p *Pull) { p.ResidueKg, p.DryKg = 0.005, 0.004 }, "residue 5 g is outside 0 to the dry mass of 4 g"},
		{func(p *Pull) { p.History = nil }, "history of 0 samples has no length"},
		{func(p *Pull) { p.History = Soak(1400, time.Hour) }, "history sample 1: 1400 °C is outside -50 to 1300 °C"},
		{func(p *Pull) { p.History = []Sample{{time.Hour, 20, 0}, {0, 20, 0}} }, "history sample 2: 0s comes after 1h0m0s"},
		{func(p *Pull) { p.History = []Sample{{0, 20, 21}, {1, 20, 21}} }, "oxygen 21 is outside 0 to 1 (mole fraction)"},
	} {
		p := good
		c.set(&p)
		post, err := Fit(DefaultPrior(), []Pull{p})
		assert.ErrorContains(t, err, c.want)
		assert.Nil(t, post)
	}
	twice := []Pull{good, good}
	twice[0].SectionM, twice[1].CoreM = 0, 0.5
	_, err := Fit(DefaultPrior(), twice)
	assert.ErrorContains(t, err, "section 0 mm", "all problems at once")
	assert.ErrorContains(t, err, "core 500 mm")

	bad := DefaultPrior()
	bad.Misread = 1
	_, err = Fit(bad, nil)
	assert.ErrorContains(t, err, "prior misread 1 is outside 0 to 0.3")
	bad = DefaultPrior()
	bad.Pooling.Flask = 0.9
	_, err = Fit(bad, nil)
	assert.ErrorContains(t, err, "prior pooling share 1.3 is outside 0 to 1")

	_, err = ParseState("burnt")
	assert.EqualError(t, err, `pieces: state "burnt" is none of raw, charred, char core, ash, clear`)

	contrary := []Pull{isothermal(0.01, Charred, 300, 700), isothermal(0.01, Ash, 200, 700)}
	contrary[0].Piece, contrary[1].Piece = "p", "p"
	_, err = Fit(exact(), contrary)
	assert.ErrorContains(t, err, "contradict each other")
	_, err = Fit(DefaultPrior(), contrary)
	assert.NoError(t, err, "misreading explains it")
}

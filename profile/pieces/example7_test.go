package pieces

import (
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// isothermal is a pull of a woody stem after minutes at tempC.
func isothermal(d float64, s State, minutes, tempC float64) Pull {
	return Pull{Kind: stem, SectionM: d, State: s, History: Soak(tempC, mins(minutes))}
}

var stem = Kind{Material: "woody stem", Flask: "plug", Sprue: "none"}

func mins(m float64) time.Duration { return time.Duration(m * float64(time.Minute)) }

// exact is the default prior without misreading and firing error.
func exact() Prior {
	p := DefaultPrior()
	p.Misread, p.FiringSD = 0, 0
	return p
}

// seven is the fixed example: seven pieces and what an independent program (a
// prototype in another language, same formulas) made of them.
type seven struct {
	Rows     []json.RawMessage  `json:"rows"`
	LogLik   float64            `json:"loglik_at_prior_mean"`
	Map      []float64          `json:"map"` // a, n, E, log σ
	SD       []float64          `json:"laplace_sd"`
	PClear   map[string]float64 `json:"p_clear"`
	HoldMin  map[string]float64 `json:"hold_min"`
	NextPull struct {
		Grid        []float64 `json:"grid"`
		ExpectedVar []float64 `json:"expected_var"`
		Now         float64   `json:"now"`
	} `json:"next_pull"`
}

func readSeven(t testing.TB) (seven, []Pull) {
	body, err := os.ReadFile("testdata/aft_example.json")
	require.NoError(t, err)
	var file struct {
		Example seven `json:"example"`
	}
	require.NoError(t, json.Unmarshal(body, &file))
	var pulls []Pull
	for _, raw := range file.Example.Rows {
		var d, minutes, kelvin float64
		var state string
		require.NoError(t, json.Unmarshal(raw, &[]any{&d, &state, &minutes, &kelvin}))
		s, err := ParseState(state)
		require.NoError(t, err)
		pulls = append(pulls, isothermal(d, s, minutes, kelvin-zeroC))
	}
	return file.Example, pulls
}

func TestSevenPieces(t *testing.T) {
	want, pulls := readSeven(t)
	p, err := Fit(exact(), pulls)
	require.NoError(t, err)
	m := p.model
	got := m.logLikelihood(m.params(make([]float64, m.size())))
	t.Logf("log likelihood at the prior mean %.7f, published %.7f", got, want.LogLik)
	assert.InDelta(t, want.LogLik, got, 1e-9)

	q := m.params(p.mode.at)
	mode := []float64{q.level[0], q.size, q.energyKJ, math.Log(q.scatter)}
	t.Logf("mode a, n, E, log σ %.5f, published %.5f; effective share %.3f", mode, want.Map, p.ess)
	units := []float64{0.3, 10, 0.4, 0.6} // prior sd of n, E, log σ, a
	se := standardErrors(p.mode)
	sd := []float64{se[3] * units[3], se[0] * units[0], se[1] * units[1], se[2] * units[2]}
	for i := range mode {
		assert.InDelta(t, want.Map[i], mode[i], 1e-3, "mode %d", i)
		assert.InEpsilon(t, want.SD[i], sd[i], 1e-3, "Laplace sd %d", i)
	}
	assert.Greater(t, p.ess, 0.7)

	part := Part{Kind: stem, SectionM: 0.012}
	for at, c := range want.PClear {
		minutes, err := strconv.ParseFloat(at, 64)
		require.NoError(t, err)
		got, err := p.PClear(part, Soak(700, mins(minutes)))
		require.NoError(t, err)
		t.Logf("P(clear) at %s min: %.4f, published %.4f", at, got, c)
		assert.InDelta(t, c, got, 0.015, "P(clear) at %s min", at)
	}
	for chance, minutes := range want.HoldMin {
		c, err := strconv.ParseFloat(chance, 64)
		require.NoError(t, err)
		h, err := p.Hold(Goal{Part: part, Chance: c, TempC: 700})
		require.NoError(t, err)
		t.Logf("hold for %s: %.1f min (%.0f to %.0f), published %.1f", chance, h.Time.Minutes(), h.Low.Minutes(), h.High.Minutes(), minutes)
		assert.InEpsilon(t, minutes, h.Time.Minutes(), 0.03, "hold for %s", chance)
	}
	nextOfSeven(t, p, want)
}

func nextOfSeven(t *testing.T, p *Posterior, want seven) {
	g := Goal{Part: Part{Kind: stem, SectionM: 0.012}, Chance: 0.95, TempC: 700}
	var tests []Test
	for _, m := range want.NextPull.Grid {
		tests = append(tests, Test{stem, 0.012, Soak(700, mins(m))})
	}
	x, weight := p.aims(g)
	t.Logf("variance now %.5f, published %.5f", spreadOf(weight, x), want.NextPull.Now)
	assert.InEpsilon(t, want.NextPull.Now, spreadOf(weight, x), 0.1)
	for i, q := range tests {
		v, _ := p.outcomes(q).expected(weight, x)
		t.Logf("expected variance after a pull at %v: %.5f, published %.5f", q.History[1].Since, v, want.NextPull.ExpectedVar[i])
		assert.InEpsilon(t, want.NextPull.ExpectedVar[i], v, 0.1)
	}
	gains, err := p.Next(g, tests)
	require.NoError(t, err)
	assert.Equal(t, 420*time.Minute, gains[0].At, "best next pull")
}

// One more 12 mm piece on one char core at 180 min, 700 °C: median and 95 % hold
// of the same independent program, within 3 %.
func TestOneMorePieceMovesTheHold(t *testing.T) {
	for _, c := range []struct {
		name        string
		more        []Pull
		median, p95 float64
	}{
		{"nothing", nil, 330, 778},
		{"ash at 200", []Pull{isothermal(0.012, Ash, 200, 700)}, 199, 410},
		{"char core at 400", []Pull{isothermal(0.012, CharCore, 400, 700)}, 501, 969},
		{"charred at 200", []Pull{isothermal(0.012, Charred, 200, 700)}, 770, 1506},
	} {
		p, err := Fit(exact(), append([]Pull{isothermal(0.012, CharCore, 180, 700)}, c.more...))
		require.NoError(t, err)
		g := Goal{Part: Part{Kind: stem, SectionM: 0.012}, Chance: 0.5, TempC: 700}
		half, err := p.Hold(g)
		require.NoError(t, err)
		g.Chance = 0.95
		most, err := p.Hold(g)
		require.NoError(t, err)
		t.Logf("%-16s median %.0f (%.0f), 95 %% %.0f (%.0f) min", c.name, half.Time.Minutes(), c.median, most.Time.Minutes(), c.p95)
		assert.InEpsilon(t, c.median, half.Time.Minutes(), 0.03, c.name)
		assert.InEpsilon(t, c.p95, most.Time.Minutes(), 0.03, c.name)
	}
}

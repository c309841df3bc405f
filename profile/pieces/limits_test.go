package pieces

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func mustFit(t testing.TB, prior Prior, pulls ...Pull) *Posterior {
	p, err := Fit(prior, pulls)
	require.NoError(t, err)
	return p
}

func mustHold(t testing.TB, p *Posterior, k Kind, section, chance float64) Hold {
	h, err := p.Hold(Goal{Part: Part{Kind: k, SectionM: section}, Chance: chance, TempC: 700})
	require.NoError(t, err)
	return h
}

// Without evidence the answer is the prior: at 10 mm and 700 °C log t is normal
// given σ, so the median is 200 min, and the range of the median is 200 min times
// exp(±1.96 × 0.6).
func TestNoEvidenceIsThePrior(t *testing.T) {
	p := mustFit(t, DefaultPrior())
	h := mustHold(t, p, stem, 0.010, 0.5)
	assert.InEpsilon(t, 200, h.Time.Minutes(), 0.01)
	assert.InEpsilon(t, 200*math.Exp(-1.96*0.6), h.Low.Minutes(), 0.03)
	assert.InEpsilon(t, 200*math.Exp(1.96*0.6), h.High.Minutes(), 0.03)
	h = mustHold(t, p, stem, 0.020, 0.5)
	assert.InEpsilon(t, 200*math.Pow(2, 1.8), h.Time.Minutes(), 0.01)
	spread := math.Sqrt(0.6*0.6 + math.Pow(0.3*math.Ln2, 2))
	assert.InEpsilon(t, math.Pow(2, 1.8)*200*math.Exp(1.96*spread), h.High.Minutes(), 0.03)
}

// readSimulated reads the 200 simulated pieces.
func readSimulated(t testing.TB) []Pull {
	f, err := os.Open("testdata/simulated200.csv")
	require.NoError(t, err)
	defer f.Close()
	var pulls []Pull
	for s := bufio.NewScanner(f); s.Scan(); {
		cell := strings.Split(s.Text(), ",")
		var d, tempC, minutes float64
		if _, err := fmt.Sscan(strings.Join(cell[:min(3, len(cell))], " "), &d, &tempC, &minutes); err != nil {
			continue // comment or heading
		}
		state, err := ParseState(cell[3])
		require.NoError(t, err)
		pulls = append(pulls, isothermal(d/1000, state, minutes, tempC))
	}
	require.Len(t, pulls, 200)
	return pulls
}

// With 200 pieces and next to no prior the mode is the maximum of the
// likelihood. Estimates: survreg of the survival package 3.5-3 for R 4.2.2, run
// on the same file: log likelihood -61.467907; a 5.464055, n 1.789821, E
// 6.108054, log σ -1.290145; standard errors 0.039, 0.081, 8.89, 0.123. The gate,
// which survreg has not, moves E by a tenth of its standard error at most.
func TestMuchEvidenceIsTheData(t *testing.T) {
	pulls := readSimulated(t)
	vague := exact()
	vague.LogMinutes.SD, vague.Size.SD, vague.EnergyKJ.SD, vague.LogScatter.SD = 5, 3, 20, 2
	m, err := newModel(vague, pulls)
	require.NoError(t, err)
	top, err := climb(func(u []float64) float64 { return m.logLikelihood(m.params(u)) }, make([]float64, m.size()))
	require.NoError(t, err)
	q := m.params(top.at)
	t.Logf("log likelihood %.6f; a %.6f, n %.6f, E %.6f, log σ %.6f", m.logLikelihood(q), q.level[0], q.size, q.energyKJ, math.Log(q.scatter))
	assert.InDelta(t, -61.467907, m.logLikelihood(q), 2e-3)
	assert.InDelta(t, 5.464055, q.level[0], 2e-3)
	assert.InDelta(t, 1.789821, q.size, 2e-3)
	assert.InDelta(t, 6.108054, q.energyKJ, 0.5)
	assert.InDelta(t, -1.290145, math.Log(q.scatter), 2e-3)

	// With the usual prior and 200 pieces, the answers are those of the data.
	p := mustFit(t, DefaultPrior(), pulls...)
	h := mustHold(t, p, stem, 0.012, 0.95)
	likely := math.Exp(5.464055 + 1.789821*math.Log(1.2) + 1.644854*math.Exp(-1.290145))
	t.Logf("95 %% hold %.0f min (%.0f to %.0f), by maximum likelihood %.0f", h.Time.Minutes(), h.Low.Minutes(), h.High.Minutes(), likely)
	assert.InEpsilon(t, likely, h.Time.Minutes(), 0.03)
	assert.Less(t, h.High.Minutes()/h.Low.Minutes(), 1.4)
}

// P(clear) never falls with time and never rises with section.
func TestClearGrowsWithTimeAndFallsWithSection(t *testing.T) {
	_, pulls := readSeven(t)
	p := mustFit(t, DefaultPrior(), pulls...)
	for _, k := range []Kind{stem, {Material: "cone", Flask: "steel flask"}} {
		before := 0.0
		for m := 5.0; m < 3000; m *= 1.2 {
			c, err := p.PClear(Part{Kind: k, SectionM: 0.012}, Soak(700, mins(m)))
			require.NoError(t, err)
			assert.GreaterOrEqual(t, c, before, "%v min", m)
			before = c
		}
		before = 1.0
		for d := 0.002; d < 0.1; d *= 1.2 {
			c, err := p.PClear(Part{Kind: k, SectionM: d}, Soak(700, 5*time.Hour))
			require.NoError(t, err)
			assert.LessOrEqual(t, c, before, "%v m", d)
			before = c
		}
	}
}

// The sampler against the grid: two methods that share only the posterior.
func TestSamplingAgreesWithTheGrid(t *testing.T) {
	_, pulls := readSeven(t)
	p := mustFit(t, DefaultPrior(), pulls...)
	grid := &Posterior{model: p.model}
	grid.keep(p.model.onGrid(p.mode.at, drawn, seeded()))
	for _, chance := range []float64{0.5, 0.9, 0.95, 0.99} {
		a, b := mustHold(t, p, stem, 0.012, chance), mustHold(t, grid, stem, 0.012, chance)
		t.Logf("%v: sampled %.0f (%.0f to %.0f), grid %.0f (%.0f to %.0f)", chance,
			a.Time.Minutes(), a.Low.Minutes(), a.High.Minutes(), b.Time.Minutes(), b.Low.Minutes(), b.High.Minutes())
		assert.InEpsilon(t, b.Time.Minutes(), a.Time.Minutes(), 0.02)
		assert.InEpsilon(t, b.Low.Minutes(), a.Low.Minutes(), 0.05)
		assert.InEpsilon(t, b.High.Minutes(), a.High.Minutes(), 0.05)
	}
}

// Pieces that contradict the prior by far more than it allows: the answer must
// follow them, and say that they disagree or that it trusts itself.
func TestPriorFarFromThePieces(t *testing.T) {
	var pulls []Pull
	for i := range 8 {
		pulls = append(pulls, isothermal(0.010, CharCore, 6000+500*float64(i), 700), isothermal(0.010, Ash, 14000+500*float64(i), 700))
	}
	p := mustFit(t, DefaultPrior(), pulls...)
	h := mustHold(t, p, stem, 0.010, 0.5)
	t.Logf("%v; %v (%v to %v)", p.Basis(stem), h.Time, h.Low, h.High)
	assert.InDelta(t, 11000, h.Time.Minutes(), 2500)
}

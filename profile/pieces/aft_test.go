package pieces

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Further distributions for the same likelihood: the standard smallest extreme
// value (Weibull times) and the standard logistic (log-logistic times).
type (
	extreme  struct{}
	logistic struct{}
)

func (extreme) logSurvival(z float64) float64  { return -math.Exp(z) }
func (extreme) logCDF(z float64) float64       { return log1mExp(-math.Exp(z)) }
func (logistic) logCDF(z float64) float64      { return -math.Log1p(math.Exp(-z)) }
func (logistic) logSurvival(z float64) float64 { return -math.Log1p(math.Exp(z)) }

// interval of log T, with its covariates.
type interval struct {
	lo, hi float64
	x      []float64
}

// readIntervals reads columns left, right (empty is open) and covariates.
func readIntervals(t testing.TB, name string) []interval {
	f, err := os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	var out []interval
	for _, row := range rows[1:] {
		in := interval{lo: math.Inf(-1), hi: math.Inf(1)}
		for i, cell := range row {
			if strings.TrimSpace(cell) == "" {
				continue
			}
			v, err := strconv.ParseFloat(cell, 64)
			require.NoError(t, err)
			switch i {
			case 0:
				in.lo = math.Log(v)
			case 1:
				in.hi = math.Log(v)
			default:
				in.x = append(in.x, v)
			}
		}
		out = append(out, in)
	}
	return out
}

// logLikelihoodAFT of a, b..., log σ over intervals, by the code that the
// pieces go through. With fixed >= 0 the scale is that.
func logLikelihoodAFT(d noise, obs []interval, fixed float64) func([]float64) float64 {
	return func(b []float64) float64 {
		sigma := fixed
		if fixed < 0 {
			sigma = math.Exp(b[len(b)-1])
		}
		sum := 0.0
		for _, o := range obs {
			mu := b[0]
			for j, x := range o.x {
				mu += b[j+1] * x
			}
			sum += logBetween(d, o.lo, o.hi, mu, sigma)
		}
		return sum
	}
}

// Data: Finkelstein & Wolfe, Biometrics 41 (1985) 933, in testdata. Estimates:
// survreg of the survival package 3.5-3 for R 4.2.2 (Surv type "interval2"),
// run on the same file. The Weibull fit of the 18,26 version is also published:
// Stata survival manual, entry stintreg, log likelihood -143.19228, hazard ratio
// 2.498526, ln p 0.4785786, standard error of ln p 0.1198972 (from memory, and
// met in every digit).
func TestCosmesisFitsAsPublished(t *testing.T) {
	const free = -1
	for _, c := range []struct {
		name  string
		noise noise
		fixed float64
		left  float64 // of the pair that differs
		logL  float64
		want  []float64
		se    []float64
	}{
		{"exponential", extreme{}, 1, 19, -149.866356, []float64{4.118560, -0.741581}, []float64{0.218397, 0.276889}},
		{"weibull", extreme{}, free, 19, -143.320827, []float64{3.899276, -0.567551, -0.479101}, []float64{0.140530, 0.175730, 0.119892}},
		{"lognormal", gauss{}, free, 19, -146.622332, []float64{3.547875, -0.421000, -0.125403}, []float64{0.154168, 0.203190, 0.109490}},
		{"log-logistic", logistic{}, free, 19, -145.585062, []float64{3.609245, -0.487307, -0.693904}, []float64{0.151080, 0.195127, 0.120833}},
		{"exponential", extreme{}, 1, 18, -149.724523, []float64{4.118156, -0.741177}, []float64{0.218399, 0.276891}},
		{"weibull", extreme{}, free, 18, -143.192281, []float64{3.899163, -0.567426, -0.478579}, []float64{0.140599, 0.175814, 0.119897}},
		{"lognormal", gauss{}, free, 18, -146.480503, []float64{3.547274, -0.420360, -0.125163}, []float64{0.154203, 0.203237, 0.109494}},
		{"log-logistic", logistic{}, free, 18, -145.452337, []float64{3.608591, -0.486605, -0.693365}, []float64{0.151197, 0.195253, 0.120821}},
	} {
		obs := readIntervals(t, "testdata/cosmesis.csv")
		require.Len(t, obs, 94)
		for i, o := range obs {
			if o.lo == math.Log(19) && o.hi == math.Log(26) {
				obs[i].lo = math.Log(c.left)
			}
		}
		f := logLikelihoodAFT(c.noise, obs, c.fixed)
		start := append([]float64{3.5}, make([]float64, len(c.want)-1)...)
		top, err := climb(f, start)
		require.NoError(t, err)
		t.Logf("%-12s %v,26: logL %.6f %.6f; estimates %.6f %.6f", c.name, c.left, f(top.at), c.logL, top.at, c.want)
		assert.InDelta(t, c.logL, f(top.at), 1e-5, "%s %v: log likelihood", c.name, c.left)
		for i, s := range standardErrors(top) {
			assert.InDelta(t, c.want[i], top.at[i], 1e-5, "%s %v: estimate %d", c.name, c.left, i)
			assert.InDelta(t, c.se[i], s, 1e-4, "%s %v: standard error %d", c.name, c.left, i)
		}
		if c.name == "weibull" && c.left == 18 {
			shape := math.Exp(-top.at[2])
			assert.InDelta(t, -143.19228, f(top.at), 1e-5)
			assert.InDelta(t, 2.498526, math.Exp(-top.at[1]*shape), 1e-5, "hazard ratio")
			assert.InDelta(t, 0.4785786, -top.at[2], 1e-6, "ln p")
			assert.InDelta(t, 0.1198972, standardErrors(top)[2], 1e-5, "standard error of ln p")
		}
	}
}

// standardErrors from the curvature at a maximum.
func standardErrors(p peak) []float64 {
	s := p.spread()
	out := make([]float64, len(p.at))
	for i := range out {
		for j := range out {
			out[i] += s.At(i, j) * s.At(i, j)
		}
		out[i] = math.Sqrt(out[i])
	}
	return out
}

// Tail values: Abramowitz & Stegun, table 26.2 (-log10 Q(x)): 5 6.54265,
// 10 23.11805, 20 88.56010, 40 349.43701.
func TestNormalTails(t *testing.T) {
	for x, want := range map[float64]float64{5: 6.54265, 10: 23.11805, 20: 88.56010, 40: 349.43701} {
		assert.InDelta(t, -want, gauss{}.logCDF(-x)/math.Ln10, 1e-5, "log10 Q(%v)", x)
		assert.InDelta(t, -want, gauss{}.logSurvival(x)/math.Ln10, 1e-5, "log10 Q(%v)", x)
	}
	assert.InDelta(t, 0.0, gauss{}.logCDF(-36.999)-gauss{}.logCDF(-37.001)-37*0.002, 1e-4, "no step where the series takes over")
	assert.InDelta(t, math.Log(0.1359051), logBetween(gauss{}, 1, 2, 0, 1), 1e-6, "A&S table 26.1: P(2) - P(1)")
	assert.InDelta(t, logBetween(gauss{}, -31, -30, 0, 1), logBetween(gauss{}, 30, 31, 0, 1), 1e-9, "both tails alike")
	assert.Equal(t, math.Inf(-1), logBetween(gauss{}, 2, 2, 0, 1), "an empty interval")
}

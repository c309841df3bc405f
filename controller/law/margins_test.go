package law

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
)

// Loops whose margins are published: a first-order and an integrating process
// with dead time 1 under a PI controller by the SIMC rule with the closed-loop
// time constant equal to the dead time (Skogestad, J. Process Control 13 (2003)
// 291, table of robustness margins; figures from memory), and three equal lags,
// whose figures follow by hand: phase -180° at ω = √3, |L| = 1 at
// ω² = 4^(2/3) - 1.
func TestMarginsOfPublishedLoops(t *testing.T) {
	s := func(w float64) complex128 { return complex(0, w) }
	for _, c := range []struct {
		name                   string
		loop                   func(w float64) complex128
		gain, phase, delay, ms float64
	}{
		{"first order, SIMC", func(w float64) complex128 { return cmplx.Exp(-s(w)) / (2 * s(w)) }, 3.14, 61.4, 2.14, 1.59},
		{"integrating, SIMC", func(w float64) complex128 { return (8*s(w) + 1) / (8 * s(w)) * cmplx.Exp(-s(w)) / (2 * s(w)) }, 2.96, 46.9, 1.59, 1.70},
		{"three lags", func(w float64) complex128 { return 4 / cmplx.Pow(1+s(w), 3) }, 2, 27.1, 0.384, 0},
	} {
		m := marginsOf(c.loop, 100)
		assert.InDelta(t, c.gain, m.GainUp, 0.006, c.name)
		assert.Zero(t, m.GainDown, c.name)
		assert.InDelta(t, c.phase, m.PhaseDeg, 0.06, c.name)
		assert.InDelta(t, c.delay, m.DelayS, 0.006, c.name)
		if c.ms != 0 {
			assert.InDelta(t, c.ms, m.Peak, 0.006, c.name)
		}
	}
}

// A loop that needs its gain: k (s+0.1) / (s (s-1)) is stable above k = 1, where
// its characteristic polynomial s² + (k-1) s + 0.1 k loses its damping; at
// k = 2, |L| = 1 at ω² = 3.0133.
func TestMarginDown(t *testing.T) {
	m := marginsOf(func(w float64) complex128 {
		s := complex(0, w)
		return 2 * (s + 0.1) / (s * (s - 1))
	}, 1e6)
	assert.InDelta(t, 0.5, m.GainDown, 1e-6)
	w := math.Sqrt(3.0133)
	assert.InDelta(t, math.Atan(10*w)+math.Atan(w)-math.Pi/2, m.PhaseDeg*math.Pi/180, 1e-4)
	assert.InDelta(t, m.PhaseDeg*math.Pi/180/w, m.DelayS, 1e-4)
}

// Eigenvalues know nothing of frequency responses: just inside the margins the
// loop is stable, just outside it is not.
func TestMarginsAreWhereTheLoopBeginsToSwing(t *testing.T) {
	for _, period := range []float64{0.25, 1, 5} {
		l, err := New(benchPlant(), Options{PeriodS: period})
		require.NoError(t, err)
		for i, m := range l.Margins() {
			g := &l.grid[i]
			stronger := func(k float64) float64 {
				b := g.b
				for j := range b {
					b[j] *= k
				}
				return spectralRadius(closedLoop(g, l.states, g.a, b))
			}
			require.Greater(t, m.GainUp, 1.0)
			assert.Less(t, stronger(0.99*m.GainUp), 1.0, "%g °C every %g s", m.TempC, period)
			assert.Greater(t, stronger(1.01*m.GainUp), 1.0, "%g °C every %g s", m.TempC, period)
			assert.Zero(t, m.GainDown)
			assert.Less(t, stronger(1e-3), 1.0, "a kiln that hardly heats is followed badly, and calmly")
			late := m.DelayS / period
			assert.Less(t, spectralRadius(delayed(g, l.states, int(math.Floor(late)))), 1.0, "%g °C every %g s", m.TempC, period)
			assert.Greater(t, spectralRadius(delayed(g, l.states, int(math.Floor(late))+1)), 1.0, "%g °C every %g s", m.TempC, period)
		}
	}
}

// delayed is closedLoop with n periods between the duty asked for and the
// plant.
func delayed(g *gains, states, n int) *mat.Dense {
	free := mat.NewDense(2*states+2, 2*states+2, nil)
	for i := range states {
		for j := range states {
			free.Set(i, j, g.a[i][j])
		}
	}
	size := 2*states + 2 + n
	out := mat.NewDense(size, size, nil)
	for j := range size {
		s := make([]float64, size)
		s[j] = 1
		next, duty := g.tick(states, s[states:2*states+2], s[states-1])
		acts := duty
		if n > 0 {
			acts = s[size-1]
			for k := 2*states + 2; k < size-1; k++ {
				out.Set(k+1, j, s[k])
			}
			out.Set(2*states+2, j, duty)
		}
		for i := range states {
			v := g.b[i] * acts
			for k := range states {
				v += g.a[i][k] * s[k]
			}
			out.Set(i, j, v)
		}
		for i, v := range next {
			out.Set(states+i, j, v)
		}
	}
	return out
}

// The small-signal form is the law itself, seen near rest.
func TestTickIsTheLaw(t *testing.T) {
	l, err := New(benchPlant(), Options{})
	require.NoError(t, err)
	const at = 1 // of the table
	g := &l.grid[at]
	restC := g.tempC
	var ahead Ahead
	for i := range ahead {
		ahead[i] = restC
	}
	calm := l.Start(restC)
	for range 20000 {
		calm = l.Observe(calm, l.JunctionC(calm))
		calm, _ = l.Decide(calm, &ahead)
		calm = l.Advance(calm, calm.Duty)
	}
	// Two runs side by side, one with a ripple on its readings. The gains change
	// a little along the table.
	const by, tol = 1e-3, 1e-5
	small := make([]float64, l.states+2)
	s := calm
	for k := range 200 {
		y := l.JunctionC(calm)
		ripple := by * math.Sin(float64(k)/5)
		calm = l.Observe(calm, y)
		s = l.Observe(s, y+ripple)
		calm, _ = l.Decide(calm, &ahead)
		s, _ = l.Decide(s, &ahead)
		var duty float64
		small, duty = g.tick(l.states, small, ripple)
		require.InDelta(t, duty, s.Duty-calm.Duty, tol, "duty, tick %d", k)
		calm, s = l.Advance(calm, calm.Duty), l.Advance(s, s.Duty)
		for i := range l.states {
			require.InDelta(t, small[i], s.Mean[i]-calm.Mean[i], tol, "state %d, tick %d", i, k)
		}
	}
}

// stateFeedback is the loop of the feedback alone, as if every store were
// measured, with r and b'Xb of its design.
func stateFeedback(t *testing.T, p Plant, q Point, periodS float64) (loop func(float64) complex128, response func(float64) complex128, r, bxb float64) {
	f, bc, wc := continuous(p, q)
	a, b, _ := discrete(f, bc, wc, periodS)
	az, bz := withIntegrator(a, b)
	n := len(b)
	h := mat.NewDense(n+1, n+1, nil)
	h.Set(n-1, n-1, 1)
	lag := q.ElementLagS + q.ProbeLagS
	tn := defaultTuning
	r = sq(quickness(a, b, lag, periodS)*lag/(tn.bandwidth*tn.bandwidth*tn.bandwidth)) / sq(periodS)
	x, err := riccati(az, bz, r, h)
	require.NoError(t, err)
	var xb, k mat.VecDense
	xb.MulVec(x, bz)
	bxb = mat.Dot(bz, &xb)
	k.MulVec(az.T(), &xb)
	k.ScaleVec(1/(r+bxb), &k)
	l := &loopParts{n: n + 1, a: az, b: bz}
	loop = func(w float64) complex128 { return l.response(w*periodS, k.RawVector().Data) }
	unit := make([]float64, n+1)
	unit[n-1] = 1
	response = func(w float64) complex128 { return l.response(w*periodS, unit) }
	return loop, response, r, bxb
}

type loopParts struct {
	n int
	a *mat.Dense
	b *mat.VecDense
}

func (p *loopParts) response(angle float64, c []float64) complex128 {
	l := &loop{scratchVector: make([]complex128, p.n)}
	rows := make([][]float64, p.n)
	for i := range rows {
		rows[i] = p.a.RawRowView(i)
		l.scratch = append(l.scratch, make([]complex128, p.n))
	}
	return l.response(cmplx.Exp(complex(0, angle)), rows, p.b.RawVector().Data, c, 0)
}

// The return difference of an optimal loop is known beforehand, whatever the
// plant: (r + b'Xb) |1+L|² = r + |G|² on the unit circle, G the response of what
// is weighted (Anderson and Moore 1990, section 5.2, in its discrete form). So
// |1+L| never falls below √(r/(r+b'Xb)) = γ, from which follow the guaranteed
// margins of a sampled LQ regulator: gain from 1/(1+γ) to 1/(1-γ), phase of
// 2 arcsin(γ/2) (Shaked, IEEE Trans. Automatic Control 31 (1986) 162). With
// quick sampling γ goes to 1, and these to the 1/2, ∞ and 60° of continuous
// time.
func TestFeedbackHasTheGuaranteedMargins(t *testing.T) {
	p := benchPlant()
	for _, period := range []float64{0.25, 1, 10} {
		for _, q := range p.Points {
			loop, response, r, bxb := stateFeedback(t, p, q, period)
			for _, w := range []float64{1e-4, 1e-3, 0.01, 0.05, 0.2, math.Pi / period} {
				got := (r + bxb) * math.Pow(cmplx.Abs(1+loop(w)), 2)
				want := r + math.Pow(cmplx.Abs(response(w)), 2)
				require.InEpsilon(t, want, got, 1e-6, "%g °C, every %g s, at %g rad/s", q.TempC, period, w)
			}
			gamma := math.Sqrt(r / (r + bxb))
			m := marginsOf(loop, math.Pi/period)
			assert.LessOrEqual(t, m.Peak, 1/gamma*(1+1e-9))
			assert.GreaterOrEqual(t, m.GainUp, 1/(1-gamma))
			assert.LessOrEqual(t, m.GainDown, 1/(1+gamma))
			assert.GreaterOrEqual(t, m.PhaseDeg, 2*math.Asin(gamma/2)*180/math.Pi)
			if period == 0.25 {
				assert.Greater(t, m.PhaseDeg, 55.0, "nearly that of continuous time")
			}
		}
	}
}

// A law on a plant that it makes unstable has no margins.
func TestNoMarginsWithoutStability(t *testing.T) {
	l, err := New(benchPlant(), Options{})
	require.NoError(t, err)
	for i := range l.grid[1].k {
		l.grid[1].k[i] *= -1
	}
	m := l.Margins()
	assert.Equal(t, Margins{TempC: 300}, m[1])
	assert.NotZero(t, m[0].GainUp)
}

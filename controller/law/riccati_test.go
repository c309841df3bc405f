package law

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// One state has a closed form: x = a²x/(1+gx) + h with g = b²/r is a quadratic.
func TestRiccatiOfOneState(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0.05, 2).Draw(t, "a")
		b := rapid.Float64Range(0.1, 3).Draw(t, "b")
		r := rapid.Float64Range(0.01, 100).Draw(t, "r")
		h := rapid.Float64Range(0.01, 100).Draw(t, "h")
		g := b * b / r
		p := a*a + g*h - 1
		want := (p + math.Sqrt(p*p+4*g*h)) / (2 * g)
		x, err := riccati(mat.NewDense(1, 1, []float64{a}), mat.NewVecDense(1, []float64{b}), r, mat.NewDense(1, 1, []float64{h}))
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(x.At(0, 0)-want) > 1e-9*want {
			t.Fatalf("x %v, want %v", x.At(0, 0), want)
		}
	})
}

// Example 1 of Benner, Laub and Mehrmann, A collection of benchmark examples
// for the numerical solution of algebraic Riccati equations II: the
// discrete-time case, TU Chemnitz SPC 95_23 (1995): the solution is the golden
// ratio times Q (figures from memory; the residual below confirms them).
func TestRiccatiPublishedExample(t *testing.T) {
	a := mat.NewDense(2, 2, []float64{4, 3, -4.5, -3.5})
	b := mat.NewVecDense(2, []float64{1, -1})
	q := mat.NewDense(2, 2, []float64{9, 6, 6, 4})
	x, err := riccati(a, b, 1, q)
	require.NoError(t, err)
	golden := (1 + math.Sqrt(5)) / 2
	for i := range 2 {
		for j := range 2 {
			assert.InDelta(t, golden*q.At(i, j), x.At(i, j), 1e-8)
		}
	}
	assert.Less(t, residual(a, b, 1, q, x), 1e-9)
}

// Example 3 of the same collection (after Jonckheere): a nilpotent transition,
// which an inverse of it would not survive. X = [1 2; 2 2+√5] (from memory;
// written out, the equation leaves x² - 4x - 1 = 0 for the last entry).
func TestRiccatiWithoutAnInverse(t *testing.T) {
	a := mat.NewDense(2, 2, []float64{0, 1, 0, 0})
	b := mat.NewVecDense(2, []float64{0, 1})
	q := mat.NewDense(2, 2, []float64{1, 2, 2, 4})
	x, err := riccati(a, b, 1, q)
	require.NoError(t, err)
	assert.True(t, mat.EqualApprox(x, mat.NewDense(2, 2, []float64{1, 2, 2, 2 + math.Sqrt(5)}), 1e-12), "%v", x)
}

// The estimator's side of the equation. A target whose speed wanders has a
// steady Kalman filter in closed form: with the tracking index Λ = T²σw/σv,
// β²/(1-α) = Λ² and β = 2(2-α) - 4√(1-α) (Kalata, IEEE Trans. Aerospace and
// Electronic Systems 20 (1984) 174, from memory). Λ = 1 gives α = 3/4, β = 1/2.
func TestRiccatiGivesTheAlphaBetaFilter(t *testing.T) {
	filter := func(dt, sw, sv float64) (alpha, beta float64) {
		a := mat.NewDense(2, 2, []float64{1, dt, 0, 1})
		c := mat.NewVecDense(2, []float64{1, 0})
		g := mat.NewVecDense(2, []float64{dt * dt / 2 * sw, dt * sw})
		var q mat.Dense
		q.Outer(1, g, g)
		x, err := riccati(mat.DenseCopyOf(a.T()), c, sv*sv, &q)
		require.NoError(t, err)
		s := x.At(0, 0) + sv*sv
		return x.At(0, 0) / s, x.At(1, 0) / s * dt
	}
	alpha, beta := filter(1, 1, 1)
	assert.InDelta(t, 0.75, alpha, 1e-10)
	assert.InDelta(t, 0.5, beta, 1e-10)
	rapid.Check(t, func(t *rapid.T) {
		dt, sw, sv := rapid.Float64Range(0.1, 10).Draw(t, "period"), rapid.Float64Range(0.01, 3).Draw(t, "process"), rapid.Float64Range(0.05, 5).Draw(t, "reading")
		index := dt * dt * sw / sv
		alpha, beta := filter(dt, sw, sv)
		if math.Abs(beta*beta/(1-alpha)-index*index) > 1e-6*(1+index*index) || math.Abs(beta-2*(2-alpha)+4*math.Sqrt(1-alpha)) > 1e-6 {
			t.Fatalf("Λ %g: α %g, β %g", index, alpha, beta)
		}
	})
}

// residual is the largest entry of A'XA - A'Xb(r+b'Xb)^-1 b'XA + H - X: the
// equation in its other form (Anderson & Moore 1990, appendix E).
func residual(a *mat.Dense, b *mat.VecDense, r float64, h, x *mat.Dense) float64 {
	var xa, axa, res mat.Dense
	xa.Mul(x, a)
	axa.Mul(a.T(), &xa)
	var xb, axb mat.VecDense
	xb.MulVec(x, b)
	axb.MulVec(a.T(), &xb)
	var outer mat.Dense
	outer.Outer(1/(r+mat.Dot(b, &xb)), &axb, &axb)
	res.Sub(&axa, &outer)
	res.Add(&res, h)
	res.Sub(&res, x)
	worst := 0.0
	for _, v := range res.RawMatrix().Data {
		worst = math.Max(worst, math.Abs(v))
	}
	return worst
}

func TestRiccatiGivesUpOnNonsense(t *testing.T) {
	_, err := riccati(mat.NewDense(1, 1, []float64{math.NaN()}), mat.NewVecDense(1, []float64{1}), 1, mat.NewDense(1, 1, []float64{1}))
	assert.ErrorIs(t, err, errRiccati)
}

// Three lags in a row have a closed form: element, store and probe at full
// power, y = K (1 - Σ τi² e^(-t/τi) / Π(τi - τj)).
func TestModelAgainstClosedForm(t *testing.T) {
	const powerW, capJ, lossW, elemS, probeS = 2000.0, 9000.0, 2.5, 30.0, 20.0
	tau := []float64{elemS, capJ / lossW, probeS}
	exact := func(s float64) float64 {
		y := 1.0
		for i, a := range tau {
			den := 1.0
			for j, b := range tau {
				if i != j {
					den *= a - b
				}
			}
			y -= a * a / den * math.Exp(-s/a)
		}
		return 20 + powerW/lossW*y
	}
	for _, period := range []float64{0.25, 1, 10} {
		l, err := New(Simple(powerW, capJ, lossW, elemS, probeS), Options{PeriodS: period})
		require.NoError(t, err)
		s := l.Start(20)
		s.Duty = 1
		for k := 1; float64(k)*period <= 7200; k++ {
			s = l.Advance(s, 1)
			require.InDelta(t, exact(float64(k)*period), l.JunctionC(s), 1e-6, "period %g s, step %d", period, k)
		}
	}
}

package identify

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// problem is a sum of squares to be made small: fit gives the residuals, all of
// one length, at x; it may keep what it returned.
type problem struct {
	residuals func(x []float64) []float64
	// step is the size of the differences by which slopes are taken; nil takes
	// a share of x that suits central differences.
	step []float64
	// central takes slopes from both sides, which costs twice as much and is
	// good to ten digits or so instead of seven.
	central bool
	tol     float64 // relative fall of the sum and of x at which it has settled
	most    int     // turns
}

// solution is where the sum is least.
type solution struct {
	x         []float64
	residuals []float64
	sum       float64    // of squares
	slope     *mat.Dense // of the residuals, one column a parameter
	turns     int
}

var errNotSettled = errors.New("the least squares did not settle")

// Limits of the damping.
const (
	firstDamping = 1e-3
	leastDamping = 1e-12
	mostDamping  = 1e12
)

// leastSquares is the method of Levenberg and Marquardt with Marquardt's
// scaling (Marquardt, J. SIAM 11 (1963) 431; Moré, Lecture Notes in Mathematics
// 630 (1978) 105): Gauss and Newton's step, shortened towards the steepest
// descent until the sum falls. Each step is a linear least squares by QR, which
// does not square the condition of the slopes as normal equations would.
func (p problem) leastSquares(start []float64) (solution, error) {
	s := solution{x: append([]float64(nil), start...)}
	s.residuals = p.residuals(s.x)
	s.sum = sumSquares(s.residuals)
	damping := firstDamping
	scale := make([]float64, len(start))
	for s.turns = 0; s.turns < p.most; s.turns++ {
		s.slope = p.slopes(s)
		for j := range scale {
			scale[j] = math.Max(scale[j], mat.Norm(s.slope.ColView(j), 2))
		}
		settled, err := p.descend(&s, scale, &damping)
		if err != nil || settled {
			return s, err
		}
	}
	return s, errNotSettled
}

// descend finds the damping at which the sum falls, and goes there.
func (p problem) descend(s *solution, scale []float64, damping *float64) (settled bool, err error) {
	for ; *damping < mostDamping; *damping *= 10 {
		d, err := dampedStep(s.slope, s.residuals, scale, *damping)
		if err != nil {
			continue // no step of full rank at this damping
		}
		x := make([]float64, len(d))
		small := true
		for j := range d {
			x[j] = s.x[j] + d[j]
			small = small && math.Abs(d[j]) <= p.tol*(math.Abs(s.x[j])+p.tol)
		}
		r := p.residuals(x)
		sum := sumSquares(r)
		if !(sum <= s.sum) {
			if small {
				return true, nil
			}
			continue
		}
		settled := small || s.sum-sum <= p.tol*s.sum
		s.x, s.residuals, s.sum = x, r, sum
		*damping = math.Max(*damping/10, leastDamping)
		return settled, nil
	}
	return true, nil // nowhere does it fall: this is the bottom
}

// dampedStep solves min |r + J·d|² + damping·|scale·d|².
func dampedStep(slope *mat.Dense, r, scale []float64, damping float64) ([]float64, error) {
	m, n := slope.Dims()
	a := mat.NewDense(m+n, n, nil)
	a.Slice(0, m, 0, n).(*mat.Dense).Copy(slope)
	b := mat.NewDense(m+n, 1, nil)
	for i, v := range r {
		b.Set(i, 0, -v)
	}
	for j := range n {
		a.Set(m+j, j, math.Sqrt(damping)*math.Max(scale[j], math.SmallestNonzeroFloat64))
	}
	var qr mat.QR
	qr.Factorize(a)
	var d mat.Dense
	if err := qr.SolveTo(&d, false, b); err != nil {
		var bad mat.Condition
		if !errors.As(err, &bad) || math.IsInf(float64(bad), 0) {
			return nil, err
		}
	}
	return mat.Col(nil, 0, &d), nil
}

func (p problem) slopes(s solution) *mat.Dense {
	j := mat.NewDense(len(s.residuals), len(s.x), nil)
	x := append([]float64(nil), s.x...)
	for c := range x {
		h := math.Cbrt(epsilon) * math.Max(math.Abs(x[c]), math.Cbrt(epsilon))
		if p.step != nil {
			h = p.step[c]
		}
		x[c] = s.x[c] + h
		up, down, span := p.residuals(x), s.residuals, x[c]-s.x[c]
		if p.central {
			x[c] = s.x[c] - h
			down, span = p.residuals(x), s.x[c]+h-x[c]
		}
		x[c] = s.x[c]
		for i := range up {
			j.Set(i, c, (up[i]-down[i])/span)
		}
	}
	return j
}

const epsilon = 0x1p-52

func sumSquares(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x * x
	}
	return sum
}

// covariance is the inverse of the slopes' square, JᵀJ: the covariance of the
// parameters where residuals have variance 1. It comes from R of JᵀJ = RᵀR.
func (s solution) covariance() (*mat.SymDense, error) {
	_, n := s.slope.Dims()
	var qr mat.QR
	qr.Factorize(s.slope)
	var r mat.Dense
	qr.RTo(&r)
	t := mat.NewTriDense(n, mat.Upper, nil)
	for i := range n {
		for j := i; j < n; j++ {
			t.SetTri(i, j, r.At(i, j))
		}
	}
	var inv mat.TriDense
	if err := inv.InverseTri(t); err != nil {
		var bad mat.Condition
		if !errors.As(err, &bad) || math.IsInf(float64(bad), 0) {
			return nil, err
		}
	}
	out := mat.NewSymDense(n, nil)
	out.SymOuterK(1, &inv)
	return out, nil
}

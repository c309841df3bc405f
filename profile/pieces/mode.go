package pieces

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// peak is where a log density is largest, with its curvature there: minus the
// second derivative along each of the orthonormal axes (columns).
type peak struct {
	at    []float64
	curve []float64
	axes  mat.Dense
}

// flattest curvature that is believed; below, the density is taken as wide.
const flattest = 1e-3

// climb finds a maximum of f from start by Newton steps along the axes of the
// curvature, which it takes by its size where it has the wrong sign, halved
// until f grows. Derivatives are central differences of step 1e-3, so f should
// be smooth and its arguments of order 1.
func climb(f func([]float64) float64, start []float64) (peak, error) {
	const (
		rounds  = 100
		longest = 3.0  // of a step
		arrived = 1e-8 // length of a step that changes nothing
	)
	x := append([]float64(nil), start...)
	for range rounds {
		p, err := curvature(f, x)
		if err != nil {
			return p, err
		}
		g := fd.Gradient(nil, f, x, &fd.Settings{Formula: fd.Central, Step: 1e-4})
		step := p.uphill(g)
		if n := floats.Norm(step, 2); n > longest {
			floats.Scale(longest/n, step)
		}
		if !advance(f, x, step) || floats.Norm(step, 2) < arrived {
			break
		}
	}
	return curvature(f, x)
}

// advance moves x by step, or a half, a quarter and so on, if f then grows.
func advance(f func([]float64) float64, x, step []float64) bool {
	const halvings = 40
	now := f(x)
	next := make([]float64, len(x))
	for range halvings {
		floats.AddTo(next, x, step)
		if f(next) > now {
			copy(x, next)
			return true
		}
		floats.Scale(0.5, step)
	}
	return false
}

func curvature(f func([]float64) float64, x []float64) (peak, error) {
	h := mat.NewSymDense(len(x), nil)
	fd.Hessian(h, f, x, &fd.Settings{Formula: fd.Central, Step: 1e-3})
	h.ScaleSym(-1, h)
	p := peak{at: append([]float64(nil), x...)}
	for i := range x {
		for j := range x {
			if math.IsNaN(h.At(i, j)) || math.IsInf(h.At(i, j), 0) {
				return p, errors.New("pieces: the looks at one piece contradict each other; allow for misreading (prior misread above 0)")
			}
		}
	}
	var e mat.EigenSym
	if !e.Factorize(h, true) {
		return p, errors.New("pieces: the curvature of the posterior has no eigenvalues")
	}
	p.curve = e.Values(nil)
	e.VectorsTo(&p.axes)
	return p, nil
}

// uphill is the Newton step for gradient g.
func (p peak) uphill(g []float64) []float64 {
	var along mat.VecDense
	along.MulVec(p.axes.T(), mat.NewVecDense(len(g), g))
	for i, c := range p.curve {
		along.SetVec(i, along.AtVec(i)/math.Max(math.Abs(c), flattest))
	}
	var step mat.VecDense
	step.MulVec(&p.axes, &along)
	return step.RawVector().Data
}

// spread holds as columns the axes, each one standard deviation long.
func (p peak) spread() *mat.Dense {
	var s mat.Dense
	s.Apply(func(_, j int, v float64) float64 {
		return v / math.Sqrt(math.Max(p.curve[j], flattest))
	}, &p.axes)
	return &s
}

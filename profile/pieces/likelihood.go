package pieces

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// piece is one test piece: what its looks say of its time to clear.
type piece struct {
	kind  int     // index of model.kinds
	x     float64 // log(d/10 mm)
	looks []look
	name  string // for messages: which pulls it is
}

// model is the posterior, but for a constant, over whitened parameters u: n, E
// and log σ as deviations in prior standard deviations, then a of each kind by
// the root of its prior covariance. A priori every u is N(0, 1).
type model struct {
	prior   Prior
	grid    energies
	kinds   []Kind
	means   []float64     // of a, by kind
	joint   *mat.Cholesky // prior covariance of a; nil without kinds
	root    mat.TriDense  // its lower triangle
	alone   []piece       // of no named firing
	firings [][]piece     // of one named firing each
}

const shared = 3 // parameters that all kinds share stand before the a of each

func (m *model) size() int { return shared + len(m.kinds) }

// params are the parameters in their own units.
type params struct {
	size, energyKJ, scatter float64
	level                   []float64 // a, by kind
	at                      place     // of energyKJ
}

func (m *model) params(u []float64) params {
	p := m.prior
	q := params{
		size:     p.Size.Mean + p.Size.SD*u[0],
		energyKJ: p.EnergyKJ.Mean + p.EnergyKJ.SD*u[1],
		scatter:  math.Exp(p.LogScatter.Mean + p.LogScatter.SD*u[2]),
		level:    slices.Clone(m.means),
	}
	for i := range q.level {
		for j := 0; j <= i; j++ {
			q.level[i] += m.root.At(i, j) * u[shared+j]
		}
	}
	q.at = m.grid.at(q.energyKJ)
	return q
}

// logPosterior of the whitened parameters, without its constant.
func (m *model) logPosterior(u []float64) float64 {
	sum := 0.0
	for _, x := range u {
		sum -= 0.5 * x * x
	}
	return sum + m.logLikelihood(m.params(u))
}

func (m *model) logLikelihood(q params) float64 {
	sum := 0.0
	for i := range m.alone {
		sum += m.logPiece(&m.alone[i], &q, 0, q.scatter)
	}
	for _, f := range m.firings {
		sum += m.logFiring(f, &q)
	}
	return sum
}

// logFiring takes the shared error of a firing out by integration: exactly for
// one piece, else by the trapezoidal rule over three standard deviations, fine
// enough for what that many pieces can resolve.
func (m *model) logFiring(f []piece, q *params) float64 {
	sd := m.prior.FiringSD
	if sd == 0 || len(f) == 1 {
		sum := 0.0
		for i := range f {
			sum += m.logPiece(&f[i], q, 0, math.Hypot(q.scatter, sd))
		}
		return sum
	}
	const reach = 3.0
	step := min(0.6, 0.9/math.Sqrt(float64(len(f))))
	n := int(math.Ceil(reach / step))
	sum, weights := math.Inf(-1), 0.0
	for k := -n; k <= n; k++ {
		e := reach * float64(k) / float64(n)
		w := math.Exp(-0.5 * e * e)
		weights += w
		l := math.Log(w)
		for i := range f {
			l += m.logPiece(&f[i], q, e*sd, q.scatter)
		}
		sum = logAdd(sum, l)
	}
	return sum - math.Log(weights)
}

// logPiece is the log likelihood of all looks at one piece. Each look is right
// with probability 1-ε, else one of the three states at random (ε/3 each), so
// between the bounds of all looks the likelihood of a time to clear is constant.
func (m *model) logPiece(p *piece, q *params, shift, sigma float64) float64 {
	mu := q.level[p.kind] + q.size*p.x + shift
	eps := m.prior.Misread
	if len(p.looks) == 1 {
		l := &p.looks[0]
		at := l.dose.log(q.at)
		between := logBetween(gauss{}, at+l.lo, at+l.hi, mu, sigma)
		if eps == 0 {
			return between
		}
		return math.Log((1-eps)*math.Exp(between) + eps/3)
	}
	bounds := make([]float64, 0, 8)
	bounds = append(bounds, math.Inf(-1), math.Inf(1))
	for i := range p.looks {
		l := &p.looks[i]
		at := l.dose.log(q.at)
		bounds = append(bounds, at+l.lo, at+l.hi)
	}
	ends := slices.Clone(bounds[2:])
	slices.Sort(bounds)
	sum := math.Inf(-1)
	for i := 1; i < len(bounds); i++ {
		if bounds[i] <= bounds[i-1] {
			continue
		}
		w := 0.0
		for j := 0; j < len(ends); j += 2 {
			right := 0.0
			if ends[j] <= bounds[i-1] && bounds[i] <= ends[j+1] {
				right = 1 - eps
			}
			w += math.Log(right + eps/3)
		}
		sum = logAdd(sum, w+logBetween(gauss{}, bounds[i-1], bounds[i], mu, sigma))
	}
	return sum
}

// logRight is the log likelihood of a piece with every look read right.
func (m *model) logRight(p *piece, q *params, sigma float64) float64 {
	lo, hi := math.Inf(-1), math.Inf(1)
	for i := range p.looks {
		at := p.looks[i].dose.log(q.at)
		lo, hi = max(lo, at+p.looks[i].lo), min(hi, at+p.looks[i].hi)
	}
	right := float64(len(p.looks)) * math.Log(1-m.prior.Misread)
	return right + logBetween(gauss{}, lo, hi, q.level[p.kind]+q.size*p.x, sigma)
}

// logAdd is log(exp(a) + exp(b)).
func logAdd(a, b float64) float64 {
	a, b = max(a, b), min(a, b)
	if math.IsInf(b, -1) {
		return a
	}
	return a + math.Log1p(math.Exp(b-a))
}

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
	var buf []jump
	for i := range m.alone {
		r := m.read(&m.alone[i], &q, buf[:0])
		sum += r.log(0, q.scatter)
		buf = r.jumps
	}
	for _, f := range m.firings {
		sum += m.logFiring(f, &q)
	}
	return sum
}

// logFiring takes the shared error of a firing out by integration: for one
// piece by adding the variances, else by the trapezoidal rule over three
// standard deviations, fine enough for what that many pieces can resolve.
func (m *model) logFiring(f []piece, q *params) float64 {
	var buf []jump
	rs := make([]reading, len(f))
	for i := range f {
		from := len(buf)
		rs[i] = m.read(&f[i], q, buf)
		buf = rs[i].jumps
		rs[i].jumps = buf[from:]
	}
	sd := m.prior.FiringSD
	if sd == 0 || len(f) == 1 {
		return logAll(rs, 0, math.Hypot(q.scatter, sd))
	}
	const reach = 3.0
	step := min(0.6, 0.9/math.Sqrt(float64(len(f))))
	n := int(math.Ceil(reach / step))
	sum, weights := math.Inf(-1), 0.0
	for k := -n; k <= n; k++ {
		e := reach * float64(k) / float64(n)
		weights += math.Exp(-0.5 * e * e)
		sum = logAdd(sum, logAll(rs, e*sd, q.scatter)-0.5*e*e)
	}
	return sum - math.Log(weights)
}

func logAll(rs []reading, shift, sigma float64) float64 {
	sum := 0.0
	for i := range rs {
		sum += rs[i].log(shift, sigma)
	}
	return sum
}

// reading is the likelihood of a time to clear, given all looks at a piece: it
// is constant between their bounds. Each look is right with probability 1-ε,
// else one of the three states at random (ε/3 each).
type reading struct {
	mu     float64
	exact  bool    // ε is 0: only lo < log t <= hi is possible
	lo, hi float64 // where all looks are right
	last   float64 // likelihood beyond the last bound
	jumps  []jump
}

// jump is by how much the likelihood falls at a bound.
type jump struct{ at, fall float64 }

// read appends the jumps of p to buf and returns all of it in jumps.
func (m *model) read(p *piece, q *params, buf []jump) reading {
	eps := m.prior.Misread
	r := reading{mu: q.level[p.kind] + q.size*p.x, exact: eps == 0, lo: math.Inf(-1), hi: math.Inf(1), last: 1, jumps: buf}
	for i := range p.looks {
		l := &p.looks[i]
		at := l.dose.log(q.at)
		r.lo, r.hi = max(r.lo, at+l.lo), min(r.hi, at+l.hi)
		if r.exact {
			continue
		}
		if len(p.looks) == 1 {
			r.add(at+l.lo, eps-1)
			r.add(at+l.hi, 1-eps)
			r.last = eps / 3
			if math.IsInf(l.hi, 1) {
				r.last += 1 - eps
			}
		}
	}
	if !r.exact && len(p.looks) > 1 {
		r.several(p, q, eps)
	}
	return r
}

func (r *reading) add(at, fall float64) {
	if !math.IsInf(at, 0) {
		r.jumps = append(r.jumps, jump{at, fall})
	}
}

// several finds the jumps of a product of looks.
func (r *reading) several(p *piece, q *params, eps float64) {
	var bounds []float64
	for i := range p.looks {
		at := p.looks[i].dose.log(q.at)
		bounds = append(bounds, at+p.looks[i].lo, at+p.looks[i].hi)
	}
	after := func(x float64) float64 { // likelihood just beyond x
		product := 1.0
		for i := 0; i < len(bounds); i += 2 {
			if bounds[i] <= x && x < bounds[i+1] {
				product *= 1 - eps + eps/3
			} else {
				product *= eps / 3
			}
		}
		return product
	}
	before := after(math.Inf(-1))
	for _, x := range slices.Compact(slices.Sorted(slices.Values(bounds))) {
		if math.IsInf(x, 0) {
			continue
		}
		now := after(x)
		r.add(x, before-now)
		before = now
	}
	r.last = before
}

// log likelihood of the piece, with its log median moved by shift.
func (r *reading) log(shift, sigma float64) float64 {
	mu := r.mu + shift
	if r.exact {
		return logBetween(gauss{}, r.lo, r.hi, mu, sigma)
	}
	sum := r.last
	for _, j := range r.jumps {
		sum += j.fall * phi((j.at-mu)/sigma)
	}
	return math.Log(math.Max(sum, math.SmallestNonzeroFloat64))
}

// wrong is the probability that not all of n looks were right.
func (r *reading) wrong(n int, eps, sigma float64) float64 {
	if r.exact {
		return 0
	}
	right := math.Pow(1-eps, float64(n)) * math.Max(0, phi((r.hi-r.mu)/sigma)-phi((r.lo-r.mu)/sigma))
	return 1 - right/math.Exp(r.log(0, sigma))
}

// logAdd is log(exp(a) + exp(b)).
func logAdd(a, b float64) float64 {
	a, b = max(a, b), min(a, b)
	if math.IsInf(b, -1) {
		return a
	}
	return a + math.Log1p(math.Exp(b-a))
}

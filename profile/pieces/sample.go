package pieces

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distmv"
	"gonum.org/v1/gonum/stat/samplemv"
)

const (
	drawn    = 6000     // sets of parameters; more change a hold by less than 1 %
	freedom  = 5        // of the t distribution that is drawn from: heavier tails than the posterior
	leastESS = 0.2      // effective share of the draws below which they are not trusted
	gridMost = 5        // parameters that a grid can still cover
	seed     = 20260117 // any; fixed, so that the same pulls give the same answer
	sequence = 1
)

// draw is one set of parameters with its weight; weights add up to 1.
type draw struct {
	params
	spare  float64 // standard normal, for the a of a kind without evidence
	weight float64
}

// cloud is a weighted sample of whitened parameters.
type cloud struct {
	u      [][]float64
	weight []float64 // adding up to 1
	spare  []float64 // N(0, 1) beside them
	ess    float64   // effective share, 0 to 1
}

// sample draws from the posterior: by importance from around the mode, then
// from around the mean of what was found, at last from a grid.
func (p *Posterior) sample(n int) {
	m := p.model
	best := m.important(p.mode.at, p.mode.spread(), n)
	p.method = "Laplace and importance sampling"
	for range 3 {
		if best.ess >= leastESS {
			break
		}
		if centre, spread, ok := best.moments(); ok {
			if next := m.important(centre, spread, n); next.ess > best.ess {
				best = next
				p.method = "importance sampling around the weighted mean"
			}
		}
	}
	p.ess = best.ess
	if best.ess < leastESS && m.size() <= gridMost {
		best = m.onGrid(p.mode.at, n, seeded())
		p.method = "grid"
	}
	p.keep(best)
}

func seeded() *rand.Rand { return rand.New(rand.NewPCG(seed, sequence)) }

// keep makes the draws of the posterior from a cloud.
func (p *Posterior) keep(c cloud) {
	p.draws = make([]draw, len(c.u))
	for i, u := range c.u {
		p.draws[i] = draw{p.model.params(u), c.spare[i], c.weight[i]}
	}
}

// important draws from a multivariate t distribution around centre, with the
// columns of spread as its axes, and weighs by the posterior: Geweke,
// Econometrica 57 (1989) 1317, section 4.
func (m *model) important(centre []float64, spread mat.Matrix, n int) cloud {
	d := len(centre)
	c := cloud{u: make([][]float64, n), weight: make([]float64, n), spare: make([]float64, n)}
	points := even(n, d+4)
	for i := range c.u {
		row := points.RawRowView(i)
		c.spare[i] = quantile(row[d])
		z := quantile(row[d+1]) // and two more each from two: chi squared with 5
		stretch := math.Sqrt(freedom / (z*z - 2*math.Log(row[d+2]*row[d+3])))
		y, u := mat.NewVecDense(d, nil), mat.NewVecDense(d, nil)
		for j := range d {
			y.SetVec(j, quantile(row[j])*stretch)
		}
		u.MulVec(spread, y)
		u.AddVec(u, mat.NewVecDense(d, centre))
		c.u[i] = u.RawVector().Data
		c.weight[i] = m.logPosterior(c.u[i]) + 0.5*float64(freedom+d)*math.Log1p(mat.Dot(y, y)/freedom)
	}
	c.normalise()
	return c
}

// even is a scrambled Halton sequence (Owen, arXiv:1706.02808) in the open unit
// cube: points as random as any, but spread evenly, so that sums over them err
// several times less.
func even(n, d int) *mat.Dense {
	points := mat.NewDense(n, d, nil)
	samplemv.Halton{Kind: samplemv.Owen, Q: distmv.NewUnitUniform(d, nil), Src: rand.NewPCG(seed, sequence)}.Sample(points)
	points.Apply(func(_, _ int, v float64) float64 { return min(max(v, 1e-9), 1-1e-9) }, points)
	return points
}

// normalise turns logarithms of weights into weights.
func (c *cloud) normalise() {
	top := math.Inf(-1)
	for _, l := range c.weight {
		top = math.Max(top, l)
	}
	sum, squares := 0.0, 0.0
	for i, l := range c.weight {
		w := math.Exp(l - top)
		c.weight[i] = w
		sum, squares = sum+w, squares+w*w
	}
	for i := range c.weight {
		c.weight[i] /= sum
	}
	c.ess = sum * sum / squares / float64(len(c.weight))
}

// moments are the weighted mean and the root of the covariance, widened by a
// third since few draws carry it.
func (c *cloud) moments() (centre []float64, spread *mat.Dense, ok bool) {
	const wider = 4. / 3
	d := len(c.u[0])
	all := mat.NewDense(len(c.u), d, nil)
	for i, u := range c.u {
		all.SetRow(i, u)
	}
	centre = make([]float64, d)
	for j := range centre {
		centre[j] = stat.Mean(mat.Col(nil, j, all), c.weight)
	}
	cov := covariance(all, centre, c.weight)
	var e mat.EigenSym
	if !e.Factorize(cov, true) {
		return nil, nil, false
	}
	var v mat.Dense
	e.VectorsTo(&v)
	values := e.Values(nil)
	spread = new(mat.Dense)
	spread.Apply(func(_, j int, x float64) float64 {
		return x * wider * math.Sqrt(math.Max(values[j], flattest))
	}, &v)
	return centre, spread, true
}

// covariance for weights that add up to 1.
func covariance(x *mat.Dense, centre, weight []float64) *mat.SymDense {
	d := len(centre)
	cov := mat.NewSymDense(d, nil)
	for i := range weight {
		row := x.RawRowView(i)
		for j := range d {
			for k := j; k < d; k++ {
				cov.SetSym(j, k, cov.At(j, k)+weight[i]*(row[j]-centre[j])*(row[k]-centre[k]))
			}
		}
	}
	return cov
}

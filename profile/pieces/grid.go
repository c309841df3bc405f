package pieces

import (
	"math"
	"math/rand/v2"
)

// onGrid covers the posterior with a grid twice: all of the prior and all around
// its mode first, then what of it has weight. Points of the second, moved at random within their
// cells, are drawn by their weight.
func (m *model) onGrid(mode []float64, n int, rng *rand.Rand) cloud {
	const reach = 4.5 // standard deviations of the prior
	lo, hi := make([]float64, m.size()), make([]float64, m.size())
	for i := range lo {
		lo[i], hi[i] = min(0, mode[i])-reach, max(0, mode[i])+reach
	}
	coarse := m.lattice(lo, hi)
	m.narrow(coarse, lo, hi)
	fine := m.lattice(lo, hi)
	return fine.resample(n, cellOf(lo, hi), rng)
}

// perAxis points, so that about 200 000 are visited.
func perAxis(d int) int { return int(math.Pow(200000, 1/float64(d))) }

func cellOf(lo, hi []float64) []float64 {
	c := make([]float64, len(lo))
	for i := range c {
		c[i] = (hi[i] - lo[i]) / float64(perAxis(len(lo)))
	}
	return c
}

// lattice weighs the centres of the cells between lo and hi.
func (m *model) lattice(lo, hi []float64) cloud {
	n, cell := perAxis(len(lo)), cellOf(lo, hi)
	total := int(math.Pow(float64(n), float64(len(lo))) + 0.5)
	c := cloud{u: make([][]float64, total), weight: make([]float64, total)}
	for i := range c.u {
		u, rest := make([]float64, len(lo)), i
		for j := range u {
			u[j] = lo[j] + cell[j]*(float64(rest%n)+0.5)
			rest /= n
		}
		c.u[i], c.weight[i] = u, m.logPosterior(u)
	}
	c.normalise()
	return c
}

// narrow sets lo and hi around the cells that carry all but a millionth of the
// largest weight.
func (m *model) narrow(c cloud, lo, hi []float64) {
	const little = 1e-6
	cell := cellOf(lo, hi)
	top := 0.0
	for _, w := range c.weight {
		top = math.Max(top, w)
	}
	for j := range lo {
		least, most := math.Inf(1), math.Inf(-1)
		for i, w := range c.weight {
			if w > little*top {
				least, most = math.Min(least, c.u[i][j]), math.Max(most, c.u[i][j])
			}
		}
		lo[j], hi[j] = least-cell[j]/2, most+cell[j]/2
	}
}

// resample draws by weight, at even steps of the sum of weights.
func (c cloud) resample(n int, cell []float64, rng *rand.Rand) cloud {
	out := cloud{u: make([][]float64, n), weight: make([]float64, n), spare: make([]float64, n), ess: 1}
	i, sum := 0, c.weight[0]
	start := rng.Float64()
	for k := range out.u {
		for (float64(k)+start)/float64(n) > sum && i < len(c.u)-1 {
			i++
			sum += c.weight[i]
		}
		u := make([]float64, len(cell))
		for j := range u {
			u[j] = c.u[i][j] + cell[j]*(rng.Float64()-0.5)
		}
		out.u[k], out.weight[k], out.spare[k] = u, 1/float64(n), rng.NormFloat64()
	}
	return out
}

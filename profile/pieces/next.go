package pieces

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// Test is a pull that could be made: a test piece, and its history until then.
type Test struct {
	Kind     Kind
	SectionM float64 // in m; 0.0002 to 0.3
	History  []Sample
}

// Gain is what a test would tell about a goal.
type Gain struct {
	Test Test
	At   time.Duration // when it is pulled, since its firing began
	// Narrow is what the interval of the goal's hold shrinks to on average, as
	// a factor on its width (of log time); 1 is no gain, 0.5 halves it.
	Narrow float64
	// Charred, Core and Clear are how likely each outcome is; together 1.
	Charred, Core, Clear float64
}

// outcomes are the chances of charred, char core and clear, by draw.
type outcomes [3][]float64

func (p *Posterior) outcomes(t Test) outcomes {
	v := p.view(Part{Kind: t.Kind, SectionM: t.SectionM})
	d := p.model.grid.tabulate(t.History)
	eps := p.model.prior.Misread
	var o outcomes
	for k := range o {
		o[k] = make([]float64, len(p.draws))
	}
	for i := range p.draws {
		at := d.log(p.draws[i].at) - v.mu[i]
		clear, ring := phi(at/v.sigma[i]), phi((at-math.Log(firstRing))/v.sigma[i])
		for k, c := range []float64{1 - ring, ring - clear, clear} {
			o[k][i] = (1-eps)*c + eps/3
		}
	}
	return o
}

// expected variance of x after a test, for weights that need not add up to 1.
func (o outcomes) expected(weight, x []float64) (variance float64, chance [3]float64) {
	total := 0.0
	for k := range o {
		s, sx, sxx := 0.0, 0.0, 0.0
		for i, c := range o[k] {
			w := weight[i] * c
			s, sx, sxx = s+w, sx+w*x[i], sxx+w*x[i]*x[i]
		}
		chance[k] = s
		total += s
		if s > 0 {
			variance += sxx - sx*sx/s
		}
	}
	for k := range chance {
		chance[k] /= total
	}
	return variance / total, chance
}

// spreadOf is the weighted variance of x.
func spreadOf(weight, x []float64) float64 {
	s, sx, sxx := 0.0, 0.0, 0.0
	for i, w := range weight {
		s, sx, sxx = s+w, sx+w*x[i], sxx+w*x[i]*x[i]
	}
	return sxx/s - sx*sx/(s*s)
}

// aims are the logarithm of the hold that the goal asks for, from a cold start,
// and its weight, by draw.
func (p *Posterior) aims(g Goal) (x, weight []float64) {
	x = p.needed(p.view(g.Part), g.Chance)
	_, rate := p.rates(g)
	weight = make([]float64, len(x))
	for i := range x {
		x[i] -= math.Log(rate[i])
		weight[i] = p.draws[i].weight
	}
	return x, weight
}

func checkTests(g Goal, tests []Test) error {
	bad := []error{g.check()}
	for i, t := range tests {
		if err := errors.Join((Part{Kind: t.Kind, SectionM: t.SectionM}).check(), checkHistory(t.History)); err != nil {
			bad = append(bad, fmt.Errorf("pieces: test %d: %w", i+1, err))
		}
	}
	if len(tests) == 0 {
		bad = append(bad, errors.New("pieces: tests: none given; one at least, such as a 12 mm stem pulled at 4 h"))
	}
	return errors.Join(bad...)
}

// Next orders tests by what they would tell about the goal, the best first: by
// the least expected posterior variance of the logarithm of the hold, averaged
// over what may be seen. Equals stay in the order given. A test costs its piece:
// offer test pieces, not castings.
func (p *Posterior) Next(g Goal, tests []Test) ([]Gain, error) {
	if err := checkTests(g, tests); err != nil {
		return nil, err
	}
	x, weight := p.aims(g)
	now := spreadOf(weight, x)
	gains := make([]Gain, len(tests))
	for i, t := range tests {
		variance, c := p.outcomes(t).expected(weight, x)
		gains[i] = Gain{Test: t, Narrow: math.Sqrt(variance / now), Charred: c[0], Core: c[1], Clear: c[2]}
		if n := len(t.History); n > 0 {
			gains[i].At = t.History[n-1].Since
		}
	}
	slices.SortStableFunc(gains, func(a, b Gain) int { return cmp.Compare(a.Narrow, b.Narrow) })
	return gains, nil
}

// littleGain is the narrowing under which a further piece is not worth making.
const littleGain = 0.05

// Worth is how many more pieces are worth making, 0 to most (at most 12): as
// long as the next narrows the interval of the goal's hold by 5 % of itself on
// average. Narrow holds the factor on the width after 1, 2, … most pieces. Each
// is the best of tests for what was seen until then; outcomes are simulated.
func (p *Posterior) Worth(g Goal, tests []Test, most int) (worth int, narrow []float64, err error) {
	const simulated, limit = 40, 12
	if err := checkTests(g, tests); err != nil {
		return 0, nil, err
	}
	if most < 1 || most > limit {
		return 0, nil, fmt.Errorf("pieces: most %d is outside 1 to %d", most, limit)
	}
	x, weight := p.aims(g)
	now := spreadOf(weight, x)
	all := make([]outcomes, len(tests))
	for i, t := range tests {
		all[i] = p.outcomes(t)
	}
	rng := rand.New(rand.NewPCG(seed, sequence+1))
	narrow = make([]float64, most)
	for range simulated {
		truth := pick(weight, rng)
		w := slices.Clone(weight)
		for k := range narrow {
			best := slices.MinFunc(all, func(a, b outcomes) int {
				va, _ := a.expected(w, x)
				vb, _ := b.expected(w, x)
				return cmp.Compare(va, vb)
			})
			seen := best[best.happen(truth, rng)]
			for i := range w {
				w[i] *= seen[i]
			}
			narrow[k] += spreadOf(w, x) / now / simulated
		}
	}
	before := 1.0
	for k := range narrow {
		narrow[k] = math.Sqrt(narrow[k])
		if worth == k && narrow[k] < (1-littleGain)*before {
			worth = k + 1
		}
		before = narrow[k]
	}
	return worth, narrow, nil
}

// pick an index by weight; weights add up to 1.
func pick(weight []float64, rng *rand.Rand) int {
	at := rng.Float64()
	for i, w := range weight {
		if at -= w; at < 0 {
			return i
		}
	}
	return len(weight) - 1
}

// happen is one outcome, by its chance for draw i.
func (o outcomes) happen(i int, rng *rand.Rand) int {
	return pick([]float64{o[0][i], o[1][i], o[2][i]}, rng)
}

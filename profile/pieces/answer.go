package pieces

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"
)

// Part is what must become clear.
type Part struct {
	Kind     Kind
	SectionM float64 // the thickest place, in m; 0.0002 to 0.3
	// Count of such parts in the casting, all of which must be clear; 0 means 1.
	Count int
}

func logSection(m float64) float64 { return math.Log(m / 0.010) }

func (t Part) check() error {
	var bad []error
	if !(t.SectionM >= 0.0002 && t.SectionM <= 0.3) {
		bad = append(bad, fmt.Errorf("section %.3g mm is outside 0.2 to 300 mm", 1000*t.SectionM))
	}
	if n := len(t.Kind.tidy().Material); n < 1 || n > 40 {
		bad = append(bad, fmt.Errorf("material %q has %d bytes; give it a name of 1 to 40, such as woody stem", t.Kind.Material, n))
	}
	if t.Count < 0 || t.Count > 1000 {
		bad = append(bad, fmt.Errorf("count %d is outside 0 to 1000", t.Count))
	}
	return errors.Join(bad...)
}

// Goal asks for a hold that clears Part with probability Chance.
type Goal struct {
	Part   Part
	Chance float64  // 0.5 to 0.999
	Lead   []Sample // the pattern's history until the hold begins; may be empty
	TempC  float64  // of the pattern during the hold; 350 to 1100 °C
}

func (g Goal) check() error {
	bad := []error{g.Part.check(), checkHistory(g.Lead)}
	if !(g.Chance >= 0.5 && g.Chance <= 0.999) {
		bad = append(bad, fmt.Errorf("chance %g is outside 0.5 to 0.999", g.Chance))
	}
	if !(g.TempC >= 350 && g.TempC <= 1100) {
		bad = append(bad, fmt.Errorf("hold at %g °C is outside 350 to 1100 °C; char hardly burns below", g.TempC))
	}
	if err := errors.Join(bad...); err != nil {
		return fmt.Errorf("pieces: goal: %w", err)
	}
	return nil
}

// Hold is the answer to a goal; all times count from the end of its lead.
type Hold struct {
	// Time after which the part is clear with the chance asked for, all things
	// considered: scatter from piece to piece and what is not known.
	Time time.Duration
	// Low and High hold between them, with 95 % probability, the time that
	// would be asked for if all were known but the scatter from piece to piece.
	Low, High time.Duration
}

// longest hold that is looked for.
const longest = 60 * 24 * time.Hour

// ErrNever is returned for a hold that would be longer than 60 days.
var ErrNever = errors.New("pieces: it would not be clear in 60 days")

// view is a posterior as one part sees it, by draw: log median of the time to
// clear in equivalent minutes, and scatter.
type view struct {
	mu, sigma []float64
	count     float64
}

func (p *Posterior) view(t Part) view {
	v := view{p.levels(t.Kind.tidy()), make([]float64, len(p.draws)), math.Max(1, float64(t.Count))}
	x := logSection(t.SectionM)
	for i := range p.draws {
		v.mu[i] += p.draws[i].size * x
		v.sigma[i] = math.Hypot(p.draws[i].scatter, p.model.firingSD())
	}
	return v
}

// levels are the a of a kind, by draw. That of a kind without evidence is drawn
// from its distribution given those with.
func (p *Posterior) levels(k Kind) []float64 {
	m := p.model
	out := make([]float64, len(p.draws))
	if j := slices.Index(m.kinds, k); j >= 0 {
		for i := range out {
			out[i] = p.draws[i].level[j]
		}
		return out
	}
	n := len(m.kinds)
	pull, variance := mat.NewVecDense(max(n, 1), nil), m.prior.covariance(k, k)
	if n > 0 {
		cov := mat.NewVecDense(n, nil)
		for j, other := range m.kinds {
			cov.SetVec(j, m.prior.covariance(k, other))
		}
		if err := m.joint.SolveVecTo(pull, cov); err != nil {
			pull.Zero() // too ill-conditioned to trust: the kind stands alone
		}
		variance -= mat.Dot(pull, cov)
	}
	for i := range out {
		out[i] = m.prior.mean(k) + p.draws[i].spare*math.Sqrt(math.Max(0, variance))
		for j := range n {
			out[i] += pull.AtVec(j) * (p.draws[i].level[j] - m.means[j])
		}
	}
	return out
}

// clear is the probability that the part is clear after doses given by draw.
func (p *Posterior) clear(v view, logDose func(i int) float64) float64 {
	sum := 0.0
	for i := range p.draws {
		c := phi((logDose(i) - v.mu[i]) / v.sigma[i])
		if v.count != 1 {
			c = math.Pow(c, v.count)
		}
		sum += p.draws[i].weight * c
	}
	return math.Min(1, sum)
}

// PClear is the probability, 0 to 1, that t is clear at the end of history. It
// includes the scatter from piece to piece and what is not known of the
// parameters. It rises with time and falls with the section.
func (p *Posterior) PClear(t Part, history []Sample) (float64, error) {
	if err := errors.Join(t.check(), checkHistory(history)); err != nil {
		return 0, fmt.Errorf("pieces: part: %w", err)
	}
	d := p.model.grid.tabulate(history)
	return p.clear(p.view(t), func(i int) float64 { return d.log(p.draws[i].at) }), nil
}

// Hold is how long to hold after the lead. Its Time is zero if the lead does.
// The error is ErrNever, or names what of g is out of range.
func (p *Posterior) Hold(g Goal) (Hold, error) {
	if err := g.check(); err != nil {
		return Hold{}, err
	}
	v := p.view(g.Part)
	lead, rate := p.rates(g)
	after := func(minutes float64) float64 {
		return p.clear(v, func(i int) float64 { return math.Log(lead[i] + minutes*rate[i]) })
	}
	if after(longest.Minutes()) < g.Chance {
		return Hold{}, fmt.Errorf("%w at %g °C", ErrNever, g.TempC)
	}
	var h Hold
	if after(0) < g.Chance {
		lo, hi := math.Log(1./60), math.Log(longest.Minutes())
		for hi-lo > 1e-5 {
			if mid := (lo + hi) / 2; after(math.Exp(mid)) < g.Chance {
				lo = mid
			} else {
				hi = mid
			}
		}
		h.Time = minutes(math.Exp(hi))
	}
	times := p.needed(v, g.Chance)
	for i := range times {
		times[i] = math.Max(0, (math.Exp(times[i])-lead[i])/rate[i])
	}
	h.Low, h.High = minutes(p.quantile(0.025, times)), minutes(p.quantile(0.975, times))
	return h, nil
}

// rates are the equivalent minutes of the lead and of a minute of the hold, by
// draw.
func (p *Posterior) rates(g Goal) (lead, rate []float64) {
	before, now := p.model.grid.tabulate(g.Lead), p.model.grid.tabulate(Soak(g.TempC, time.Minute))
	lead, rate = make([]float64, len(p.draws)), make([]float64, len(p.draws))
	for i := range p.draws {
		lead[i], rate[i] = math.Exp(before.log(p.draws[i].at)), math.Exp(now.log(p.draws[i].at))
	}
	return lead, rate
}

// needed is the logarithm of the equivalent minutes after which a share chance
// of all parts is clear, by draw.
func (p *Posterior) needed(v view, chance float64) []float64 {
	z := quantile(math.Pow(chance, 1/v.count))
	out := make([]float64, len(v.mu))
	for i := range out {
		out[i] = v.mu[i] + z*v.sigma[i]
	}
	return out
}

// quantile of x by the weights of the draws.
func (p *Posterior) quantile(q float64, x []float64) float64 {
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(x[a], x[b]) })
	sum := 0.0
	for _, i := range order {
		if sum += p.draws[i].weight; sum >= q {
			return x[i]
		}
	}
	return x[order[len(order)-1]]
}

func minutes(m float64) time.Duration {
	return time.Duration(math.Min(m, 10*longest.Minutes()) * float64(time.Minute))
}

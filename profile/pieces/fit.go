package pieces

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
)

// Posterior is what pulls and prior say together. It is not changed by its
// methods, and may be used from several goroutines at once.
type Posterior struct {
	model  *model
	draws  []draw
	mode   peak
	method string
	ess    float64
	same   map[Kind]int // pieces by kind
	odd    []string
}

// Fit finds what the pulls say, starting from prior. No pulls give the prior.
// Their order moves an answer by less than 1 %. Errors name the pull, the
// field, its value and its range; all are reported at once.
//
// It takes some tens of milliseconds; ten pulls that name one firing, a quarter of
// a second.
func Fit(prior Prior, pulls []Pull) (*Posterior, error) {
	return fit(prior, pulls, drawn)
}

func fit(prior Prior, pulls []Pull, n int) (*Posterior, error) {
	bad := []error{prior.check()}
	for i, p := range pulls {
		bad = append(bad, p.check(i))
	}
	if err := errors.Join(bad...); err != nil {
		return nil, err
	}
	m, err := newModel(prior, pulls)
	if err != nil {
		return nil, err
	}
	p := &Posterior{model: m, same: map[Kind]int{}}
	if p.mode, err = m.highest(); err != nil {
		return nil, err
	}
	p.sample(n)
	for _, c := range m.pieces() {
		p.same[m.kinds[c.kind]]++
		if p.misread(c) > 0.5 {
			p.odd = append(p.odd, c.name)
		}
	}
	return p, nil
}

// newModel sorts pulls into pieces, and those into firings.
func newModel(prior Prior, pulls []Pull) (*model, error) {
	known := map[Kind]float64{}
	for k, a := range prior.Known {
		known[k.tidy()] = a
	}
	prior.Known = known
	m := &model{prior: prior, grid: over(prior.EnergyKJ)}
	firings := map[string][]piece{}
	first := map[[2]string]int{}  // pull that first named a piece
	within := map[[2]string]int{} // place of that piece in its firing
	for i, p := range pulls {
		c := m.piece(i, p)
		f := firings[p.Firing]
		id := [2]string{p.Firing, p.Piece}
		if j, again := first[id]; again && p.Piece != "" {
			if a := pulls[j]; a.Kind.tidy() != p.Kind.tidy() || a.SectionM != p.SectionM {
				return nil, fmt.Errorf("pieces: pull %d (%s): %v of %.3g mm, but pull %d of the same piece and firing is %v of %.3g mm; one piece has one kind and section",
					i+1, p.Piece, p.Kind, 1000*p.SectionM, j+1, a.Kind, 1000*a.SectionM)
			}
			f[within[id]].looks = append(f[within[id]].looks, c.looks...)
			continue
		}
		first[id], within[id] = i, len(f)
		firings[p.Firing] = append(f, c)
	}
	for _, name := range slices.Sorted(maps.Keys(firings)) {
		if name == "" {
			m.alone = firings[name]
		} else {
			m.firings = append(m.firings, firings[name])
		}
	}
	if len(m.kinds) == 0 {
		return m, nil
	}
	var err error
	if m.joint, err = prior.factor(m.kinds); err == nil {
		m.joint.LTo(&m.root)
	}
	return m, err
}

// highest mode of the posterior. Far from the prior, misreading every piece
// makes a mode of its own, so the climb starts from the best of much faster to
// much slower burning.
func (m *model) highest() (peak, error) {
	const reach, step = 8.0, 0.5 // prior standard deviations of a
	best := make([]float64, m.size())
	if len(m.kinds) > 0 {
		top := m.logPosterior(best)
		for shift := -reach; shift <= reach; shift += step {
			u := make([]float64, m.size())
			u[shared] = shift
			if l := m.logPosterior(u); l > top {
				best, top = u, l
			}
		}
	}
	return climb(m.logPosterior, best)
}

// piece reads one pull; a kind not seen before is added.
func (m *model) piece(i int, p Pull) piece {
	k := p.Kind.tidy()
	at := slices.Index(m.kinds, k)
	if at < 0 {
		at = len(m.kinds)
		m.kinds = append(m.kinds, k)
		m.means = append(m.means, m.prior.mean(k))
	}
	name := fmt.Sprintf("pull %d", i+1)
	if p.Piece != "" {
		name = cmp.Or(p.Firing, "no firing") + "/" + p.Piece
	}
	return piece{at, logSection(p.SectionM), p.looks(m.grid.tabulate(p.History), m.prior.material(k.Material)), name}
}

// pieces of all firings, in the order of their names.
func (m *model) pieces() []*piece {
	var all []*piece
	for i := range m.alone {
		all = append(all, &m.alone[i])
	}
	for _, f := range m.firings {
		for i := range f {
			all = append(all, &f[i])
		}
	}
	return all
}

// firingSD is how much a firing to come is off; pulls that do not name theirs
// say nothing of it.
func (m *model) firingSD() float64 {
	if len(m.firings) == 0 {
		return 0
	}
	return m.prior.FiringSD
}

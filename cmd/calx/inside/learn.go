package inside

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"calx/controller"
	"calx/profile"
	"calx/profile/pieces"
	"calx/sim/mould"
)

// Learn replaces what the physics says of the pieces in m, which Build made of
// files and p, by what test pieces and physics say together. All pulls are
// fitted at once, from a prior whose middle is the physics of these very
// moulds; how much a pull of another kind tells is the prior's pooling. Without
// a usable pull m stays as it is, bit for bit; so do patterns that melt, and thin
// ones of which there is no piece of the same kind. Pieces that cannot be used
// keep nobody from firing on the physics; the basis tells.
func Learn(m *controller.Mould, files []File, p *profile.Profile, pulls Pulls) {
	err := learn(m, files, p, pulls)
	if err == nil && len(pulls.List) == 0 && len(pulls.LeftOut) > 0 {
		err = errors.New(pulls.LeftOut[0])
	}
	if err != nil {
		for i := range m.Clear {
			m.Clear[i].Basis = "physics alone, the test pieces could not be used: " + strings.ReplaceAll(err.Error(), "\n", "; ")
		}
	}
}

// learn leaves m as it is when it fails.
func learn(m *controller.Mould, files []File, p *profile.Profile, pulls Pulls) error {
	var own []mould.Material
	for _, f := range files {
		own = append(own, f.Params.Materials...)
	}
	prior := PiecePrior(own...)
	usable := slices.DeleteFunc(slices.Clone(pulls.List), func(u pieces.Pull) bool { return melts(prior, u.Kind.Material) })
	if len(usable) == 0 {
		return nil
	}
	parts := partsOf(files, usable, airInBurn(p))
	prior.Known, prior.Name = known(parts, m.Clear, prior.Size.Mean), "the physics"
	post, err := pieces.Fit(prior, usable)
	if err != nil {
		return err
	}
	learned := slices.Clone(m.Clear)
	for i, part := range parts {
		if melts(prior, part.Kind.Material) || part.SectionM < thinM && post.Basis(part.Kind).Same == 0 {
			continue
		}
		if learned[i], err = posteriorOf(post, prior, part, m.Clear[i]); err != nil {
			return err
		}
		if n := len(pulls.LeftOut); n > 0 {
			learned[i].Basis += fmt.Sprintf("; %d left out, see calx piece predict", n)
		}
	}
	m.Clear = learned
	return nil
}

// thinM is the section in m under which a piece waits for heat rather than air,
// so that thicker pieces tell nothing of it; see package pieces.
const thinM = 0.006

// melts tells of wax and plastic, which leave next to no char to wait for.
func melts(prior pieces.Prior, material string) bool {
	const least = 0.05
	for _, m := range prior.Materials {
		if strings.EqualFold(m.Name, material) {
			return m.Char < least
		}
	}
	return false
}

// partsOf are the patterns of all moulds, flask by flask.
func partsOf(files []File, pulls []pieces.Pull, air bool) (out []pieces.Part) {
	for _, f := range files {
		k := pieces.Kind{Flask: habit(f.Params.Name, pulls), Air: air}
		if f.Params.Sprue.Open {
			k.Sprue = "open mouth"
		}
		for _, t := range f.Params.Patterns {
			k.Material = t.Material
			out = append(out, pieces.Part{Kind: k, SectionM: float64(t.Section)})
		}
	}
	return out
}

// habit is how the notebook calls the mould of a name: by the name itself, or
// by words of it, as "plug" for test-plug-60.
func habit(name string, pulls []pieces.Pull) string {
	words := func(s string) []string {
		return strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return r == '-' || r == ' ' })
	}
	best, all := []string(nil), words(name)
	called := name
	for _, u := range pulls {
		w := words(u.Kind.Flask)
		if len(w) > len(best) && !slices.ContainsFunc(w, func(s string) bool { return !slices.Contains(all, s) }) {
			best, called = w, u.Kind.Flask
		}
	}
	return called
}

// airInBurn is whether the fresh-air relay is on in the hold that burns.
func airInBurn(p *profile.Profile) (on bool) {
	plan := profile.Unroll(p, profile.Outlook{StartC: roomC})
	burn := burnHold(p, plan)
	for i, g := range plan.Segments {
		if s := p.Steps[g.Step]; i < burn && s.Kind == profile.Air {
			on = s.On
		}
	}
	return on
}

// logSection is the logarithm of a section over the 10 mm of package pieces.
func logSection(m float64) float64 { return math.Log(m / 0.010) }

// known is the middle of the prior of each kind, at 10 mm: its physics, on
// average over the patterns of a kind.
func known(parts []pieces.Part, physics []controller.Belief, size float64) map[pieces.Kind]float64 {
	sum, n := map[pieces.Kind]float64{}, map[pieces.Kind]float64{}
	for i, t := range parts {
		sum[t.Kind] += math.Log(physics[i].MedianMin) - size*logSection(t.SectionM)
		n[t.Kind]++
	}
	for k := range sum {
		sum[k] /= n[k]
	}
	return sum
}

// Where holds are compared, °C.
const (
	burnC  = 700
	belowC = 600
)

// mostMin stands for a time that the fit calls never: 60 days.
const mostMin = 60 * 24 * 60

// posteriorOf moves what the physics says of a part as far as the pieces move
// the middle of its kind.
func posteriorOf(post *pieces.Posterior, prior pieces.Prior, part pieces.Part, physics controller.Belief) (controller.Belief, error) {
	var errs []error
	hold := func(chance, tempC float64) float64 {
		h, err := post.Hold(pieces.Goal{Part: part, Chance: chance, TempC: tempC})
		if errors.Is(err, pieces.ErrNever) {
			return mostMin
		}
		errs = append(errs, err)
		return h.Time.Minutes()
	}
	// One and 1.645 standard deviations of the normal distribution.
	const oneUp, oneDown, sure, sureZ = 0.8413, 0.1587, 0.95, 1.6449
	t50, t84, t95 := hold(0.5, burnC), hold(oneUp, burnC), hold(sure, burnC)
	t16, err := early(post, part, oneDown, t50)
	cooler := hold(0.5, belowC)
	if err := errors.Join(append(errs, err)...); err != nil {
		return physics, err
	}
	const gas, zeroC, leastJPerMol, leastLn = 8.314462618, 273.15, 1000, 0.05
	b := physics
	b.MedianMin *= t50 / math.Exp(prior.Known[part.Kind]+prior.Size.Mean*logSection(part.SectionM))
	// The upper tail decides when a hold ends, so it is never made narrower.
	b.SigmaLn = max(math.Log(t84/t16)/2, math.Log(t95/t50)/sureZ, leastLn)
	b.EnergyJPerMol = max(leastJPerMol, gas*math.Log(cooler/t50)/(1/(belowC+zeroC)-1/(burnC+zeroC)))
	b.Basis = basis(post.Basis(part.Kind))
	return b, nil
}

// early is how many minutes at 700 °C make the part clear with a chance under
// one half, to a thousandth.
func early(post *pieces.Posterior, part pieces.Part, chance, t50 float64) (float64, error) {
	const widest, enough = 1000, 1e-3
	lo, hi := math.Log(t50/widest), math.Log(t50)
	for hi-lo > enough {
		mid := (lo + hi) / 2
		c, err := post.PClear(part, pieces.Soak(burnC, time.Duration(math.Exp(mid)*float64(time.Minute))))
		if err != nil {
			return 0, err
		}
		if c < chance {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Exp(hi), nil
}

// basis words what a posterior rests on: "3 test pieces, one of the same kind,
// and the physics".
func basis(b pieces.Basis) string {
	s := fmt.Sprintf("%d test pieces", b.Pieces)
	switch {
	case b.Pieces == 1 && b.Same == 1:
		s = "1 test piece of the same kind"
	case b.Pieces == 1:
		s = "1 test piece of another kind"
	case b.Same == b.Pieces:
		s += " of the same kind"
	case b.Same == 0:
		s += " of other kinds"
	case b.Same == 1:
		s += ", one of the same kind,"
	default:
		s += fmt.Sprintf(", %d of the same kind,", b.Same)
	}
	s += " and the physics"
	if len(b.Odd) > 0 {
		s += "; looks misread: " + strings.Join(b.Odd, ", ")
	}
	if b.Disagree {
		s += "; the pieces and the physics disagree, so check labels and temperatures"
	}
	return s
}

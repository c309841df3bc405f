package inside

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"calx/profile/pieces"
	"calx/sim/mould"
	"calx/storage/record"
)

// Firings is where the temperatures of past firings are.
type Firings interface {
	Firing(id uint64) (record.Firing, error)
	Readings(id uint64, from, to time.Duration, fn func(*record.Reading) error) error
}

// Pulls are the test pieces of a notebook, as far as they can be used.
type Pulls struct {
	List    []pieces.Pull
	Used    []uint64 // their numbers in the notebook
	LeftOut []string // why others could not be used, for people
}

// ReadPulls turns piece notes that stand into pulls. l is asked for pieces that
// were in a firing only.
func ReadPulls(l Firings, notes []record.Note) (out Pulls) {
	for _, n := range notes {
		p, err := pullOf(l, n.Piece)
		if err != nil {
			out.LeftOut = append(out.LeftOut, fmt.Sprintf("piece %d: %v", n.ID, err))
			continue
		}
		out.List, out.Used = append(out.List, p), append(out.Used, n.ID)
	}
	return out
}

// PiecePrior is what is believed of pieces before the first one: it knows the
// materials that calx knows, and own ones.
func PiecePrior(own ...mould.Material) pieces.Prior {
	var ms []pieces.Material
	for _, m := range append(own, mould.Materials()...) {
		ms = append(ms, pieces.Material{Name: m.Name, Char: float64(m.Char), Ash: float64(m.Ash), DensityKgM3: float64(m.Density)})
	}
	return pieces.DefaultPrior(ms...)
}

func pullOf(l Firings, p *record.Piece) (pieces.Pull, error) {
	out := pieces.Pull{
		Piece: p.Name, Kind: pieces.Kind{Material: p.Material, Flask: p.Flask, Sprue: p.Sprue, Air: p.Air},
		SectionM: p.SectionM, CoreM: p.CoreM, DryKg: p.DryKg, ResidueKg: p.ResidueKg,
	}
	var err error
	if out.State, err = pieces.ParseState(p.State); err != nil {
		return out, err
	}
	if p.Firing == 0 {
		out.History = pieces.Soak(p.HoldC, duration(p.HoldS))
		return out, nil
	}
	out.Firing = fmt.Sprintf("firing %d", p.Firing)
	out.History, err = historyOf(l, p)
	return out, err
}

// historyEvery is how far apart the samples of a history are: cores and
// chambers are straight over a minute.
const historyEvery = time.Minute

// historyOf is the temperature of a piece in its firing, from the beginning
// until it was pulled.
func historyOf(l Firings, p *record.Piece) ([]pieces.Sample, error) {
	head, err := l.Firing(p.Firing)
	if err != nil {
		return nil, err
	}
	at, err := followFiring(head, p.Follow)
	if err != nil {
		return nil, err
	}
	pulled := duration(p.PulledS)
	var out []pieces.Sample
	var last time.Duration
	err = l.Readings(p.Firing, 0, pulled+1, func(r *record.Reading) error {
		last = r.Since
		c := at(r)
		if c == c && (len(out) == 0 || r.Since >= out[len(out)-1].Since+historyEvery) {
			out = append(out, pieces.Sample{Since: r.Since, TempC: c})
		}
		return nil
	})
	switch {
	case err != nil:
		return nil, err
	case len(out) == 0:
		return nil, fmt.Errorf("firing %d has no temperature of %s", p.Firing, p.Follow)
	case last < pulled-historyEvery:
		return nil, fmt.Errorf("it was pulled at %.3g h, but the readings of firing %d end at %.3g h; mend the time with --pulled, or give a hold", pulled.Hours(), p.Firing, last.Hours())
	}
	if end := out[len(out)-1]; end.Since < pulled {
		out = append(out, pieces.Sample{Since: pulled, TempC: end.TempC})
	}
	return out, nil
}

// followFiring finds a temperature of a firing by its name; NaN where a reading
// has none.
func followFiring(head record.Firing, name string) (func(*record.Reading) float64, error) {
	core := func(i int) func(*record.Reading) float64 {
		return func(r *record.Reading) float64 {
			if i >= r.Moulds() {
				return math.NaN()
			}
			return r.Mould(i).CoreC
		}
	}
	if number, ok := strings.CutPrefix(name, "core "); ok {
		n, err := strconv.Atoi(number)
		if err != nil || n < 1 || n > len(head.Moulds) {
			return nil, fmt.Errorf("--follow is %q, but firing %d has %d kinds of mould", name, head.ID, len(head.Moulds))
		}
		return core(n - 1), nil
	}
	if name == "" && len(head.Moulds) > 0 {
		return core(0), nil
	}
	if name == "" {
		name = "chamber"
	}
	var roles []string
	for i, c := range head.Channels {
		if c.Role == name {
			return func(r *record.Reading) float64 {
				if i >= len(r.Channels) {
					return math.NaN()
				}
				return r.Channels[i].HotC
			}, nil
		}
		roles = append(roles, c.Role)
	}
	return nil, fmt.Errorf("--follow is %q, but firing %d has only %s", name, head.ID, strings.Join(roles, ", "))
}

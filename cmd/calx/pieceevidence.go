package main

import (
	"errors"

	"calx/cmd/calx/inside"
	"calx/profile/pieces"
	"calx/storage"
	"calx/storage/record"
)

// evidence is what the test pieces of a log say.
type evidence struct {
	posterior *pieces.Posterior
	used      []uint64 // numbers of the pieces it rests on
	leftOut   []string // why others could not be used
}

// readEvidence fits all pieces of the notebook that were not withdrawn.
func (f logFlags) readEvidence(e *env) (*evidence, error) {
	pulls, err := f.pulls(e)
	if err != nil {
		return nil, err
	}
	return fitEvidence(pulls)
}

// pulls are the pieces of the notebook; none where there is no log yet.
func (f logFlags) pulls(e *env) (out inside.Pulls, err error) {
	l, err := f.open(e.ctx)
	if errors.Is(err, storage.ErrMissing) {
		return out, nil // nothing was noted yet
	}
	if err != nil {
		return out, err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	all, damage := l.Notes(record.PieceNote)
	out = inside.ReadPulls(l.Log, record.Standing(record.Latest(all)))
	if damage != nil {
		out.LeftOut = append(out.LeftOut, damage.Error())
	}
	return out, nil
}

func fitEvidence(pulls inside.Pulls) (*evidence, error) {
	p, err := pieces.Fit(inside.PiecePrior(), pulls.List)
	return &evidence{p, pulls.Used, pulls.LeftOut}, err
}

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"calx/storage"
	"calx/storage/record"
)

// notebook is the notebook of a log, here or with the daemon.
type notebook interface {
	Notes(record.NoteKind) ([]record.Note, error)
	AddNote(record.Note) (record.Note, error)
	Close() error
}

// notebook opens it. A log that the daemon is writing is reached through it.
func (f logFlags) notebook(ctx context.Context, readOnly bool) (notebook, error) {
	file, err := f.file()
	if err != nil {
		return nil, err
	}
	if file != "" {
		l, err := storage.Open(file, &storage.Opts{ReadOnly: readOnly})
		if err == nil {
			return l, nil
		} else if !errors.Is(err, storage.ErrInUse) {
			return nil, err
		}
	}
	c, err := f.client()
	if err != nil {
		return nil, err
	}
	return remoteNotebook{ctx, c}, nil
}

// remoteNotebook asks the daemon.
type remoteNotebook struct {
	ctx context.Context
	*client
}

func (r remoteNotebook) Close() error { return nil }

func (r remoteNotebook) AddNote(n record.Note) (out record.Note, err error) {
	return out, r.post(r.ctx, "/api/notebook", n, &out)
}

func (r remoteNotebook) Notes(kind record.NoteKind) ([]record.Note, error) {
	ctx, cancel := context.WithTimeout(r.ctx, answerWithin)
	defer cancel()
	body, err := r.do(ctx, http.MethodGet, "/api/notebook?kind="+kind.String(), nil)
	if err != nil {
		return nil, err
	}
	defer body.Close()
	var answer struct {
		Notes    []record.Note `json:"notes"`
		Problems []string      `json:"problems"`
	}
	if err := json.NewDecoder(body).Decode(&answer); err != nil {
		return nil, fmt.Errorf("calx at %s answered something that is no notebook: %w", r.at, err)
	}
	for _, p := range answer.Problems {
		err = errors.Join(err, errors.New(p))
	}
	return answer.Notes, err
}

// notes reads all revisions of a kind. What is damaged is left out and named
// in the error.
func (f logFlags) notes(ctx context.Context, kind record.NoteKind) (_ []record.Note, err error) {
	nb, err := f.notebook(ctx, true)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, nb.Close()) }()
	return nb.Notes(kind)
}

// add writes a new entry.
func (f logFlags) add(ctx context.Context, n record.Note) (_ record.Note, err error) {
	if err := inFlags(n.Check()); err != nil {
		return n, err
	}
	nb, err := f.notebook(ctx, false)
	if err != nil {
		return n, err
	}
	defer func() { err = errors.Join(err, nb.Close()) }()
	n.At = time.Now()
	return nb.AddNote(n)
}

// mend writes a further revision of entry id, made from the latest by change.
func (f logFlags) mend(ctx context.Context, kind record.NoteKind, id uint64, change func(*record.Note) error) (n record.Note, err error) {
	nb, err := f.notebook(ctx, false)
	if err != nil {
		return n, err
	}
	defer func() { err = errors.Join(err, nb.Close()) }()
	all, err := nb.Notes(kind)
	if err != nil {
		return n, err
	}
	if n, err = find(record.Latest(all), kind, id); err != nil {
		return n, err
	}
	if err := change(&n); err != nil {
		return n, err
	}
	if err := inFlags(n.Check()); err != nil {
		return n, err
	}
	n.At = time.Now()
	return nb.AddNote(n)
}

func find(notes []record.Note, kind record.NoteKind, id uint64) (record.Note, error) {
	for _, n := range notes {
		if n.ID == id {
			return n, nil
		}
	}
	if len(notes) == 0 {
		return record.Note{}, fmt.Errorf("%v %d: the notebook holds no %v yet", kind, id, kind)
	}
	return record.Note{}, fmt.Errorf("%v %d: there is none of that number; the last one is %d", kind, id, notes[len(notes)-1].ID)
}

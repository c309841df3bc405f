package storage

import (
	"bytes"
	"errors"
	"fmt"
	"time"

	bolt "go.etcd.io/bbolt"

	"calx/storage/record"
)

// bucketNotebook holds the notebook: kind, entry, revision -> record.EncodeNote.
// A log from before there was a notebook lacks it, and gets it with its first
// note; a calx from before passes it over. So the format stays as it is.
var bucketNotebook = []byte("notebook")

var (
	// ErrNoNote says that the notebook holds no entry of that number.
	ErrNoNote = errors.New("no such entry in the notebook")
	// ErrChanged says that an entry has been mended since the revision a change
	// was made from. Nothing was written.
	ErrChanged = errors.New("the entry has been mended meanwhile")
)

// AddNote writes a revision and returns it as it is now on disk. Nothing that
// was written before is touched.
//
// With ID 0 it is the first revision of a new entry. Otherwise n.Revision is
// that of the latest revision, which this one is made from; ErrChanged says
// that there is a later one. Firings a note names must be in the log:
// ErrNoFiring. What Check refuses is not taken. n.At is the caller's, kept in
// UTC; a Log does not look at the clock for it.
//
// ErrNotDurable says that the disk failed. Unlike a reading the note is then
// not kept in memory; it may still have reached the disk.
func (l *Log) AddNote(n record.Note) (record.Note, error) {
	if err := n.Check(); err != nil {
		return record.Note{}, err
	}
	if err := l.writable(); err != nil {
		return record.Note{}, err
	}
	l.committing.Lock()
	defer l.committing.Unlock()
	n.At = n.At.UTC()
	var refused error
	start := time.Now()
	written, err := l.update(func(tx *bolt.Tx) error {
		if refused = firingsOf(tx, &n); refused != nil {
			return refused
		}
		b, err := tx.CreateBucketIfNotExists(bucketNotebook)
		if err != nil {
			return err
		}
		if refused = place(b, &n); refused != nil {
			return refused
		}
		return b.Put(key(uint64(n.Kind()), n.ID, n.Revision), record.EncodeNote(&n))
	})
	if refused != nil {
		return record.Note{}, refused
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.count(written, time.Since(start), err)
	if err != nil {
		return record.Note{}, fmt.Errorf("%w: %w; see whether the note is in the list before you give it again", ErrNotDurable, err)
	}
	return n, nil
}

// firingsOf refuses a note that names a firing that is not in the log.
func firingsOf(tx *bolt.Tx, n *record.Note) error {
	var ids []uint64
	if n.Piece != nil && n.Piece.Firing != 0 {
		ids = append(ids, n.Piece.Firing)
	}
	if n.Casting != nil {
		ids = n.Casting.Firings
	}
	var errs []error
	for _, id := range ids {
		errs = append(errs, exists(tx, id))
	}
	return errors.Join(errs...)
}

// place gives a note its place: the next entry, or the next revision.
func place(b *bolt.Bucket, n *record.Note) error {
	kind := uint64(n.Kind())
	if n.ID == 0 {
		n.ID, n.Revision = 1, 1
		if k, _ := lastOf(b, kind); k != nil {
			n.ID = number(k[8:]) + 1
		}
		return nil
	}
	latest := uint64(0)
	c := b.Cursor()
	prefix := key(kind, n.ID)
	for k, _ := c.Seek(prefix); len(k) >= len(prefix) && string(k[:len(prefix)]) == string(prefix); k, _ = c.Next() {
		latest = number(k[len(prefix):])
	}
	switch {
	case latest == 0:
		return fmt.Errorf("%v %d: %w", n.Kind(), n.ID, ErrNoNote)
	case n.Revision != latest:
		return fmt.Errorf("%v %d: %w: the change was made from revision %d, the latest is %d; look at it and mend it again", n.Kind(), n.ID, ErrChanged, n.Revision, latest)
	}
	n.Revision++
	return nil
}

// Notes returns every revision of every entry of a kind, by entry and then by
// revision, those withdrawn included. Revisions that cannot be read are left
// out and named in the error, which wraps ErrDamaged. A log without a notebook
// has none.
func (l *Log) Notes(kind record.NoteKind) ([]record.Note, error) {
	var out []record.Note
	var bad error
	err := l.view(func(tx *bolt.Tx) error {
		b := tx.Bucket(bucketNotebook)
		if b == nil {
			return nil
		}
		c := b.Cursor()
		for k, v := c.Seek(key(uint64(kind))); k != nil && number(k) == uint64(kind); k, v = c.Next() {
			n, err := record.DecodeNote(v)
			if err == nil && (n.Kind() != kind || !bytes.Equal(k, key(uint64(kind), n.ID, n.Revision))) {
				err = elsewhere("%v %d, revision %d", n.Kind(), n.ID, n.Revision)
			}
			if err != nil {
				bad = errors.Join(bad, fmt.Errorf("%v %d, revision %d: %w: %w", kind, number(after(k, 8)), number(after(k, 16)), ErrDamaged, err))
				continue
			}
			out = append(out, n)
		}
		return nil
	})
	return out, errors.Join(err, bad)
}

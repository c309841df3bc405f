package storage

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	bolt "go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"calx/storage/record"
)

// view runs a read transaction. What fn keeps of the file it must copy.
func (l *Log) view(fn func(*bolt.Tx) error) error {
	l.mu.Lock()
	closed, dead := l.closed, l.dead
	l.mu.Unlock()
	if closed {
		return ErrClosed
	}
	if dead != nil {
		return dead
	}
	err := guard(func() error { return l.db.View(fn) })
	if errors.Is(err, berrors.ErrDatabaseNotOpen) {
		return ErrClosed
	}
	return err
}

// Firings returns all heads, oldest first. Heads that cannot be read are left
// out and named in the error, which wraps ErrDamaged.
func (l *Log) Firings() ([]record.Firing, error) {
	var out []record.Firing
	var bad error
	next := uint64(1)
	err := l.view(func(tx *bolt.Tx) error {
		return tx.Bucket(bucketHeads).ForEach(func(k, v []byte) error {
			if id := number(k); id > next {
				bad = errors.Join(bad, fmt.Errorf("heads of firings %d to %d: %w: %w", next, id-1, ErrDamaged, errGap))
			}
			next = number(k) + 1
			f, err := decodeHead(k, v)
			if err != nil {
				bad = errors.Join(bad, err)
				return nil
			}
			out = append(out, f)
			return nil
		})
	})
	return out, errors.Join(err, bad)
}

func decodeHead(k, v []byte) (record.Firing, error) {
	f, err := record.DecodeFiring(v)
	if err == nil && !bytes.Equal(k, key(f.ID)) {
		err = elsewhere("head of firing %d", f.ID)
	}
	if err != nil {
		return record.Firing{}, fmt.Errorf("head of firing %d: %w: %w", number(k), ErrDamaged, err)
	}
	return f, nil
}

// Firing returns one head, as it was last committed; ErrNoFiring says which
// numbers there are.
func (l *Log) Firing(id uint64) (f record.Firing, err error) {
	err = l.view(func(tx *bolt.Tx) error {
		b := tx.Bucket(bucketHeads)
		v := b.Get(key(id))
		if v == nil {
			return noFiring(b, id)
		}
		f, err = decodeHead(key(id), v)
		return err
	})
	return f, err
}

func noFiring(heads *bolt.Bucket, id uint64) error {
	last, _ := heads.Cursor().Last()
	if last == nil {
		return fmt.Errorf("firing %d: %w: the log is empty", id, ErrNoFiring)
	}
	return fmt.Errorf("firing %d: %w: the last one is %d", id, ErrNoFiring, number(last))
}

// exists returns ErrNoFiring unless the firing is in the file.
func exists(tx *bolt.Tx, id uint64) error {
	if b := tx.Bucket(bucketHeads); b.Get(key(id)) == nil {
		return noFiring(b, id)
	}
	return nil
}

// State returns the controller's state as last given to Append, queued or not;
// nil when there was none or the firing has ended. The bytes are the caller's.
// A state whose bytes were changed is ErrDamaged; readings can still be added.
func (l *Log) State(id uint64) ([]byte, error) {
	if err := l.view(func(tx *bolt.Tx) error { return exists(tx, id) }); err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.cur == nil || l.cur.head.ID != id {
		return nil, nil
	}
	if err := l.cur.stateDamage; err != nil {
		return nil, fmt.Errorf("%w: the state of firing %d: %w", ErrDamaged, id, err)
	}
	return slices.Clone(l.cur.state), nil
}

// Events returns the events of a firing in order, those still queued included.
// Events that cannot be read are left out and named by DamageErrors.
func (l *Log) Events(id uint64) ([]record.Event, error) {
	queued := l.newestEvents(id)
	before := uint64(math.MaxUint64)
	if len(queued) > 0 {
		before = queued[0].seq
	}
	var out []record.Event
	var bad error
	take := func(seq uint64, v []byte) {
		e, err := record.DecodeEvent(v)
		if err == nil && e.Seq != seq {
			err = elsewhere("event %d", e.Seq)
		}
		if err != nil {
			bad = errors.Join(bad, &DamageError{Firing: id, First: seq, Last: seq, Events: true, Cause: err})
			return
		}
		out = append(out, e)
	}
	err := l.view(func(tx *bolt.Tx) error {
		c := tx.Bucket(bucketEvents).Cursor()
		for k, v := c.Seek(key(id)); k != nil && number(k) == id && number(k[8:]) < before; k, v = c.Next() {
			take(number(k[8:]), v)
		}
		return exists(tx, id)
	})
	if err != nil {
		return nil, err
	}
	for _, e := range queued {
		take(e.seq, e.bytes)
	}
	return out, bad
}

func (l *Log) newestEvents(id uint64) []event {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.cur == nil || l.cur.head.ID != id {
		return nil
	}
	return slices.Clone(l.cur.events)
}

// Snapshot flushes, then writes a whole copy of the log to w: a file that
// Open takes. It is how another process reads a log the daemon is writing.
// Commits go on meanwhile; pages they free are kept until w has all, so a slow
// w makes the file grow. ErrNotDurable says that the copy is whole but lacks
// what is queued.
func (l *Log) Snapshot(w io.Writer) error {
	ferr := l.Flush()
	if ferr != nil && !errors.Is(ferr, ErrNotDurable) && !errors.Is(ferr, ErrReadOnly) {
		return ferr
	}
	if errors.Is(ferr, ErrReadOnly) {
		ferr = nil
	}
	err := l.view(func(tx *bolt.Tx) error {
		_, err := tx.WriteTo(w)
		return err
	})
	return errors.Join(err, ferr)
}

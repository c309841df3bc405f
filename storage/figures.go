package storage

import (
	"bytes"
	"time"

	bolt "go.etcd.io/bbolt"

	"calx/storage/record"
)

// bucketFigures holds, for each firing, what was worked out of its readings so
// that a list of firings need not read them all: number -> bytes whose meaning
// only their maker knows. Whatever is missing or damaged there can be worked
// out again. A log from before lacks the bucket, and gets it with the first
// figures; a calx from before passes it over. So the format stays as it is.
var bucketFigures = []byte("figures")

// KeepFigures stores the figures of a firing, over those it had. They are on
// disk when it returns nil. ErrNoFiring when there is no such firing.
func (l *Log) KeepFigures(id uint64, figures []byte) error {
	if err := l.writable(); err != nil {
		return err
	}
	l.committing.Lock()
	defer l.committing.Unlock()
	var refused error
	start := time.Now()
	written, err := l.update(func(tx *bolt.Tx) error {
		if refused = exists(tx, id); refused != nil {
			return refused
		}
		b, err := tx.CreateBucketIfNotExists(bucketFigures)
		if err != nil {
			return err
		}
		return b.Put(key(id), record.EncodeState(figures))
	})
	if refused != nil {
		return refused
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.count(written, time.Since(start), err)
	return notDurable(err)
}

// Figures returns the figures of every firing that has any, by its number. The
// bytes are the caller's. Damaged ones are left out.
func (l *Log) Figures() (map[uint64][]byte, error) {
	out := map[uint64][]byte{}
	err := l.view(func(tx *bolt.Tx) error {
		b := tx.Bucket(bucketFigures)
		if b == nil {
			return nil
		}
		return b.ForEach(func(k, v []byte) error {
			if figures, err := record.DecodeState(v); err == nil && !bytes.HasPrefix(v, []byte("{")) {
				out[number(k)] = figures
			}
			return nil
		})
	})
	return out, err
}

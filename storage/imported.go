package storage

import (
	"errors"
	"fmt"
	"time"

	bolt "go.etcd.io/bbolt"

	"calx/storage/record"
)

// Import writes a whole firing that was recorded elsewhere, and returns its
// number, which replaces f.ID. All of it is on disk when Import returns nil;
// otherwise nothing is: it is one transaction. f.Imported and f.Outcome must
// not be empty, and Seq of readings and events must rise. ErrUnfinished says
// that a firing runs, which comes first.
func (l *Log) Import(f record.Firing, readings []record.Reading, events []record.Event) (id uint64, err error) {
	if f.Imported == "" || f.Outcome == "" {
		return 0, errors.New("import: a firing from elsewhere says where it is from and how it ended")
	}
	b := &batch{end: &f}
	if b.sealed, err = blocks(readings); err != nil {
		return 0, err
	}
	if n := len(readings); n > 0 {
		f.Readings = readings[n-1].Seq + 1
	}
	for i := range events {
		b.events = append(b.events, event{events[i].Seq, record.EncodeEvent(&events[i])})
	}
	if err := l.writable(); err != nil {
		return 0, err
	}
	l.committing.Lock()
	defer l.committing.Unlock()
	if err := l.commitHeld(); err != nil {
		return 0, err
	}
	if id, ok := l.Unfinished(); ok {
		return 0, fmt.Errorf("%w: firing %d; it comes first", ErrUnfinished, id)
	}
	start := time.Now()
	written, err := l.update(func(tx *bolt.Tx) error {
		if f.ID, err = nextID(tx.Bucket(bucketHeads)); err != nil {
			return err
		}
		b.id = f.ID
		return b.write(tx)
	})
	l.mu.Lock()
	defer l.mu.Unlock()
	l.count(written, time.Since(start), err)
	if err != nil {
		return 0, fmt.Errorf("%w: %w; nothing was imported", ErrNotDurable, err)
	}
	return f.ID, nil
}

// blocks packs readings as a firing of calx's own would have been.
func blocks(readings []record.Reading) (out []block, err error) {
	r := &run{}
	for i := range readings {
		if err := r.check(&readings[i], nil); err != nil {
			return nil, err
		}
		r.add(&readings[i], nil, nil)
	}
	r.seal()
	return r.sealed, nil
}

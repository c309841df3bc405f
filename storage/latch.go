package storage

import (
	"errors"
	"fmt"
	"time"

	bolt "go.etcd.io/bbolt"

	"calx/storage/record"
)

// bucketLatch holds the number of the last firing whose trip a person has
// cleared. A log from before lacks it, and gets it with the first clearing; a
// calx from before passes it over. So the format stays as it is.
//
// That a trip latches needs no record of its own: the newest firing says that
// it tripped, and End wrote that to disk. The two cannot disagree.
var (
	bucketLatch = []byte("latch")
	keyCleared  = []byte("cleared")
)

var (
	// ErrTripped says that the newest firing tripped and nobody has cleared it.
	ErrTripped = errors.New("a guard has tripped and nobody has cleared it")
	// ErrNoTrip says that there is no trip to clear.
	ErrNoTrip = errors.New("there is no trip to clear")
)

// Tripped is the outcome that latches.
const Tripped = "tripped"

// Trip returns the newest firing when it tripped and nobody has cleared that;
// ok is false otherwise. What cannot be read counts as nothing: Begin would
// not get past it.
func (l *Log) Trip() (f record.Firing, ok bool, err error) {
	l.mu.Lock()
	if l.cur != nil {
		if l.cur.end != nil {
			f, ok = *l.cur.end, l.cur.end.Outcome == Tripped
		}
		l.mu.Unlock()
		return f, ok, nil
	}
	l.mu.Unlock()
	err = l.view(func(tx *bolt.Tx) error {
		f, ok, err = latched(tx)
		return err
	})
	return f, ok, err
}

// latched finds the trip that is not cleared.
func latched(tx *bolt.Tx) (f record.Firing, ok bool, err error) {
	c := tx.Bucket(bucketHeads).Cursor()
	k, v := c.Last()
	for ; k != nil; k, v = c.Prev() {
		// What was recorded elsewhere says nothing about this kiln.
		if f, err = decodeHead(k, v); err != nil || f.Imported == "" {
			break
		}
	}
	if k == nil {
		return record.Firing{}, false, nil
	}
	if err != nil || f.Outcome != Tripped {
		return record.Firing{}, false, err
	}
	if b := tx.Bucket(bucketLatch); b != nil && number(b.Get(keyCleared)) >= number(k) {
		return record.Firing{}, false, nil
	}
	return f, true, nil
}

// Clear lets go of the trip of firing id, which must be the one that Trip
// returns: a person has looked at the kiln. It is on disk when Clear returns
// nil. ErrNoTrip says that nothing, or another firing, is latched.
func (l *Log) Clear(id uint64) error {
	if err := l.writable(); err != nil {
		return err
	}
	l.committing.Lock()
	defer l.committing.Unlock()
	if err := l.commitHeld(); err != nil {
		return err
	}
	var refused error
	start := time.Now()
	written, err := l.update(func(tx *bolt.Tx) error {
		f, ok, err := latched(tx)
		switch {
		case err != nil:
			return err
		case !ok:
			refused = ErrNoTrip
			return refused
		case f.ID != id:
			refused = fmt.Errorf("%w: not firing %d, but firing %d has tripped", ErrNoTrip, id, f.ID)
			return refused
		}
		b, err := tx.CreateBucketIfNotExists(bucketLatch)
		if err != nil {
			return err
		}
		return b.Put(keyCleared, key(id))
	})
	if refused != nil {
		return refused
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.count(written, time.Since(start), err)
	return notDurable(err)
}

// TakenUp adds a turn to the head of the unfinished firing; it is on disk when
// TakenUp returns nil. ErrEnded when id is not the running firing.
func (l *Log) TakenUp(id uint64, r record.Run) error {
	l.committing.Lock()
	defer l.committing.Unlock()
	l.mu.Lock()
	err := l.runningLocked(id)
	var head record.Firing
	if err == nil {
		head = l.cur.head
		head.Runs = append(head.Runs[:len(head.Runs):len(head.Runs)], r)
		l.cur.head = head
	}
	l.mu.Unlock()
	if err != nil {
		return err
	}
	start := time.Now()
	written, err := l.update(func(tx *bolt.Tx) error {
		return tx.Bucket(bucketHeads).Put(key(id), record.EncodeFiring(&head))
	})
	l.mu.Lock()
	defer l.mu.Unlock()
	l.count(written, time.Since(start), err)
	return notDurable(err)
}

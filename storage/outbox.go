package storage

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"time"

	bolt "go.etcd.io/bbolt"

	"calx/storage/record"
)

// bucketOutbox holds what is to be told to people: number -> record.EncodeMessage.
// A log from before lacks it, and gets it with its first message; a calx from
// before passes it over. So the format stays as it is.
var bucketOutbox = []byte("outbox")

// MostMessages is how many the outbox keeps. A firing makes some twenty; past
// this the oldest that reached somebody goes first.
const MostMessages = 500

// ErrNoMessage says that the outbox holds no message of that number.
var ErrNoMessage = errors.New("no such message")

// Post puts a message into the outbox, gives it its number and returns it as
// it is now on disk. It waits for the disk: the control loop never calls it.
// ErrNotDurable says that the disk failed; the message is then not kept.
func (l *Log) Post(m record.Message) (record.Message, error) {
	m.At = m.At.UTC()
	err := l.outbox(func(b *bolt.Bucket) error {
		last, _ := b.Cursor().Last()
		if m.ID = number(last) + 1; m.ID == 0 {
			return fmt.Errorf("message %d: %w", uint64(math.MaxUint64), ErrDamaged)
		}
		if err := makeRoom(b); err != nil {
			return err
		}
		return b.Put(key(m.ID), record.EncodeMessage(&m))
	})
	if err != nil {
		m.ID = 0
	}
	return m, err
}

// makeRoom removes the oldest message that reached somebody, or that cannot be
// read, while there are too many; where none did, the oldest.
func makeRoom(b *bolt.Bucket) error {
	for n := b.Stats().KeyN; n >= MostMessages; n-- {
		c := b.Cursor()
		oldest, v := c.First()
		k := oldest
		for ; k != nil; k, v = c.Next() {
			if m, err := record.DecodeMessage(v); err != nil || len(m.Sent) > 0 || !m.Acked.IsZero() {
				break
			}
		}
		if k == nil {
			k = oldest
		}
		if err := b.Delete(bytes.Clone(k)); err != nil {
			return err
		}
	}
	return nil
}

// Told notes how often a message has reached a destination.
func (l *Log) Told(id uint64, s record.Sent) error {
	s.Last = s.Last.UTC()
	return l.outbox(func(b *bolt.Bucket) error {
		return mend(b, id, func(m *record.Message) {
			for i := range m.Sent {
				if m.Sent[i].To == s.To {
					m.Sent[i] = s
					return
				}
			}
			m.Sent = append(m.Sent, s)
		})
	})
}

// Acknowledge notes that a person has seen these messages. What was
// acknowledged before keeps its time.
func (l *Log) Acknowledge(ids []uint64, at time.Time) error {
	return l.outbox(func(b *bolt.Bucket) error {
		var errs []error
		for _, id := range ids {
			errs = append(errs, mend(b, id, func(m *record.Message) {
				if m.Acked.IsZero() {
					m.Acked = at.UTC()
				}
			}))
		}
		return errors.Join(errs...)
	})
}

// mend changes one message.
func mend(b *bolt.Bucket, id uint64, change func(*record.Message)) error {
	v := b.Get(key(id))
	if v == nil {
		return fmt.Errorf("message %d: %w", id, ErrNoMessage)
	}
	m, err := record.DecodeMessage(v)
	if err != nil {
		return fmt.Errorf("message %d: %w: %w", id, ErrDamaged, err)
	}
	change(&m)
	return b.Put(key(id), record.EncodeMessage(&m))
}

// outbox runs a change of the outbox; on disk when it returns nil.
func (l *Log) outbox(change func(*bolt.Bucket) error) error {
	if err := l.writable(); err != nil {
		return err
	}
	l.committing.Lock()
	defer l.committing.Unlock()
	var refused error
	start := time.Now()
	written, err := l.update(func(tx *bolt.Tx) error {
		b, err := tx.CreateBucketIfNotExists(bucketOutbox)
		if err != nil {
			return err
		}
		refused = change(b)
		return refused
	})
	if refused != nil && errors.Is(err, refused) {
		return refused
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.count(written, time.Since(start), err)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrNotDurable, err)
	}
	return nil
}

// Messages returns the outbox, oldest first. What cannot be read is left out
// and named in the error, which wraps ErrDamaged. A log without an outbox has
// none.
func (l *Log) Messages() ([]record.Message, error) {
	var out []record.Message
	var bad error
	err := l.view(func(tx *bolt.Tx) error {
		b := tx.Bucket(bucketOutbox)
		if b == nil {
			return nil
		}
		return b.ForEach(func(k, v []byte) error {
			m, err := record.DecodeMessage(v)
			if err == nil && (len(k) != 8 || m.ID != number(k)) {
				err = record.ErrDamaged
			}
			if err != nil {
				bad = errors.Join(bad, fmt.Errorf("message %d: %w: %w", number(k), ErrDamaged, err))
				return nil
			}
			out = append(out, m)
			return nil
		})
	})
	return out, errors.Join(err, bad)
}

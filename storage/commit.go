package storage

import (
	"encoding/binary"
	"errors"
	"time"

	bolt "go.etcd.io/bbolt"

	"calx/storage/record"
)

// fillPercent leaves little room in pages of readings: keys only ever rise.
const fillPercent = 0.95

// batch is what one commit writes. A commit may be repeated after it failed,
// and may then in truth have succeeded (the last sync failed): all it does is
// put the same keys again.
type batch struct {
	id       uint64
	sealed   []block
	tail     []byte // nil when there are no newest readings
	events   []event
	state    []byte // nil when it is unchanged
	end      *record.Firing
	changes  uint64
	readings uint64
}

// commit writes what is queued; nil when nothing is.
func (l *Log) commit() error {
	l.committing.Lock()
	defer l.committing.Unlock()
	return l.commitHeld()
}

func (l *Log) commitHeld() error {
	b := l.take()
	if b == nil {
		return nil
	}
	start := time.Now()
	written, err := l.update(b.write)
	l.settle(b, written, time.Since(start), err)
	return notDurable(err)
}

// take copies what is queued; nil for nothing.
func (l *Log) take() *batch {
	l.mu.Lock()
	defer l.mu.Unlock()
	r := l.cur
	if r == nil || r.changes == r.onDisk {
		return nil
	}
	l.flying, l.oldest = l.oldest, time.Time{}
	b := &batch{
		id: r.head.ID, sealed: r.sealed, tail: r.tail.Bytes(), events: r.events,
		end: r.end, changes: r.changes, readings: r.readings,
	}
	if r.newState {
		b.state, r.newState = r.state, false
	}
	return b
}

// settle drops from the queue what is now on disk.
func (l *Log) settle(b *batch, written uint64, took time.Duration, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.count(written, took, err)
	r := l.cur
	if err != nil {
		l.oldest = earlier(l.flying, l.oldest)
		l.flying = time.Time{}
		r.newState = r.newState || b.state != nil
		return
	}
	l.flying = time.Time{}
	r.sealed, r.events = r.sealed[len(b.sealed):], r.events[len(b.events):]
	for _, s := range b.sealed {
		r.bytes -= len(s.bytes)
	}
	for _, e := range b.events {
		r.bytes -= len(e.bytes)
	}
	r.onDisk, r.durable = b.changes, b.readings
	if b.end != nil {
		l.cur = nil
	}
}

// earlier of two times, where zero is no time.
func earlier(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}

// count keeps the figures of a commit.
func (l *Log) count(written uint64, took time.Duration, err error) {
	s := &l.stats
	s.CommitLast, s.CommitMax = took, max(s.CommitMax, took)
	s.CommitTotal += took
	s.BytesWritten += written
	s.Err = err
	if err == nil {
		s.Commits++
		return
	}
	s.Failures++
	var f *faulted
	if errors.As(err, &f) {
		l.dead = err
	}
}

// update runs one write transaction and returns the bytes it wrote: bbolt's
// pages and its header.
func (l *Log) update(fn func(*bolt.Tx) error) (written uint64, err error) {
	l.mu.Lock()
	dead := l.dead
	l.mu.Unlock()
	if dead != nil {
		return 0, dead
	}
	err = guard(func() error {
		return l.db.Update(func(tx *bolt.Tx) error {
			tx.OnCommit(func() {
				s := tx.Stats()
				written = uint64(s.GetPageAlloc()) + pageSize
			})
			if l.o.testOnlyBefore != nil {
				if err := l.o.testOnlyBefore(); err != nil {
					return err
				}
			}
			return fn(tx)
		})
	})
	if err == nil && l.o.testOnlyAfter != nil {
		err = l.o.testOnlyAfter()
	}
	return written, err
}

func (b *batch) write(tx *bolt.Tx) error {
	readings, events := tx.Bucket(bucketReadings), tx.Bucket(bucketEvents)
	readings.FillPercent, events.FillPercent = fillPercent, fillPercent
	for _, s := range b.sealed {
		if err := readings.Put(key(b.id, s.first), s.bytes); err != nil {
			return err
		}
	}
	for _, e := range b.events {
		if err := events.Put(key(b.id, e.seq), e.bytes); err != nil {
			return err
		}
	}
	tail := tx.Bucket(bucketTail)
	if b.end != nil {
		head := tx.Bucket(bucketHeads)
		return errors.Join(put(tail, tailKey('r', b.id), nil), put(tail, tailKey('s', b.id), nil),
			head.Put(key(b.id), record.EncodeFiring(b.end)))
	}
	if err := put(tail, tailKey('r', b.id), b.tail); err != nil || b.state == nil {
		return err
	}
	return put(tail, tailKey('s', b.id), record.EncodeState(b.state))
}

// put stores v, or removes the key where v is nil.
func put(b *bolt.Bucket, k, v []byte) error {
	if v == nil {
		return b.Delete(k)
	}
	return b.Put(k, v)
}

// key joins numbers so that keys sort as the numbers do.
func key(ns ...uint64) []byte {
	var k []byte
	for _, n := range ns {
		k = binary.BigEndian.AppendUint64(k, n)
	}
	return k
}

// number undoes key.
func number(k []byte) uint64 {
	if len(k) < 8 {
		return 0
	}
	return binary.BigEndian.Uint64(k)
}

// after is what follows the first n bytes of a key, of which a damaged one may
// have fewer.
func after(k []byte, n int) []byte { return k[min(n, len(k)):] }

func tailKey(kind byte, id uint64) []byte {
	return binary.BigEndian.AppendUint64([]byte{kind}, id)
}

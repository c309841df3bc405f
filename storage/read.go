package storage

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

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
	if err != nil {
		return f, fmt.Errorf("head of firing %d: %w: %w", number(k), ErrDamaged, err)
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
func (l *Log) State(id uint64) ([]byte, error) {
	if err := l.view(func(tx *bolt.Tx) error { return exists(tx, id) }); err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.cur == nil || l.cur.head.ID != id {
		return nil, nil
	}
	return slices.Clone(l.cur.state), nil
}

// readAhead is how many blocks are copied in one transaction: no transaction
// stays open while fn runs.
const readAhead = 64

// Readings calls fn for each reading with from <= Since < to, in order, those
// still queued included; to 0 is no bound. The reading is fn's to keep. It
// stops at the first error of fn and returns it as it is. Readings that cannot
// be read, or are missing between others, are passed over, and the DamageErrors
// that name them are returned joined when all others have been delivered.
func (l *Log) Readings(id uint64, from, to time.Duration, fn func(*record.Reading) error) error {
	queued, damage := l.newest(id)
	before := uint64(math.MaxUint64)
	if len(queued) > 0 {
		before = queued[0].first
	}
	next := uint64(0)
	if err := l.view(func(tx *bolt.Tx) (err error) {
		next = startAt(tx.Bucket(bucketReadings), id, from)
		return exists(tx, id)
	}); err != nil {
		return err
	}
	d := delivery{id: id, from: from, to: to, fn: fn, want: next}
	for more := true; more && !d.done; {
		var blocks []block
		if err := l.view(func(tx *bolt.Tx) error {
			blocks, more = blocksOf(tx, id, next, before)
			return nil
		}); err != nil {
			return err
		}
		for _, b := range blocks {
			if err := d.deliver(b); err != nil {
				return err
			}
			next = b.first + 1
		}
	}
	for _, b := range queued {
		if err := d.deliver(b); err != nil {
			return err
		}
	}
	if damage != nil {
		d.bad = append(d.bad, damage)
	}
	if f, err := l.Firing(id); err == nil && f.Readings > 0 && !d.done {
		d.gap(f.Readings)
	}
	return d.damage()
}

// newest returns the blocks of a firing that are in memory. They are taken
// before the file is read: what a commit moves there meanwhile is then seen
// twice and left out once, never missed.
func (l *Log) newest(id uint64) ([]block, *DamageError) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.cur == nil || l.cur.head.ID != id {
		return nil, nil
	}
	out := slices.Clone(l.cur.sealed)
	if l.cur.tail.Count() > 0 {
		out = append(out, block{l.cur.tail.First(), l.cur.tail.Bytes()})
	}
	if l.cur.damage == nil {
		return out, nil
	}
	return out, &DamageError{Firing: id, First: l.cur.next, Last: math.MaxUint64, Cause: l.cur.damage}
}

// startAt bisects for the block that holds from. It returns the Seq to start
// at, 0 when a damaged block is in the way.
func startAt(b *bolt.Bucket, id uint64, from time.Duration) uint64 {
	k, _ := lastOf(b, id)
	if k == nil || from <= 0 {
		return 0
	}
	c, best := b.Cursor(), uint64(0)
	for lo, hi := uint64(0), number(k[8:]); lo <= hi; {
		mid := lo + (hi-lo)/2
		k, v := c.Seek(key(id, mid)) // found: mid is at most the last
		since, err := record.BlockStart(v)
		switch {
		case err != nil:
			return 0
		case since <= from:
			best = number(k[8:])
			lo = best + 1
		case mid == 0:
			return best
		default:
			hi = mid - 1
		}
	}
	return best
}

// blocksOf copies up to readAhead blocks with next <= first < before.
func blocksOf(tx *bolt.Tx, id, next, before uint64) (out []block, more bool) {
	c := tx.Bucket(bucketReadings).Cursor()
	for k, v := c.Seek(key(id, next)); k != nil && number(k) == id; k, v = c.Next() {
		first := number(k[8:])
		if first >= before {
			return out, false
		}
		if len(out) == readAhead {
			return out, true
		}
		out = append(out, block{first, slices.Clone(v)})
	}
	return out, false
}

// delivery is one call of Readings.
type delivery struct {
	id       uint64
	from, to time.Duration
	fn       func(*record.Reading) error
	bad      []*DamageError
	want     uint64 // Seq of the next reading
	open     bool   // the last of bad ends where the next block begins
	done     bool   // to was reached
}

// gap notes what is missing before the reading that comes next.
func (d *delivery) gap(next uint64) {
	switch {
	case d.open:
		d.bad[len(d.bad)-1].Last = next - 1
		d.open = false
	case next > d.want:
		d.bad = append(d.bad, &DamageError{Firing: d.id, First: d.want, Last: next - 1, Cause: errGap})
	}
}

func (d *delivery) deliver(b block) error {
	if d.done {
		return nil
	}
	d.gap(b.first)
	d.want = b.first
	rs, err := record.DecodeBlock(b.bytes)
	if err != nil {
		d.bad = append(d.bad, &DamageError{Firing: d.id, First: b.first, Last: math.MaxUint64, Cause: err})
		d.open = true
		return nil
	}
	for i := range rs {
		d.gap(rs[i].Seq)
		d.want = rs[i].Seq + 1
		if rs[i].Since < d.from {
			continue
		}
		if d.to > 0 && rs[i].Since >= d.to {
			d.done = true
			return nil
		}
		if err := d.fn(&rs[i]); err != nil {
			return err
		}
	}
	return nil
}

func (d *delivery) damage() error {
	var err error
	for _, e := range d.bad {
		err = errors.Join(err, e)
	}
	return err
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

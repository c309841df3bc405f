package storage

import (
	"errors"
	"math"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"

	"calx/storage/record"
)

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
			if best == math.MaxUint64 {
				return 0 // no writer counts so far
			}
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

// overlap notes readings that stand where others have been read already.
func (d *delivery) overlap(seq uint64) {
	d.bad = append(d.bad, &DamageError{Firing: d.id, First: seq, Last: seq, Cause: elsewhere("reading %d", seq)})
}

func (d *delivery) deliver(b block) error {
	if d.done {
		return nil
	}
	if b.first < d.want {
		d.overlap(b.first)
		return nil
	}
	d.gap(b.first)
	d.want = b.first
	rs, err := record.DecodeBlock(b.bytes)
	if err == nil && rs[0].Seq != b.first {
		err = elsewhere("block from reading %d on", rs[0].Seq)
	}
	if err != nil {
		d.bad = append(d.bad, &DamageError{Firing: d.id, First: b.first, Last: math.MaxUint64, Cause: err})
		d.open = true
		return nil
	}
	for i := range rs {
		if rs[i].Seq < d.want {
			d.overlap(rs[i].Seq)
			return nil
		}
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

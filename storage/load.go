package storage

import (
	"bytes"

	bolt "go.etcd.io/bbolt"

	"calx/storage/record"
)

// load reads what the file says about itself and, if a firing is unfinished,
// all that is needed to go on with it.
func (l *Log) load() error {
	return guard(func() error { return l.db.View(l.loadFrom) })
}

func (l *Log) loadFrom(tx *bolt.Tx) error {
	for _, name := range [][]byte{bucketMeta, bucketHeads, bucketTail, bucketReadings, bucketEvents} {
		if tx.Bucket(name) == nil {
			return fileError(l.path, ErrNotLog, "it is a database, but without %q", name)
		}
	}
	format := tx.Bucket(bucketMeta).Get(keyFormat)
	if len(format) != 1 || format[0] == 0 {
		return fileError(l.path, ErrDamaged, "its format reads %x, want one byte", format)
	}
	if format[0] > formatVersion {
		return fileError(l.path, ErrNewer, "format %d, this calx knows up to %d", format[0], formatVersion)
	}
	k, v := tx.Bucket(bucketHeads).Cursor().Last()
	if k == nil {
		return nil
	}
	head, err := decodeHead(k, v)
	if err == nil && head.Outcome != "" {
		return nil
	}
	if err == nil {
		l.cur = &run{head: head}
		err = l.cur.load(tx)
	}
	if err != nil && !l.o.ReadOnly {
		return fileError(l.path, ErrDamaged, "firing %d, the last one: %v", number(k), err)
	}
	return nil
}

// load resumes where the last commit left off.
func (r *run) load(tx *bolt.Tx) error {
	id := r.head.ID
	if v := tx.Bucket(bucketTail).Get(tailKey('s', id)); v != nil {
		r.state, r.stateDamage = record.DecodeState(v)
	}
	if k, _ := lastOf(tx.Bucket(bucketEvents), id); k != nil {
		r.nextEvent = number(k[8:]) + 1
	}
	newest := tx.Bucket(bucketTail).Get(tailKey('r', id))
	if _, v := lastOf(tx.Bucket(bucketReadings), id); v != nil {
		rs, err := record.DecodeBlock(v)
		if err == nil {
			r.next = rs[len(rs)-1].Seq + 1
		} else if newest == nil {
			return err
		}
	}
	if newest == nil {
		return nil
	}
	rs, err := record.DecodeBlock(newest)
	if err != nil {
		r.damage = err
		return err
	}
	for i := range rs {
		r.tail.Add(&rs[i])
	}
	r.next = r.tail.Last() + 1
	return nil
}

// lastOf returns the last entry of a firing; nil without one.
func lastOf(b *bolt.Bucket, id uint64) (k, v []byte) {
	c := b.Cursor()
	if k, _ = c.Seek(key(id + 1)); k == nil {
		k, v = c.Last()
	} else {
		k, v = c.Prev()
	}
	if !bytes.HasPrefix(k, key(id)) {
		return nil, nil
	}
	return k, v
}

package storage

import (
	"bytes"
	"errors"
	"hash/crc32"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"calx/storage/record"
)

// What a hostile author, or a database mended by hand, may do to an entry.
const (
	overwrite = iota // its value becomes the bytes given
	reseal           // likewise, with a checksum that fits
	twist            // bytes of its value change by those given
	forge            // likewise, with a checksum that fits
	swap             // it takes the value of another entry
	rekey            // the value moves to the key given
	drop
	harms
)

// vandalise does one harm to the log at path. honest reports whether whatever
// can still be read must be what was written: no checksum was forged.
func vandalise(t testing.TB, path string, at, other uint16, harm uint8, data []byte) (honest bool) {
	db, err := bolt.Open(path, fileMode, &bolt.Options{NoSync: true})
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bolt.Tx) error {
		var buckets [][]byte
		if err := tx.ForEach(func(name []byte, _ *bolt.Bucket) error {
			buckets = append(buckets, bytes.Clone(name))
			return nil
		}); err != nil {
			return err
		}
		b := tx.Bucket(buckets[int(at)%len(buckets)])
		k, v := entry(b, int(at)/len(buckets))
		_, v2 := entry(b, int(other))
		if k == nil {
			return nil
		}
		switch harm % harms {
		case overwrite:
			return b.Put(k, data)
		case reseal:
			return b.Put(k, sealed(data))
		case twist, forge:
			for i, x := range data {
				if len(v) > 0 {
					v[(int(other)+i*37)%len(v)] ^= x
				}
			}
			if harm%harms == forge && len(v) > 4 {
				v = sealed(v[:len(v)-4])
			}
			return b.Put(k, v)
		case swap:
			return b.Put(k, v2)
		case rekey:
			if len(data) == 0 || len(data) > bolt.MaxKeySize {
				return nil
			}
			return errors.Join(b.Delete(k), b.Put(data, v))
		}
		return b.Delete(k)
	}))
	require.NoError(t, db.Close())
	return harm%harms != reseal && harm%harms != forge
}

// entry is a copy of an entry of a bucket, counted round and round.
func entry(b *bolt.Bucket, n int) (k, v []byte) {
	count := b.Stats().KeyN
	if count == 0 {
		return nil, nil
	}
	c := b.Cursor()
	k, v = c.First()
	for range n % count {
		k, v = c.Next()
	}
	return bytes.Clone(k), bytes.Clone(v)
}

// sealed ends as a record does, in its CRC-32C.
func sealed(b []byte) []byte {
	sum := crc32.Checksum(b, crc32.MakeTable(crc32.Castagnoli))
	return append(bytes.Clone(b), byte(sum), byte(sum>>8), byte(sum>>16), byte(sum>>24))
}

// A log whose entries were changed one way or another is refused, or read with
// the damage named; nothing panics, and where no checksum was forged nothing
// comes out that was not written.
func FuzzHostileEntries(f *testing.F) {
	good := hostileLog(f)
	path := filepath.Join(memoryDir(f), "calx.db")
	for harm := range uint8(harms) {
		for at := range uint16(8) {
			f.Add(at, at*7+1, harm, []byte{1, 1, 0, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff})
		}
	}
	f.Add(uint16(1), uint16(0), uint8(rekey), key(7))
	f.Add(uint16(3), uint16(0), uint8(rekey), key(1, 3))
	f.Add(uint16(3), uint16(0), uint8(rekey), key(1, math.MaxUint64))
	f.Add(uint16(5), uint16(0), uint8(rekey), key(uint64(record.PieceNote), 3)[:9])
	f.Fuzz(func(t *testing.T, at, other uint16, harm uint8, data []byte) {
		require.NoError(t, os.WriteFile(path, good, 0o600))
		honest := vandalise(t, path, at, other, harm, data)
		for _, readOnly := range []bool{true, false} {
			lookAtAll(t, path, readOnly, honest)
		}
	})
}

// hostileLog is the log of written, a notebook, a message and some figures.
func hostileLog(t testing.TB) []byte {
	path := filepath.Join(memoryDir(t), "calx.db")
	require.NoError(t, os.WriteFile(path, written(t), 0o600))
	l, err := Open(path, &manual)
	require.NoError(t, err)
	for range 3 {
		_, err := l.AddNote(record.Note{At: start, Piece: &record.Piece{Name: "T3", Material: "twig", SectionM: 0.011, Flask: "plug", Firing: 1, PulledS: 3600, State: "charred"}})
		require.NoError(t, err)
	}
	_, err = l.Post(aMessage("trip"))
	require.NoError(t, err)
	require.NoError(t, l.KeepFigures(1, []byte("figures")))
	require.NoError(t, l.Close())
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	return b
}

// lookAtAll uses every method on a log of which nothing is certain.
func lookAtAll(t *testing.T, path string, readOnly, honest bool) {
	l, err := Open(path, &Opts{ReadOnly: readOnly, FlushEvery: manual.FlushEvery})
	if err != nil {
		require.Nil(t, l)
		var fe *FileError
		require.ErrorAs(t, err, &fe)
		require.NotEmpty(t, fe.What)
		return
	}
	defer l.Close()
	fs, _ := l.Firings()
	seen := map[uint64]bool{}
	for _, f := range fs {
		require.False(t, seen[f.ID], "firing %d is listed twice", f.ID)
		seen[f.ID] = true
		last, n := uint64(0), 0
		err := l.Readings(f.ID, 0, 0, func(r *record.Reading) error {
			require.True(t, n == 0 || r.Seq > last, "reading %d after %d", r.Seq, last)
			last = r.Seq
			n++
			if honest {
				requireReading(t, r.Seq, r)
			}
			return nil
		})
		if honest && f.ID == 1 && f.Outcome != "" && n < 1200 {
			require.ErrorIs(t, err, ErrDamaged, "%d readings are gone and nobody said so", 1200-n)
		}
		from := 100 * time.Second
		_ = l.Readings(f.ID, from, 2*from, func(r *record.Reading) error {
			require.True(t, r.Since >= from && r.Since < 2*from)
			return nil
		})
		es, _ := l.Events(f.ID)
		for i, e := range es {
			require.True(t, i == 0 || e.Seq > es[i-1].Seq, "event %d after others", e.Seq)
			if honest {
				require.Equal(t, anEvent(e.Seq), e)
			}
		}
		if _, err := l.Firing(f.ID); err != nil {
			require.NotEmpty(t, err.Error())
		}
		state, err := l.State(f.ID)
		if honest && err == nil && state != nil && !bytes.HasPrefix(state, []byte("{")) {
			require.Equal(t, "state", string(state))
		}
	}
	for _, kind := range []record.NoteKind{record.PieceNote, record.CastingNote} {
		notes, _ := l.Notes(kind)
		for i, n := range notes {
			require.True(t, i == 0 || n.ID > notes[i-1].ID || n.ID == notes[i-1].ID && n.Revision > notes[i-1].Revision)
		}
	}
	_, _ = l.Messages()
	_, _ = l.Figures()
	if f, ok, err := l.Trip(); ok || err != nil {
		_ = l.Clear(f.ID)
	}
	if id, ok := l.Unfinished(); ok && !readOnly {
		// The next reading is taken, or is out of order; then the firing ends.
		err := errors.Join(l.Append(id, reading(1<<40), []record.Event{anEvent(1 << 40)}, []byte("x")), l.Flush())
		if err == nil {
			state, err := l.State(id)
			require.NoError(t, err)
			require.Equal(t, "x", string(state))
		}
		_ = l.End(id, "interrupted", "", start)
	}
	if err := l.Snapshot(io.Discard); err != nil {
		require.NotEmpty(t, err.Error())
	}
}

// A state whose bytes were changed costs the state alone: readings are still
// read and taken, and a new state heals it.
func TestDamagedState(t *testing.T) {
	path := newPath(t)
	require.NoError(t, os.WriteFile(path, written(t), 0o600))
	put := func(v []byte) {
		db, err := bolt.Open(path, fileMode, nil)
		require.NoError(t, err)
		require.NoError(t, db.Update(func(tx *bolt.Tx) error { return tx.Bucket(bucketTail).Put(tailKey('s', 2), v) }))
		require.NoError(t, db.Close())
	}
	bad := record.EncodeState([]byte("state"))
	bad[2] ^= 4
	put(bad)
	l := open(t, path, manual)
	_, err := l.State(2)
	require.ErrorIs(t, err, ErrDamaged)
	assert.ErrorContains(t, err, "the state of firing 2")
	require.NotEmpty(t, seqs(t, l, 2, 0, 0))
	require.NoError(t, l.Append(2, reading(10_000), nil, []byte("new")))
	state, err := l.State(2)
	require.NoError(t, err)
	assert.Equal(t, "new", string(state))
	require.NoError(t, l.Close())

	put([]byte(`{"Seq":7}`)) // as it was stored before it had a checksum
	l = open(t, path, Opts{ReadOnly: true})
	state, err = l.State(2)
	require.NoError(t, err)
	assert.JSONEq(t, `{"Seq":7}`, string(state))
}

package storage

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"calx/storage/record"
)

// written makes a log with one finished and one unfinished firing and returns
// the file's bytes.
func written(t testing.TB) []byte {
	t.Helper()
	path := filepath.Join(memoryDir(t), "calx.db")
	l, err := Open(path, &manual)
	require.NoError(t, err)
	for _, n := range []uint64{1200, 600} {
		id := begin(t, l)
		for seq := range n {
			require.NoError(t, l.Append(id, reading(seq), []record.Event{anEvent(seq)}, []byte("state")))
			if seq%200 == 0 {
				require.NoError(t, l.Flush())
			}
		}
		if n == 1200 {
			require.NoError(t, l.End(id, "finished", "", start))
		}
	}
	require.NoError(t, l.Close())
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	return b
}

// inUse is the length of the file up to the last page that is used.
func inUse(t testing.TB, b []byte) int {
	t.Helper()
	h, err := newest(bytes.NewReader(b), int64(len(b)))
	require.NoError(t, err)
	return int(h.pages) * pageSize
}

func TestOpenRefusesWhatIsNoSoundLog(t *testing.T) {
	good := written(t)
	used := inUse(t, good)
	other := filepath.Join(t.TempDir(), "other.db")
	db, err := bolt.Open(other, 0o600, &bolt.Options{PageSize: pageSize})
	require.NoError(t, err)
	require.NoError(t, db.Close())
	foreign, err := os.ReadFile(other)
	require.NoError(t, err)

	noise := make([]byte, 100_000)
	for i, rng := 0, rand.New(rand.NewPCG(1, 1)); i < len(noise); i++ {
		noise[i] = byte(rng.Uint32())
	}
	edit := func(fn func(b []byte)) []byte {
		b := bytes.Clone(good)
		fn(b)
		return b
	}
	for _, c := range []struct {
		name string
		file []byte
		kind error
		says string
	}{
		{"empty", nil, ErrNotLog, "it is empty (0 bytes)"},
		{"one byte", []byte{1}, ErrNotLog, "its first bytes are not those of a log"},
		{"text", bytes.Repeat([]byte("heat to 150 C at 60 C/h\n"), 1000), ErrNotLog, "its first bytes are not those of a log"},
		{"noise", noise, ErrNotLog, "its first bytes are not those of a log"},
		{"zeroes", make([]byte, 100_000), ErrDamaged, "its first 8192 bytes are zero"},
		{"another database", foreign, ErrNotLog, `it is a database, but without "meta"`},
		{"cut to a page", good[:pageSize], ErrDamaged, "cut short"},
		{"cut to half", good[:used/2], ErrDamaged, "cut short"},
		{"last page missing", good[:used-1], ErrDamaged, "cut short"},
		{"both headers changed", edit(func(b []byte) { b[60]++; b[pageSize+60]++ }), ErrDamaged, "checksum of the header is wrong"},
		{"zeroed behind the headers", edit(func(b []byte) { clear(b[2*pageSize:]) }), ErrDamaged, "calls itself 0"},
		{"zeroed from the middle", edit(func(b []byte) { clear(b[used/4:]) }), ErrDamaged, "calls itself 0"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := newPath(t)
			require.NoError(t, os.WriteFile(path, c.file, 0o600))
			for _, o := range []Opts{manual, {ReadOnly: true}} {
				l, err := Open(path, &o)
				require.Nil(t, l)
				require.ErrorIs(t, err, c.kind)
				var fe *FileError
				require.ErrorAs(t, err, &fe)
				assert.ErrorContains(t, err, path)
				assert.ErrorContains(t, err, c.says)
				assert.ErrorContains(t, err, "nothing was changed")
				after, err := os.ReadFile(path)
				require.NoError(t, err)
				require.True(t, bytes.Equal(c.file, after), "the file was changed")
			}
		})
	}
}

func TestOpenRefusesNewerFormat(t *testing.T) {
	path := newPath(t)
	require.NoError(t, create(path))
	db, err := bolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bolt.Tx) error { return tx.Bucket(bucketMeta).Put(keyFormat, []byte{formatVersion + 1}) }))
	require.NoError(t, db.Close())
	_, err = Open(path, nil)
	require.ErrorIs(t, err, ErrNewer)
	require.ErrorContains(t, err, "format 2, this calx knows up to 1")
}

func TestOpenForReadingMakesNothing(t *testing.T) {
	path := newPath(t)
	_, err := Open(path, &Opts{ReadOnly: true})
	require.ErrorIs(t, err, ErrMissing)
	require.NoFileExists(t, path)
	_, err = Open(filepath.Dir(path), nil)
	require.ErrorIs(t, err, ErrNotLog)
	_, err = Open(filepath.Join(path, "deeper"), nil)
	require.ErrorContains(t, err, "cannot be made")
	left, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	require.Empty(t, left)
}

// A power cut may tear the header being written; the one before it serves.
func TestOpenUsesTheHeaderThatIsWhole(t *testing.T) {
	good := written(t)
	for at := range 2 {
		b := bytes.Clone(good)
		b[at*pageSize+60] ^= 0xff
		path := newPath(t)
		require.NoError(t, os.WriteFile(path, b, 0o600))
		l := open(t, path, manual)
		id, ok := l.Unfinished()
		require.True(t, ok)
		require.NotEmpty(t, seqs(t, l, id, 0, 0))
		require.NoError(t, l.Close())
	}
}

// Bytes changed inside blocks: the rest of the firing stays readable, and the
// error says what is not.
func TestDamagedBlocksAreNamed(t *testing.T) {
	path := newPath(t)
	require.NoError(t, os.WriteFile(path, written(t), 0o600))
	var firsts []uint64
	l := open(t, path, manual)
	require.NoError(t, l.db.Update(func(tx *bolt.Tx) error {
		b := tx.Bucket(bucketReadings)
		c := b.Cursor()
		for k, _ := c.Seek(key(1)); k != nil && number(k) == 1; k, _ = c.Next() {
			firsts = append(firsts, number(k[8:]))
		}
		for _, i := range []int{2, len(firsts) - 1} {
			v := bytes.Clone(b.Get(key(1, firsts[i])))
			v[len(v)/2] ^= 1
			if err := b.Put(key(1, firsts[i]), v); err != nil {
				return err
			}
		}
		v := bytes.Clone(tx.Bucket(bucketEvents).Get(key(1, 7)))
		v[3] ^= 1
		return tx.Bucket(bucketEvents).Put(key(1, 7), v)
	}))
	last := firsts[len(firsts)-1]
	want := append(upTo(0, firsts[2]), upTo(firsts[3], last)...)
	got := []uint64{}
	err := l.Readings(1, 0, 0, func(r *record.Reading) error { got = append(got, r.Seq); return nil })
	assert.Equal(t, want, got)
	require.ErrorIs(t, err, ErrDamaged)
	require.ErrorIs(t, err, record.ErrDamaged)
	var de *DamageError
	require.ErrorAs(t, err, &de)
	assert.Equal(t, []uint64{1, firsts[2], firsts[3] - 1}, []uint64{de.Firing, de.First, de.Last})
	assert.ErrorContains(t, err, fmt.Sprintf("readings %d to 1199 cannot be read", last))

	es, err := l.Events(1)
	require.ErrorIs(t, err, ErrDamaged)
	require.ErrorContains(t, err, "events 7 to 7")
	assert.Len(t, es, 1199)
	assert.Len(t, seqs(t, l, 2, 0, 0), 600, "the other firing is whole")
}

// Without the newest block nobody knows where the firing stood: a writer is
// refused, a reader gets the rest.
func TestDamagedTail(t *testing.T) {
	path := newPath(t)
	require.NoError(t, os.WriteFile(path, written(t), 0o600))
	db, err := bolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bolt.Tx) error { return tx.Bucket(bucketTail).Put(tailKey('r', 2), []byte("gone")) }))
	require.NoError(t, db.Close())
	_, err = Open(path, &manual)
	require.ErrorIs(t, err, ErrDamaged)
	require.ErrorContains(t, err, "firing 2, the last one")

	l := open(t, path, Opts{ReadOnly: true})
	n := uint64(0)
	err = l.Readings(2, 0, 0, func(*record.Reading) error { n++; return nil })
	var de *DamageError
	require.ErrorAs(t, err, &de)
	assert.Equal(t, n, de.First)
	assert.Greater(t, n, uint64(400))
}

// Whatever bytes change, calx does not crash: it refuses the file, or says
// what cannot be read, and every reading it returns is one that was written.
func TestRandomDamage(t *testing.T) {
	good := written(t)
	used := inUse(t, good)
	path := filepath.Join(memoryDir(t), "calx.db")
	rng := rand.New(rand.NewPCG(3, 4))
	refused, named, unharmed := 0, 0, 0
	const files = 200
	for range files {
		b := bytes.Clone(good)
		harm(b[:used], rng)
		require.NoError(t, os.WriteFile(path, b, 0o600))
		switch err := useAll(t, path); {
		case err == nil:
			unharmed++
		default:
			require.True(t, errors.Is(err, ErrDamaged) || errors.Is(err, ErrNotLog) || errors.Is(err, ErrNewer) ||
				errors.Is(err, ErrNoFiring) || errors.Is(err, ErrNotDurable), "%v", err)
			var fe *FileError
			if errors.As(err, &fe) {
				refused++
			} else {
				named++
			}
		}
	}
	t.Logf("%d damaged files: %d refused, %d opened and the damage named, %d damaged where nothing was stored", files, refused, named, unharmed)
}

// harm changes some bytes, mostly where structure is dense.
func harm(b []byte, rng *rand.Rand) {
	page := rng.IntN(len(b)/pageSize) * pageSize
	switch rng.IntN(5) {
	case 0:
		b[page+rng.IntN(pageHeader)] = byte(rng.Uint32())
	case 1:
		b[page+rng.IntN(200)] ^= 1 << rng.IntN(8)
	case 2:
		b[rng.IntN(len(b))] ^= 1 << rng.IntN(8)
	case 3:
		binary.LittleEndian.PutUint32(b[page+rng.IntN(50)*4:], rng.Uint32())
	default:
		clear(b[page : page+512])
	}
}

// useAll opens the file, reads all of it and writes a little.
func useAll(t *testing.T, path string) error {
	t.Helper()
	l, err := Open(path, &manual)
	if err != nil {
		return err
	}
	fs, err := l.Firings()
	if err == nil && len(fs) != 2 {
		err = ErrDamaged // an element lost inside a page whose structure is sound
	}
	for _, f := range fs {
		n := 0
		rerr := l.Readings(f.ID, 0, 0, func(r *record.Reading) error {
			requireReading(t, r.Seq, r)
			n++
			return nil
		})
		if f.ID == 1 && n < 1200 {
			require.ErrorIs(t, rerr, ErrDamaged, "%d readings are gone and nobody said so", 1200-n)
		}
		_, eerr := l.Events(f.ID)
		err = errors.Join(err, rerr, eerr)
	}
	if id, ok := l.Unfinished(); ok {
		err = errors.Join(err, l.Append(id, reading(10_000), nil, []byte("x")), l.Flush())
	}
	return errors.Join(err, l.Close())
}

// A card that stops delivering pages is a memory fault inside bbolt. The
// process, which holds the heat, must outlive it, and a reading must not wait
// for a lock that is never released.
func TestFileVanishesUnderAnOpenLog(t *testing.T) {
	path := newPath(t)
	l, err := Open(path, &manual)
	require.NoError(t, err)
	id := begin(t, l)
	fill(t, l, id, 0, 2000)
	require.NoError(t, l.Flush())
	require.NoError(t, os.Truncate(path, 2*pageSize))
	_, err = l.Firings()
	require.ErrorIs(t, err, ErrDamaged)
	for seq := uint64(2000); seq < 2003; seq++ {
		if err := l.Append(id, reading(seq), nil, nil); seq > 2000 {
			require.ErrorIs(t, err, ErrNotDurable)
		}
		require.ErrorIs(t, l.Flush(), ErrNotDurable)
	}
	assert.Equal(t, uint64(3), l.Stats().Queued)
	require.ErrorIs(t, l.Close(), ErrNotDurable)
}

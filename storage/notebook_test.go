package storage

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"
	"pgregory.net/rapid"

	"calx/storage/record"
)

func pieceNote(text string) record.Note {
	return record.Note{At: start, Piece: &record.Piece{Material: "twig", SectionM: 0.011, HoldC: 700, HoldS: 3600, State: "charred", Text: text}}
}

func openManual(t testing.TB, path string) *Log {
	t.Helper()
	l, err := Open(path, &manual)
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	return l
}

func addNote(t testing.TB, l *Log, n record.Note) record.Note {
	t.Helper()
	n, err := l.AddNote(n)
	require.NoError(t, err)
	return n
}

// Every revision that AddNote acknowledged is in the file at once: a copy of
// the file, taken without closing it, has them all.
func TestNotesAreDurableAndNeverReplaced(t *testing.T) {
	dir := memoryDir(t)
	path := filepath.Join(dir, "calx.db")
	rapid.Check(t, func(rt *rapid.T) {
		_ = os.Remove(path)
		l, err := Open(path, &manual)
		require.NoError(t, err)
		defer l.Close()
		var want []record.Note
		latest := map[uint64]record.Note{}
		for range rapid.IntRange(1, 12).Draw(rt, "notes") {
			n := pieceNote(rapid.StringN(0, 20, -1).Draw(rt, "text"))
			if len(latest) > 0 && rapid.Bool().Draw(rt, "mend") {
				was := latest[uint64(rapid.IntRange(1, len(latest)).Draw(rt, "entry"))]
				n.ID, n.Revision, n.Withdrawn = was.ID, was.Revision, !was.Withdrawn
				stale := n
				stale.Revision--
				_, err := l.AddNote(stale)
				require.ErrorIs(t, err, ErrChanged)
			}
			got := addNote(t, l, n)
			n.ID, n.Revision = got.ID, n.Revision+1
			require.Equal(t, n, got)
			latest[got.ID] = got
			want = append(want, got)
		}
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		other := filepath.Join(dir, "copy.db")
		require.NoError(t, os.WriteFile(other, b, 0o600))
		c, err := Open(other, &Opts{ReadOnly: true})
		require.NoError(t, err)
		defer c.Close()
		got, err := c.Notes(record.PieceNote)
		require.NoError(t, err)
		require.ElementsMatch(t, want, got)
		castings, err := c.Notes(record.CastingNote)
		require.NoError(t, err)
		require.Empty(t, castings)
	})
}

func TestNotesOfEachKindAreNumberedByThemselves(t *testing.T) {
	l := openManual(t, filepath.Join(memoryDir(t), "calx.db"))
	casting := record.Note{At: start.In(time.FixedZone("", 3600)), Casting: &record.Casting{Name: "pod", Outcome: []string{record.Good}}}
	require.EqualValues(t, 1, addNote(t, l, casting).ID)
	require.EqualValues(t, 1, addNote(t, l, pieceNote("")).ID)
	require.EqualValues(t, 2, addNote(t, l, casting).ID)
	got, err := l.Notes(record.CastingNote)
	require.NoError(t, err)
	require.Len(t, got, 2)
	require.Equal(t, start, got[0].At, "in UTC")
}

func TestNotesAreRefused(t *testing.T) {
	l := openManual(t, filepath.Join(memoryDir(t), "calx.db"))
	n := pieceNote("")
	n.ID, n.Revision = 5, 1
	_, err := l.AddNote(n)
	require.ErrorIs(t, err, ErrNoNote)
	_, err = l.AddNote(record.Note{})
	require.ErrorContains(t, err, "neither a piece nor a casting")
	n = pieceNote("")
	n.Piece.HoldC, n.Piece.HoldS, n.Piece.Firing, n.Piece.PulledS = 0, 0, 3, 60
	_, err = l.AddNote(n)
	require.ErrorIs(t, err, ErrNoFiring)
	got, err := l.Notes(record.PieceNote)
	require.NoError(t, err)
	require.Empty(t, got)
	require.NoError(t, l.Close())
	_, err = l.AddNote(pieceNote(""))
	require.ErrorIs(t, err, ErrClosed)
}

// A log from before the notebook has no such bucket.
func TestLogFromBeforeTheNotebook(t *testing.T) {
	path := filepath.Join(memoryDir(t), "calx.db")
	require.NoError(t, os.WriteFile(path, written(t), 0o600))
	has := func() (has bool) {
		db, err := bolt.Open(path, 0o600, &bolt.Options{PageSize: pageSize, ReadOnly: true})
		require.NoError(t, err)
		require.NoError(t, db.View(func(tx *bolt.Tx) error {
			has = tx.Bucket(bucketNotebook) != nil
			require.Equal(t, []byte{1}, tx.Bucket(bucketMeta).Get(keyFormat), "an older calx opens it still")
			return nil
		}))
		require.NoError(t, db.Close())
		return has
	}
	require.False(t, has())
	l := openManual(t, path)
	got, err := l.Notes(record.PieceNote)
	require.NoError(t, err)
	require.Empty(t, got)
	addNote(t, l, pieceNote("first"))
	require.NoError(t, l.Close())
	require.True(t, has())
}

func TestNotebookIsInTheSnapshotOfARunningFiring(t *testing.T) {
	dir := memoryDir(t)
	l := openManual(t, filepath.Join(dir, "calx.db"))
	id := begin(t, l)
	fill(t, l, id, 0, 10)
	n := pieceNote("pulled now")
	n.Piece.HoldC, n.Piece.HoldS, n.Piece.Firing, n.Piece.PulledS = 0, 0, id, 9
	want := addNote(t, l, n)
	fill(t, l, id, 10, 20)
	var b bytes.Buffer
	require.NoError(t, l.Snapshot(&b))
	copied := filepath.Join(dir, "copy.db")
	require.NoError(t, os.WriteFile(copied, b.Bytes(), 0o600))
	c := openManual(t, copied)
	got, err := c.Notes(record.PieceNote)
	require.NoError(t, err)
	require.Equal(t, []record.Note{want}, got)
	readings := 0
	require.NoError(t, c.Readings(id, 0, 0, func(*record.Reading) error { readings++; return nil }))
	require.Equal(t, 20, readings)
}

func TestNoteOnAFailingDisk(t *testing.T) {
	var disk faulty
	o := manual
	o.testOnlyBefore = disk.hook
	l, err := Open(filepath.Join(memoryDir(t), "calx.db"), &o)
	require.NoError(t, err)
	defer l.Close()
	disk.set(errors.New("no space left"))
	_, err = l.AddNote(pieceNote(""))
	require.ErrorIs(t, err, ErrNotDurable)
	require.ErrorContains(t, err, "no space left")
	disk.set(nil)
	require.EqualValues(t, 1, addNote(t, l, pieceNote("")).ID)
}

func TestDamagedNoteIsNamed(t *testing.T) {
	path := filepath.Join(memoryDir(t), "calx.db")
	l := openManual(t, path)
	addNote(t, l, pieceNote("one"))
	two := addNote(t, l, pieceNote("two"))
	_, err := l.update(func(tx *bolt.Tx) error {
		return tx.Bucket(bucketNotebook).Put(key(uint64(record.PieceNote), 1, 1), []byte("nonsense"))
	})
	require.NoError(t, err)
	got, err := l.Notes(record.PieceNote)
	require.ErrorIs(t, err, ErrDamaged)
	require.ErrorContains(t, err, "piece 1, revision 1")
	require.Equal(t, []record.Note{two}, got)
}

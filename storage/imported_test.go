package storage

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/storage/record"
)

func openNew(t *testing.T) (*Log, string) {
	file := filepath.Join(t.TempDir(), "calx.db")
	l, err := Open(file, nil)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, l.Close()) })
	return l, file
}

func oldKiln(n int) (record.Firing, []record.Reading, []record.Event) {
	f := record.Firing{Name: "old kiln", Imported: "old.csv", Outcome: "imported"}
	var rs []record.Reading
	for i := range n {
		rs = append(rs, record.Reading{Seq: uint64(i), Since: time.Duration(i) * time.Minute, Channels: []record.Sample{{HotC: 20 + float64(i)/7}}})
	}
	return f, rs, []record.Event{{Seq: 0, Code: "started", Text: "imported"}}
}

func TestImport(t *testing.T) {
	l, _ := openNew(t)
	f, rs, es := oldKiln(3000)
	id, err := l.Import(f, rs, es)
	require.NoError(t, err)
	assert.EqualValues(t, 1, id)
	head, err := l.Firing(id)
	require.NoError(t, err)
	assert.Equal(t, "old.csv", head.Imported)
	assert.EqualValues(t, 3000, head.Readings)
	var got []record.Reading
	require.NoError(t, l.Readings(id, 0, 0, func(r *record.Reading) error { got = append(got, *r); return nil }))
	require.Len(t, got, 3000)
	assert.Equal(t, rs[2999].Channels[0].HotC, got[2999].Channels[0].HotC)
	events, err := l.Events(id)
	require.NoError(t, err)
	assert.Equal(t, "imported", events[0].Text)
	_, unfinished := l.Unfinished()
	assert.False(t, unfinished)
}

// Nothing is imported beside a firing that runs, or without saying where it is
// from.
func TestImportRefused(t *testing.T) {
	l, _ := openNew(t)
	f, rs, es := oldKiln(3)
	_, err := l.Import(record.Firing{Outcome: "imported"}, rs, es)
	assert.ErrorContains(t, err, "where it is from")
	rs[2].Seq = 0
	_, err = l.Import(f, rs, es)
	assert.ErrorIs(t, err, ErrOrder)
	rs[2].Seq = 2
	_, err = l.Begin(record.Firing{})
	require.NoError(t, err)
	_, err = l.Import(f, rs, es)
	assert.ErrorIs(t, err, ErrUnfinished)
	heads, err := l.Firings()
	require.NoError(t, err)
	assert.Len(t, heads, 1, "nothing was written")
}

// A trip that nobody has cleared stays, whatever is imported after it.
func TestImportDoesNotClearATrip(t *testing.T) {
	l, _ := openNew(t)
	id, err := l.Begin(record.Firing{})
	require.NoError(t, err)
	require.NoError(t, l.End(id, Tripped, "hot", time.Unix(0, 0)))
	_, err = l.Import(oldKiln(2))
	require.NoError(t, err)
	_, err = l.Begin(record.Firing{})
	require.ErrorIs(t, err, ErrTripped)
	require.NoError(t, l.Clear(id))
	_, err = l.Begin(record.Firing{})
	require.NoError(t, err)
}

func TestFigures(t *testing.T) {
	l, file := openNew(t)
	none, err := l.Figures()
	require.NoError(t, err)
	assert.Empty(t, none)
	assert.ErrorIs(t, l.KeepFigures(1, []byte("x")), ErrNoFiring)
	f, rs, es := oldKiln(2)
	for range 2 {
		_, err = l.Import(f, rs, es)
		require.NoError(t, err)
	}
	require.NoError(t, l.KeepFigures(1, []byte(`{"peak":1}`)))
	require.NoError(t, l.KeepFigures(1, []byte(`{"peak":2}`)))
	require.NoError(t, l.Close())
	again, err := Open(file, &Opts{ReadOnly: true})
	require.NoError(t, err)
	defer again.Close()
	got, err := again.Figures()
	require.NoError(t, err)
	assert.Equal(t, map[uint64][]byte{1: []byte(`{"peak":2}`)}, got)
	assert.ErrorIs(t, again.KeepFigures(1, nil), ErrReadOnly)
}

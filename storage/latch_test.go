package storage

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/storage/record"
)

// Nothing is begun past a trip, whatever comes between: another process, a
// failing disk, a wrong number.
func TestTripLatches(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.db")
	reopened := func(l *Log) *Log {
		t.Helper()
		if l != nil {
			require.NoError(t, l.Close())
		}
		l, err := Open(path, nil)
		require.NoError(t, err)
		return l
	}
	l := reopened(nil)
	defer func() { _ = l.Close() }()
	_, ok, err := l.Trip()
	require.NoError(t, err)
	assert.False(t, ok, "an empty log")
	require.ErrorIs(t, l.Clear(1), ErrNoTrip)
	for id := uint64(1); id <= 2; id++ {
		_, err := l.Begin(record.Firing{Started: start})
		require.NoError(t, err)
		_, ok, err := l.Trip()
		require.NoError(t, err)
		assert.False(t, ok, "it runs")
		require.NoError(t, l.End(id, Tripped, "the relay is welded", start.Add(time.Hour)))
		for range 2 {
			f, ok, err := l.Trip()
			require.NoError(t, err)
			require.True(t, ok)
			assert.Equal(t, id, f.ID)
			assert.Equal(t, "the relay is welded", f.Reason)
			_, err = l.Begin(record.Firing{Started: start})
			require.ErrorIs(t, err, ErrTripped)
			require.ErrorIs(t, l.Clear(id+1), ErrNoTrip)
			require.ErrorIs(t, l.Clear(id-1), ErrNoTrip)
			l = reopened(l)
		}
		require.NoError(t, l.Clear(id))
		require.ErrorIs(t, l.Clear(id), ErrNoTrip)
		l = reopened(l)
		_, ok, err = l.Trip()
		require.NoError(t, err)
		assert.False(t, ok, "cleared, and remembered")
	}
	id, err := l.Begin(record.Firing{Started: start})
	require.NoError(t, err)
	require.NoError(t, l.End(id, "finished", "", start))
	_, ok, err = l.Trip()
	require.NoError(t, err)
	assert.False(t, ok)
}

// A trip whose record cannot be written latches in memory; clearing needs the
// disk.
func TestTripLatchesOnAFailingDisk(t *testing.T) {
	var fails error
	l, err := Open(filepath.Join(t.TempDir(), "log.db"), &Opts{FlushEvery: time.Hour, testOnlyBefore: func() error { return fails }})
	require.NoError(t, err)
	defer l.Close()
	id, err := l.Begin(record.Firing{Started: start})
	require.NoError(t, err)
	fails = assert.AnError
	require.ErrorIs(t, l.End(id, Tripped, "", start), ErrNotDurable)
	_, ok, err := l.Trip()
	require.NoError(t, err)
	assert.True(t, ok)
	require.ErrorIs(t, l.Clear(id), ErrNotDurable)
	fails = nil
	require.NoError(t, l.Clear(id))
}

func TestTurnsAreInTheHead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.db")
	l, err := Open(path, nil)
	require.NoError(t, err)
	first, second := record.Run{Boot: "a", Uptime: time.Hour}, record.Run{Boot: "b", Since: 3 * time.Hour, Uptime: time.Minute}
	id, err := l.Begin(record.Firing{Started: start, Runs: []record.Run{first}})
	require.NoError(t, err)
	require.NoError(t, l.Close())
	l, err = Open(path, nil)
	require.NoError(t, err)
	defer func() { _ = l.Close() }()
	require.ErrorIs(t, l.TakenUp(id+1, second), ErrEnded)
	require.NoError(t, l.TakenUp(id, second))
	require.NoError(t, l.End(id, "finished", "", start))
	f, err := l.Firing(id)
	require.NoError(t, err)
	assert.Equal(t, []record.Run{first, second}, f.Runs)
	require.ErrorIs(t, l.TakenUp(id, second), ErrEnded)
}

package station

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/rerun"
	"calx/storage"
	"calx/storage/record"
)

// follows checks that every firing in a log follows from it, bit for bit. The
// log of every house of these tests is asked when the test is over.
func follows(t *testing.T, file string) {
	t.Helper()
	log, err := storage.Open(file, &storage.Opts{ReadOnly: true})
	if errors.Is(err, storage.ErrMissing) {
		return
	}
	require.NoError(t, err)
	defer log.Close()
	heads, err := log.Firings()
	require.NoError(t, err)
	for _, head := range heads {
		var readings []record.Reading
		require.NoError(t, log.Readings(head.ID, 0, 0, func(r *record.Reading) error { readings = append(readings, *r); return nil }))
		events, err := log.Events(head.ID)
		require.NoError(t, err)
		res, err := rerun.Same(head, readings, events)
		require.NoError(t, err)
		assert.True(t, res.Same(), "firing %d of %d readings: %+v %s", head.ID, len(readings), res.First, res.Stopped)
		assert.Equal(t, len(readings), res.Readings)
		t.Logf("firing %d follows from its log: %d readings, %d events", head.ID, res.Readings, res.Events)
	}
}

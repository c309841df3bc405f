package storage

import (
	"errors"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/storage/record"
)

// The promise: a reading is on disk FlushEvery after it was appended, without
// anybody asking, and readings of one period share a commit.
func TestGroupCommit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := open(t, newPath(t), DefaultOpts)
		id := begin(t, l)
		commits := l.Stats().Commits
		for seq := range uint64(40) {
			fill(t, l, id, seq, seq+1)
			time.Sleep(250 * time.Millisecond)
			synctest.Wait()
			require.LessOrEqual(t, l.Stats().Waiting, time.Second)
		}
		time.Sleep(time.Second)
		synctest.Wait()
		s := l.Stats()
		assert.Zero(t, s.Queued)
		assert.Zero(t, s.QueuedBytes)
		assert.LessOrEqual(t, s.Commits-commits, uint64(11), "commits in 10 s at 4 Hz")
		time.Sleep(time.Hour)
		synctest.Wait()
		assert.Equal(t, s.Commits, l.Stats().Commits, "nothing queued, nothing written")
		require.NoError(t, l.Close())
	})
}

func TestFailingDiskLosesNothing(t *testing.T) {
	for _, after := range []bool{false, true} {
		t.Run(fmt.Sprint("after=", after), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				full := errors.New("no space left on device")
				var disk faulty
				o := DefaultOpts
				if after { // the commit reached the disk, its last sync said otherwise
					o.testOnlyAfter = disk.hook
				} else {
					o.testOnlyBefore = disk.hook
				}
				path := newPath(t)
				l := open(t, path, o)
				id := begin(t, l)
				fill(t, l, id, 0, 100)
				disk.set(full)
				err := l.Flush()
				require.ErrorIs(t, err, ErrNotDurable)
				require.ErrorIs(t, err, full)
				for seq := uint64(100); seq < 1000; seq++ {
					require.ErrorIs(t, l.Append(id, reading(seq), []record.Event{anEvent(seq)}, []byte{byte(seq)}), ErrNotDurable)
				}
				time.Sleep(10 * time.Second)
				synctest.Wait()
				s := l.Stats()
				assert.ErrorIs(t, s.Err, full)
				assert.InDelta(t, 11, float64(s.Failures), 1, "one try a period")
				assert.Equal(t, uint64(1000), s.Queued)
				assert.GreaterOrEqual(t, s.Waiting, 9*time.Second)
				assert.Equal(t, upTo(0, 1000), seqs(t, l, id, 0, 0))

				disk.set(nil)
				time.Sleep(time.Second)
				synctest.Wait()
				s = l.Stats()
				assert.NoError(t, s.Err)
				assert.Zero(t, s.Queued)
				disk.set(full)
				require.ErrorIs(t, l.End(id, "stopped", "by hand", start), ErrNotDurable)
				require.ErrorIs(t, l.Append(id, reading(1000), nil, nil), ErrEnded)
				_, err = l.Begin(record.Firing{})
				require.ErrorIs(t, err, ErrNotDurable)
				disk.set(nil)
				time.Sleep(time.Second)
				synctest.Wait()
				require.Equal(t, uint64(2), begin(t, l))
				require.NoError(t, l.Close())

				l = open(t, path, manual)
				assert.Equal(t, upTo(0, 1000), seqs(t, l, id, 0, 0))
				es, err := l.Events(id)
				require.NoError(t, err)
				assert.Len(t, es, 900)
				f, err := l.Firing(id)
				require.NoError(t, err)
				assert.Equal(t, "stopped", f.Outcome)
				require.NoError(t, l.Close())
			})
		})
	}
}

// A Begin that failed after it was written must not leave a firing behind.
func TestBeginThatOnlySeemedToFail(t *testing.T) {
	o := manual
	var disk faulty
	disk.set(errors.New("sync failed"))
	o.testOnlyAfter = disk.hook
	l := open(t, newPath(t), o)
	_, err := l.Begin(record.Firing{Name: "first"})
	require.ErrorIs(t, err, ErrNotDurable)
	disk.set(nil)
	require.Equal(t, uint64(1), begin(t, l))
	fs, err := l.Firings()
	require.NoError(t, err)
	require.Len(t, fs, 1)
	require.Equal(t, "pods", fs[0].Name)
}

func TestQueueHasACap(t *testing.T) {
	o := manual
	var disk faulty
	o.testOnlyBefore = disk.hook
	o.testOnlyCap = 10_000
	l := open(t, newPath(t), o)
	id := begin(t, l)
	disk.set(errors.New("no space left on device"))
	require.NoError(t, l.Append(id, reading(0), nil, nil))
	require.ErrorIs(t, l.Flush(), ErrNotDurable)
	seq := uint64(1)
	for ; ; seq++ {
		err := l.Append(id, reading(seq), nil, nil)
		require.ErrorIs(t, err, ErrNotDurable)
		if errors.Is(err, ErrFull) {
			break
		}
	}
	assert.Less(t, l.Stats().QueuedBytes, 20_000)
	disk.set(nil)
	require.NoError(t, l.Flush())
	fill(t, l, id, seq+5, seq+5000) // past the cap again, on a disk that works: Append waits
	require.NoError(t, l.Flush())
	got := []uint64{}
	err := l.Readings(id, 0, 0, func(r *record.Reading) error { got = append(got, r.Seq); return nil })
	assert.Equal(t, append(upTo(0, seq), upTo(seq+5, seq+5000)...), got)
	var de *DamageError // what was dropped is named, not glossed over
	require.ErrorAs(t, err, &de)
	assert.Equal(t, []uint64{seq, seq + 4}, []uint64{de.First, de.Last})
}

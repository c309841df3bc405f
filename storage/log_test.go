package storage

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"calx/storage/record"
)

// manual never commits by itself, so a test says when.
var manual = Opts{FlushEvery: 1000 * time.Hour}

var start = time.Date(2000, 1, 1, 20, 0, 0, 0, time.UTC)

// reading is the reading with this Seq, one a second, the same each time.
func reading(seq uint64) record.Reading {
	since := time.Duration(seq) * time.Second
	hot := int32(4*20 + seq/12 + seq*seq%3)
	return record.Reading{
		Seq: seq, Since: since, Wall: start.Add(since),
		Channels:  []record.Sample{{HotC: float64(hot)/4 + math.Sin(float64(hot)), HotCode: hot, ColdC: 23.5, ColdCode: 376}},
		SetpointC: 20 + float64(seq)/48, Duty: 0.5 + 0.1*math.Sin(float64(seq)), Relay: seq%2 == 0,
		EnergyJ: 1200 * float64(seq), Phase: record.Ramping,
	}
}

func anEvent(seq uint64) record.Event {
	return record.Event{Seq: seq, Since: time.Duration(seq) * time.Minute, Wall: start, Code: "step", Text: fmt.Sprint("step ", seq)}
}

// faulty is a disk whose commits fail with err while it is set.
type faulty struct{ err atomic.Pointer[error] }

func (f *faulty) set(err error) { f.err.Store(&err) }

func (f *faulty) hook() error {
	if err := f.err.Load(); err != nil {
		return *err
	}
	return nil
}

// open opens a log, and checks the pages of the file when the test ends.
func open(t testing.TB, path string, o Opts) *Log {
	t.Helper()
	l, err := Open(path, &o)
	require.NoError(t, err)
	t.Cleanup(func() {
		l.Close()
		checkFile(t, path)
	})
	return l
}

// checkFile holds the file against bbolt's own check and against ours.
func checkFile(t testing.TB, path string) {
	t.Helper()
	db, err := bolt.Open(path, fileMode, &bolt.Options{ReadOnly: true, Timeout: time.Second})
	require.NoError(t, err)
	require.NoError(t, db.View(func(tx *bolt.Tx) error {
		var all error
		for err := range tx.Check() {
			all = errors.Join(all, err)
		}
		return all
	}))
	require.NoError(t, db.Close())
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	info, err := f.Stat()
	require.NoError(t, err)
	require.NoError(t, checkPages(f, info.Size()))
}

func begin(t testing.TB, l *Log) uint64 {
	t.Helper()
	id, err := l.Begin(record.Firing{Name: "pods", Started: start, PeriodMS: 1000, Channels: []record.Channel{{Role: "chamber"}}})
	require.NoError(t, err)
	return id
}

// fill appends the readings from, from+1 … to-1.
func fill(t testing.TB, l *Log, id, from, to uint64) {
	t.Helper()
	for seq := from; seq < to; seq++ {
		require.NoError(t, l.Append(id, reading(seq), nil, nil))
	}
}

// seqs reads a firing and returns the numbers, after holding each reading
// against what was appended.
func seqs(t testing.TB, l *Log, id uint64, from, to time.Duration) []uint64 {
	t.Helper()
	out := []uint64{}
	require.NoError(t, l.Readings(id, from, to, func(r *record.Reading) error {
		requireReading(t, r.Seq, r)
		out = append(out, r.Seq)
		return nil
	}))
	return out
}

func upTo(from, to uint64) []uint64 {
	out := []uint64{}
	for ; from < to; from++ {
		out = append(out, from)
	}
	return out
}

func newPath(t testing.TB) string { return filepath.Join(t.TempDir(), "calx.db") }

// memoryDir is a directory where a sync costs nothing, where there is one: for
// tests whose promise is not about the disk.
func memoryDir(t testing.TB) string {
	dir, err := os.MkdirTemp("/dev/shm", "calx-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func TestWholeFiring(t *testing.T) {
	path := newPath(t)
	l := open(t, path, manual)
	_, ok := l.Unfinished()
	require.False(t, ok)
	id := begin(t, l)
	require.Equal(t, uint64(1), id)
	fill(t, l, id, 0, 2000)
	require.NoError(t, l.Append(id, reading(2000), []record.Event{anEvent(0), anEvent(1)}, []byte("state 2000")))
	_, err := l.Begin(record.Firing{})
	require.ErrorIs(t, err, ErrUnfinished)

	for range 2 { // queued, then on disk
		assert.Equal(t, upTo(0, 2001), seqs(t, l, id, 0, 0))
		assert.Equal(t, upTo(700, 900), seqs(t, l, id, 700*time.Second, 900*time.Second))
		assert.Equal(t, upTo(1990, 2001), seqs(t, l, id, 1990*time.Second, 0))
		assert.Empty(t, seqs(t, l, id, 5000*time.Second, 0))
		es, err := l.Events(id)
		require.NoError(t, err)
		assert.Equal(t, []record.Event{anEvent(0), anEvent(1)}, es)
		require.NoError(t, l.Flush())
	}

	require.NoError(t, l.Close())
	require.ErrorIs(t, l.Append(id, reading(2001), nil, nil), ErrClosed)
	_, err = l.Firings()
	require.ErrorIs(t, err, ErrClosed)

	l = open(t, path, manual)
	again, ok := l.Unfinished()
	require.True(t, ok)
	require.Equal(t, id, again)
	state, err := l.State(id)
	require.NoError(t, err)
	assert.Equal(t, "state 2000", string(state))
	require.ErrorIs(t, l.Append(id, reading(2000), nil, nil), ErrOrder)
	require.ErrorIs(t, l.Append(id, reading(2001), []record.Event{anEvent(1)}, nil), ErrOrder)
	fill(t, l, id, 2001, 2100)
	require.NoError(t, l.End(id, "finished", "all steps done", start.Add(time.Hour)))
	require.ErrorIs(t, l.Append(id, reading(2100), nil, nil), ErrEnded)
	assert.Equal(t, upTo(0, 2100), seqs(t, l, id, 0, 0))
	state, err = l.State(id)
	require.NoError(t, err)
	assert.Nil(t, state)

	f, err := l.Firing(id)
	require.NoError(t, err)
	assert.Equal(t, "finished", f.Outcome)
	assert.Equal(t, start.Add(time.Hour), f.Ended)
	second := begin(t, l)
	fs, err := l.Firings()
	require.NoError(t, err)
	require.Len(t, fs, 2)
	assert.Equal(t, second, fs[1].ID)

	_, err = l.Firing(3)
	require.ErrorIs(t, err, ErrNoFiring)
	require.ErrorContains(t, err, "firing 3: no such firing: the last one is 2")
	require.ErrorIs(t, l.Readings(3, 0, 0, nil), ErrNoFiring)
}

func TestReadingsStopsAtErrorOfCaller(t *testing.T) {
	l := open(t, newPath(t), manual)
	id := begin(t, l)
	fill(t, l, id, 0, 10)
	stop, n := errors.New("enough"), 0
	err := l.Readings(id, 0, 0, func(*record.Reading) error { n++; return stop })
	require.Equal(t, stop, err)
	require.Equal(t, 1, n)
}

func TestOneWriterReadersBeside(t *testing.T) {
	path := newPath(t)
	l := open(t, path, manual)
	_, err := Open(path, &manual)
	require.ErrorIs(t, err, ErrInUse)
	require.ErrorContains(t, err, path)
	require.ErrorContains(t, err, "daemon")
	_, err = Open(path, &Opts{ReadOnly: true})
	require.ErrorIs(t, err, ErrInUse)

	id := begin(t, l)
	done := make(chan error)
	go func() { // readers in the same process, while it writes
		for {
			var next uint64
			err := l.Readings(id, 0, 0, func(r *record.Reading) error {
				if r.Seq != next {
					return fmt.Errorf("got reading %d, want %d", r.Seq, next)
				}
				next++
				return nil
			})
			if err != nil || next == 1000 {
				done <- err
				return
			}
		}
	}()
	for seq := range uint64(1000) {
		fill(t, l, id, seq, seq+1)
		if seq%50 == 0 {
			require.NoError(t, l.Flush())
		}
	}
	require.NoError(t, <-done)
	require.NoError(t, l.Close())

	a := open(t, path, Opts{ReadOnly: true})
	b := open(t, path, Opts{ReadOnly: true})
	for _, r := range []*Log{a, b} {
		assert.Equal(t, upTo(0, 1000), seqs(t, r, id, 0, 0))
		assert.ErrorIs(t, r.Append(id, reading(1000), nil, nil), ErrReadOnly)
		assert.ErrorIs(t, r.Flush(), ErrReadOnly)
		_, err := r.Begin(record.Firing{})
		assert.ErrorIs(t, err, ErrReadOnly)
	}
}

func TestSnapshot(t *testing.T) {
	l := open(t, newPath(t), manual)
	id := begin(t, l)
	fill(t, l, id, 0, 500)
	path := newPath(t)
	f, err := os.Create(path)
	require.NoError(t, err)
	require.NoError(t, l.Snapshot(f))
	require.NoError(t, f.Close())
	fill(t, l, id, 500, 600)

	c := open(t, path, Opts{ReadOnly: true})
	assert.Equal(t, upTo(0, 500), seqs(t, c, id, 0, 0))
	assert.Equal(t, upTo(0, 600), seqs(t, l, id, 0, 0))
}

// The write budget: what a commit of one reading a second with a state of
// 1 KB puts on the card.
func TestCommitWritesFewPages(t *testing.T) {
	l := open(t, filepath.Join(memoryDir(t), "calx.db"), manual)
	id := begin(t, l)
	before := l.Stats()
	state := make([]byte, 1000)
	const n = 600
	for seq := range uint64(n) {
		state[seq%1000]++
		require.NoError(t, l.Append(id, reading(seq), nil, state))
		require.NoError(t, l.Flush())
	}
	s := l.Stats()
	per := float64(s.BytesWritten-before.BytesWritten) / n
	t.Logf("%.0f bytes a commit, %.0f MB an hour at one commit a second, file %d KB for %d readings", per, per*3600/1e6, s.FileBytes/1024, n)
	assert.Less(t, per, 18_000.0)
}

func BenchmarkAppendFiring(b *testing.B) {
	rs := make([]record.Reading, 72000)
	for i := range rs {
		rs[i] = reading(uint64(i))
	}
	var size int64
	for b.Loop() {
		b.StopTimer()
		l := open(b, newPath(b), DefaultOpts)
		id := begin(b, l)
		b.StartTimer()
		for i := range rs {
			if err := l.Append(id, rs[i], nil, nil); err != nil {
				b.Fatal(err)
			}
		}
		if err := l.End(id, "finished", "", start); err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		size = l.Stats().FileBytes
		l.Close()
		b.StartTimer()
	}
	b.ReportMetric(float64(size)/72000, "B/reading")
}

// BenchmarkCommit is one reading a commit, with fsync: what a second costs.
func BenchmarkCommit(b *testing.B) {
	l := open(b, newPath(b), manual)
	id := begin(b, l)
	var seq uint64
	for b.Loop() {
		if err := errors.Join(l.Append(id, reading(seq), nil, nil), l.Flush()); err != nil {
			b.Fatal(err)
		}
		seq++
	}
	s := l.Stats()
	b.ReportMetric(float64(s.BytesWritten)/float64(s.Commits), "B/commit")
}

package storage

import (
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"calx/storage/record"
)

func init() { jobs["fill the disk"] = fillSmallDisk }

// fillUp appends and flushes until the disk refuses, goes on appending, then
// makes room and flushes again: no reading may be missing.
func fillUp(l *Log, say func(...any), makeRoom func() error) error {
	id, err := l.Begin(record.Firing{Name: "pods", Started: start})
	if err != nil {
		return err
	}
	seq := uint64(0)
	add := func() error {
		r := reading(seq)
		seq++
		r.Observer = make([]float64, 200) // to fill the disk sooner
		for i := range r.Observer {
			r.Observer[i] = 1 / float64(seq*uint64(i+1))
		}
		return l.Append(id, r, nil, nil)
	}
	for err = nil; err == nil && seq < 20_000; {
		err = errors.Join(add(), l.Flush())
	}
	if !errors.Is(err, ErrNotDurable) {
		return fmt.Errorf("after %d readings: got %v, want %w", seq, err, ErrNotDurable)
	}
	say("full after", seq, "readings:", err)
	for range 100 {
		if err := add(); !errors.Is(err, ErrNotDurable) {
			return fmt.Errorf("append on a full disk: got %v, want %w", err, ErrNotDurable)
		}
		if err := l.Flush(); !errors.Is(err, ErrNotDurable) {
			return fmt.Errorf("flush on a full disk: got %v, want %w", err, ErrNotDurable)
		}
	}
	if err := errors.Join(makeRoom(), l.End(id, "finished", "", start)); err != nil {
		return err
	}
	n, err := countReadings(l, id)
	if err == nil && n != seq {
		err = fmt.Errorf("got %d readings, want %d", n, seq)
	}
	return err
}

// fillSmallDisk runs in a child whose files may not grow beyond 2 MB.
func fillSmallDisk(path string) error {
	signal.Ignore(syscall.SIGXFSZ)
	var old syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &old); err != nil {
		return err
	}
	small := syscall.Rlimit{Cur: 2 << 20, Max: old.Max}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &small); err != nil {
		return err
	}
	l, err := Open(path, &manual)
	if err != nil {
		return err
	}
	say := func(a ...any) { fmt.Println(a...) }
	err = fillUp(l, say, func() error { return syscall.Setrlimit(syscall.RLIMIT_FSIZE, &old) })
	return errors.Join(err, l.Close())
}

func TestFileMayNotGrow(t *testing.T) {
	path := filepath.Join(memoryDir(t), "calx.db")
	_, out := child(t, "fill the disk", path)
	for out.Scan() {
		require.NotRegexp(t, "^error", out.Text())
		t.Log(out.Text())
	}
	checkFile(t, path)
}

// A real disk without a byte left, where the tests may mount one.
func TestDiskIsFull(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=1m"); err != nil {
		t.Skipf("needs the right to mount a small tmpfs: %v", err)
	}
	t.Cleanup(func() { syscall.Unmount(dir, syscall.MNT_DETACH) })
	ballast := filepath.Join(dir, "ballast")
	require.NoError(t, os.WriteFile(ballast, make([]byte, 512<<10), 0o600))
	path := filepath.Join(dir, "calx.db")
	l, err := Open(path, &manual)
	require.NoError(t, err)
	require.NoError(t, fillUp(l, t.Log, func() error { return os.Remove(ballast) }))
	require.NoError(t, l.Close())
	checkFile(t, path)
}

package storage

import (
	"errors"
	"fmt"
	"io/fs"
	"math/bits"
	"os"
	"path/filepath"
	"runtime/debug"
	"syscall"
	"time"

	bolt "go.etcd.io/bbolt"
)

// formatVersion is the layout described in the package comment. It goes up
// when an older calx would misread the file.
const formatVersion = 1

var (
	bucketMeta     = []byte("meta")
	bucketHeads    = []byte("heads")
	bucketTail     = []byte("tail")
	bucketReadings = []byte("readings")
	bucketEvents   = []byte("events")
	keyFormat      = []byte("format")
)

const (
	fileMode  = 0o640
	growBytes = 1 << 20 // the file grows in steps of this
	lockRetry = 20 * time.Millisecond
)

// Open opens the log at path, and makes it there when nothing is there and o
// allows. nil is DefaultOpts.
//
// One process may have a log open for writing; a second one fails with
// ErrInUse, and so does a reader beside a writer: it asks the daemon for a
// Snapshot instead. A file that is damaged, empty, written by a newer calx or
// something else is refused with a FileError and left as it is: an empty file
// too, since a log never was empty and silence would hide that it is gone.
func Open(path string, o *Opts) (*Log, error) {
	if o == nil {
		o = &DefaultOpts
	}
	l := newLog(path, *o)
	if err := l.openFile(); err != nil {
		return nil, err
	}
	if err := l.load(); err != nil {
		return nil, errors.Join(err, l.db.Close())
	}
	if !l.o.ReadOnly {
		go l.run()
	} else {
		close(l.stopped)
	}
	return l, nil
}

func (l *Log) openFile() error {
	info, err := os.Stat(l.path)
	switch {
	case errors.Is(err, fs.ErrNotExist) && l.o.ReadOnly:
		return fileError(l.path, ErrMissing, "there is no such file")
	case errors.Is(err, fs.ErrNotExist):
		if err := create(l.path); err != nil {
			return fmt.Errorf("log %s: cannot be made: %w", l.path, err)
		}
	case err != nil:
		return fmt.Errorf("log %s: %w", l.path, err)
	case !info.Mode().IsRegular():
		return fileError(l.path, ErrNotLog, "it is not a file but %s", info.Mode().Type())
	}
	return guard(func() (err error) {
		l.db, err = bolt.Open(l.path, fileMode, &bolt.Options{
			ReadOnly: l.o.ReadOnly, PageSize: pageSize, InitialMmapSize: mapSize(),
			FreelistType: bolt.FreelistArrayType, PreLoadFreelist: true, OpenFile: l.openChecked,
		})
		if err == nil {
			l.db.AllocSize = growBytes
		}
		return l.explain(err)
	})
}

// mapSize is how much address space is reserved for the file, in bytes. While
// the file is smaller, bbolt never has to map it again, for which it would
// wait until every reader is done: a slow reader could then hold up a commit.
func mapSize() int {
	if bits.UintSize == 64 {
		return 1 << 30
	}
	return 1 << 27
}

// explain names the file in an error that does not.
func (l *Log) explain(err error) error {
	var known *FileError
	if err == nil || errors.As(err, &known) || errors.Is(err, ErrInUse) {
		return err
	}
	return fmt.Errorf("log %s: cannot be opened: %w; nothing was changed", l.path, err)
}

// openChecked opens, locks and checks the file before bbolt looks at it. It
// never creates one.
func (l *Log) openChecked(path string, flag int, mode os.FileMode) (*os.File, error) {
	f, err := os.OpenFile(path, flag&^os.O_CREATE, mode)
	if err != nil {
		return nil, err
	}
	if err := l.vet(f); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

func (l *Log) vet(f *os.File) error {
	if err := lock(f, !l.o.ReadOnly, l.o.Timeout); err != nil {
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return fmt.Errorf("log %s: %w: another calx, as a rule the daemon, has it open; nothing was changed; ask the daemon, or stop it first", l.path, ErrInUse)
		}
		return fmt.Errorf("lock: %w", err)
	}
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if info.Size() == 0 {
		return fileError(l.path, ErrNotLog, "it is empty (0 bytes), which a log never is")
	}
	var bad *badPage
	if err := checkPages(f, info.Size()); errors.As(err, &bad) {
		return fileError(l.path, bad.kind, "%v", err)
	} else if err != nil {
		return err
	}
	return nil
}

// lock takes the same advisory lock that bbolt takes on the same descriptor
// afterwards, so the check in between sees a file nobody is writing.
func lock(f *os.File, exclusive bool, timeout time.Duration) error {
	how := syscall.LOCK_SH
	if exclusive {
		how = syscall.LOCK_EX
	}
	for until := time.Now().Add(timeout); ; time.Sleep(lockRetry) {
		err := syscall.Flock(int(f.Fd()), how|syscall.LOCK_NB)
		if !errors.Is(err, syscall.EWOULDBLOCK) || !time.Now().Before(until) {
			return err
		}
	}
}

// create makes a whole log under another name, then gives it its own: at no
// moment is there half a log at path, and one that appeared meanwhile stays.
func create(path string) (err error) {
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+".new-*")
	if err != nil {
		return err
	}
	tmp := f.Name()
	defer func() {
		if rerr := os.Remove(tmp); !errors.Is(rerr, fs.ErrNotExist) {
			err = errors.Join(err, rerr)
		}
	}()
	if err := errors.Join(f.Chmod(fileMode), f.Close(), initialise(tmp)); err != nil {
		return err
	}
	err = os.Link(tmp, path)
	if errors.Is(err, errors.ErrUnsupported) || errors.Is(err, fs.ErrPermission) {
		err = os.Rename(tmp, path) // a file system without hard links
	}
	if err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	return syncDir(dir)
}

func initialise(path string) error {
	db, err := bolt.Open(path, fileMode, &bolt.Options{PageSize: pageSize})
	if err != nil {
		return err
	}
	err = db.Update(func(tx *bolt.Tx) error {
		for _, name := range [][]byte{bucketMeta, bucketHeads, bucketTail, bucketReadings, bucketEvents} {
			if _, err := tx.CreateBucket(name); err != nil {
				return err
			}
		}
		return tx.Bucket(bucketMeta).Put(keyFormat, []byte{formatVersion})
	})
	return errors.Join(err, db.Close())
}

// syncDir makes a new name in the directory survive a power cut.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// faulted is a panic or a memory fault turned into an error.
type faulted struct{ reason any }

func (f *faulted) Error() string { return fmt.Sprintf("reading the file failed: %v", f.reason) }
func (f *faulted) Unwrap() error { return ErrDamaged }

// guard runs fn, which touches mapped pages: a disk that fails to deliver one
// is a memory fault, a page that changed under way a panic. Neither may take
// down the process that holds the heat.
func guard(fn func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if r := recover(); r != nil {
			err = &faulted{r}
		}
	}()
	return fn()
}

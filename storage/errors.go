package storage

import (
	"errors"
	"fmt"
	"math"

	"calx/storage/record"
)

// These errors can come from Open. All but ErrInUse are wrapped in a
// FileError; none of them has changed the file.
var (
	// ErrInUse says that another process, as a rule the daemon, has the log.
	ErrInUse = errors.New("log is in use")
	// ErrNotLog says that the file is something else, or empty.
	ErrNotLog = errors.New("not a calx log")
	// ErrDamaged says that the file was a log and is now cut short or changed.
	// Reading methods return it too; see DamageError.
	ErrDamaged = errors.New("log is damaged")
	// ErrNewer says that a newer calx wrote the file.
	ErrNewer = errors.New("log was written by a newer calx")
	// ErrMissing says that there is no file and Opts.ReadOnly forbids making it.
	ErrMissing = errors.New("no log")
)

// These errors can come from the methods that write.
var (
	// ErrNotDurable says that the last commit failed, and why. What was given
	// is kept in memory and tried again; it would be lost with the process.
	ErrNotDurable = errors.New("log could not be written to disk")
	// ErrFull says that the queue is at its cap, so the reading was not taken.
	// It comes with ErrNotDurable.
	ErrFull = errors.New("log queue is full, reading dropped")
	// ErrOrder says that a Seq was not above the one before it, or that a
	// reading cannot be stored at all. Nothing was taken.
	ErrOrder = errors.New("out of order")
	// ErrUnfinished says that Begin was called while a firing is unfinished.
	ErrUnfinished = errors.New("a firing is unfinished")
	// ErrEnded says that the firing is not the one being written.
	ErrEnded = errors.New("firing is not running")
	// ErrReadOnly says that the log was opened for reading.
	ErrReadOnly = errors.New("log is open for reading only")
)

// These errors can come from any method.
var (
	// ErrClosed says that Close was called before.
	ErrClosed = errors.New("log is closed")
	// ErrNoFiring says that the log holds no firing of that number.
	ErrNoFiring = errors.New("no such firing")
)

// FileError is what Open returns about a file it cannot use. Its text says
// what is wrong, what was done (nothing) and what to do.
type FileError struct {
	Path string
	Kind error  // ErrNotLog, ErrDamaged, ErrNewer or ErrMissing
	What string // what was found, with numbers
	Do   string // what the person can do
}

func (e *FileError) Error() string {
	return fmt.Sprintf("log %s: %v: %s; nothing was changed; %s", e.Path, e.Kind, e.What, e.Do)
}

// Unwrap returns Kind.
func (e *FileError) Unwrap() error { return e.Kind }

// doFor is the advice that goes with each kind.
func doFor(kind error) string {
	switch kind {
	case ErrNewer:
		return "use the newer calx, or another file"
	case ErrMissing:
		return "check the path, or start the daemon once to make it"
	case ErrNotLog:
		return "check the path; to start an empty log here, move this file away first"
	default:
		return "copy the file somewhere safe, then restore a backup, or move it away to start an empty log"
	}
}

func fileError(path string, kind error, format string, args ...any) error {
	return &FileError{Path: path, Kind: kind, What: fmt.Sprintf(format, args...), Do: doFor(kind)}
}

// errGap is the cause of a DamageError where nothing is left to be damaged.
var errGap = errors.New("not in the file: lost with it, or dropped with ErrFull")

// elsewhere is the cause of damage where a sound record stands in the place of
// another.
func elsewhere(format string, args ...any) error {
	return fmt.Errorf("%w: the %s stands in its place", record.ErrDamaged, fmt.Sprintf(format, args...))
}

// DamageError says which part of a firing cannot be read; the rest can. It
// wraps ErrDamaged and the cause.
type DamageError struct {
	Firing      uint64
	First, Last uint64 // Seq of readings; Last is math.MaxUint64 up to the end
	Events      bool   // First and Last are Seq of events instead
	Cause       error
}

func (e *DamageError) Error() string {
	what := "readings"
	if e.Events {
		what = "events"
	}
	last := "the end"
	if e.Last != math.MaxUint64 {
		last = fmt.Sprint(e.Last)
	}
	return fmt.Sprintf("firing %d: %s %d to %s cannot be read: %v", e.Firing, what, e.First, last, e.Cause)
}

// Unwrap returns ErrDamaged and the cause.
func (e *DamageError) Unwrap() []error { return []error{ErrDamaged, e.Cause} }

// notDurable wraps the reason a commit failed.
func notDurable(cause error) error {
	if cause == nil {
		return nil
	}
	return fmt.Errorf("%w: %w; it is kept in memory and tried again", ErrNotDurable, cause)
}

// Package storage keeps firings: heads, readings, events and the controller's
// last state, in one file on go.etcd.io/bbolt.
//
// The promise: what Begin, End or Flush acknowledged is kept, and at a power
// cut at most the last 2 s of readings are missing, never an earlier one, and
// the file opens. Open starts a Log; Begin, Append and End write a firing;
// Firings, Readings and Events read them. Storage knows nothing of kilns
// beyond the records it keeps, and record knows the bytes.
//
// Append puts readings into memory; a goroutine commits all that has gathered
// at most Opts.FlushEvery later, readings, events and state in one
// transaction. A commit that fails loses nothing: it is tried again each
// period while the queue grows up to its cap, and Append says ErrNotDurable.
//
// # Layout
//
//	meta      format -> version of this layout
//	heads     id -> record.EncodeFiring
//	tail      'r' id -> block of the newest readings; 's' id -> record.EncodeState
//	readings  id, Seq of the first reading -> block
//	events    id, Seq -> record.EncodeEvent
//	notebook  kind, entry, revision -> record.EncodeNote; made with the first note
//	latch     cleared -> id of the last trip that was cleared; made with the first
//	outbox    number -> record.EncodeMessage; made with the first
//
// Numbers in keys are 8 bytes, big endian. bbolt rewrites whole pages, so the
// newest readings are one small block that shares a page with the state; when
// the page is full the block moves to readings and is never changed again. A
// commit thus writes 3 or 4 pages of 4 KB, whatever the log holds.
package storage

import (
	"os"
	"sync"
	"time"

	bolt "go.etcd.io/bbolt"
)

// Opts says how to open a log.
type Opts struct {
	ReadOnly   bool          // never write, never create; other readers may be open
	Timeout    time.Duration // how long to wait for the lock; 0 tries once
	FlushEvery time.Duration // longest a reading waits for its commit; 0 is 1 s; the promise needs 1.5 s or less

	testOnlyBefore func() error // runs before each commit; an error makes it fail
	testOnlyAfter  func() error // runs after each commit, which is then taken to have failed
	testOnlyCap    int          // instead of queueCap
}

// DefaultOpts is what Open uses for nil.
var DefaultOpts = Opts{FlushEvery: time.Second}

const (
	// queueCap is the most encoded bytes kept in memory while the disk fails:
	// some 3 days of readings at one a second, at 20 bytes each.
	queueCap = 6 << 20
	// eagerBytes queued start a commit before its time: a simulated firing
	// writes faster than any kiln.
	eagerBytes = 1 << 18
)

// Log is an open log. All methods may be called from any goroutine.
type Log struct {
	path string
	o    Opts
	db   *bolt.DB

	committing sync.Mutex // held during a commit; taken before mu

	mu     sync.Mutex
	cur    *run      // the unfinished firing; nil without one
	oldest time.Time // when the oldest queued reading arrived; zero for none
	flying time.Time // the same for the readings in the commit under way
	dead   error     // bbolt faulted while writing; it is not touched again
	closed bool
	stats  Stats

	armed   chan struct{} // something is queued: start the clock
	eager   chan struct{} // commit now
	stop    chan struct{}
	stopped chan struct{}
}

// Stats is what the log has done since Open.
type Stats struct {
	Commits, Failures uint64
	CommitLast        time.Duration // how long the last commit took, failed or not
	CommitMax         time.Duration
	CommitTotal       time.Duration
	BytesWritten      uint64        // pages written by commits
	FileBytes         int64         // size of the file
	Accepted          uint64        // readings taken by Append
	Queued            uint64        // of these, not yet on disk
	QueuedBytes       int           // encoded, events and state included
	Waiting           time.Duration // how long the oldest of these has waited
	Err               error         // why the last commit failed; nil when it did not
}

func newLog(path string, o Opts) *Log {
	if o.FlushEvery <= 0 {
		o.FlushEvery = DefaultOpts.FlushEvery
	}
	if o.testOnlyCap == 0 {
		o.testOnlyCap = queueCap
	}
	return &Log{
		path: path, o: o,
		armed: make(chan struct{}, 1), eager: make(chan struct{}, 1),
		stop: make(chan struct{}), stopped: make(chan struct{}),
	}
}

// String names the log by its file.
func (l *Log) String() string { return "log " + l.path }

// run commits what is queued: FlushEvery after the first of it, or at once
// when it is much, and again every period while commits fail.
func (l *Log) run() {
	defer close(l.stopped)
	timer := time.NewTimer(l.o.FlushEvery)
	timer.Stop()
	for {
		select {
		case <-l.stop:
			return
		case <-l.armed:
			timer.Reset(l.due())
			continue
		case <-l.eager:
		case <-timer.C:
		}
		if l.commit() != nil {
			timer.Reset(l.o.FlushEvery)
		}
	}
}

// due is how long until the oldest queued reading must be committed.
func (l *Log) due() time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.oldest.IsZero() {
		return l.o.FlushEvery
	}
	return max(0, l.o.FlushEvery-time.Since(l.oldest))
}

// wake stirs the goroutine; one wake-up at a time is enough.
func wake(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// Flush commits what is queued and returns when it is on disk, or with
// ErrNotDurable when it cannot be.
func (l *Log) Flush() error {
	if err := l.writable(); err != nil {
		return err
	}
	return l.commit()
}

// Close commits what is queued and closes the file. ErrNotDurable means that
// it is closed but the queue is lost. A firing that has not ended stays
// unfinished and can be resumed after the next Open.
func (l *Log) Close() error {
	l.mu.Lock()
	if l.closed {
		l.mu.Unlock()
		return nil
	}
	l.closed = true
	l.mu.Unlock()
	close(l.stop)
	<-l.stopped
	err := l.commit()
	l.committing.Lock()
	defer l.committing.Unlock()
	if l.dead != nil {
		return err // bbolt may hold its own locks for ever; the process is about to go
	}
	if cerr := l.db.Close(); err == nil {
		err = cerr
	}
	return err
}

func (l *Log) writable() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.writableLocked()
}

func (l *Log) writableLocked() error {
	switch {
	case l.closed:
		return ErrClosed
	case l.o.ReadOnly:
		return ErrReadOnly
	}
	return nil
}

// Stats returns a copy of the figures.
func (l *Log) Stats() Stats {
	l.mu.Lock()
	defer l.mu.Unlock()
	s := l.stats
	if l.cur != nil {
		s.Queued, s.QueuedBytes = l.cur.queued()
	}
	if since := earlier(l.flying, l.oldest); !since.IsZero() {
		s.Waiting = time.Since(since)
	}
	if info, err := os.Stat(l.path); err == nil {
		s.FileBytes = info.Size()
	}
	return s
}

// Unfinished returns the firing that was begun and has not ended: after Open,
// the one a power cut interrupted.
func (l *Log) Unfinished() (id uint64, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.cur == nil || l.cur.end != nil {
		return 0, false
	}
	return l.cur.head.ID, true
}

package storage

import (
	"errors"
	"fmt"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"

	"calx/storage/record"
)

const (
	// tailBytes is what the newest block and the state may take together: one
	// page less its bookkeeping.
	tailBytes = 3900
	// leastBlock is how large the newest block may grow beside any state.
	leastBlock = 1024
)

// run is the unfinished firing: what is queued, and what the next commit
// needs of what is not.
type run struct {
	head     record.Firing
	end      *record.Firing // the head to write at the end; nil while it runs
	tail     record.Builder // the newest readings, on disk or not
	sealed   []block        // full blocks not yet on disk
	events   []event        // not yet on disk
	state    []byte
	newState bool // state is not yet on disk

	next      uint64 // least Seq a reading may have
	nextEvent uint64
	bytes     int    // size of sealed and events
	changes   uint64 // counts what was taken
	onDisk    uint64 // changes that are on disk
	readings  uint64 // taken since Open
	durable   uint64 // of these on disk
	damage    error  // why the tail could not be read; for readers only

	stateDamage error // why the state could not be read, until there is a new one
}

type block struct {
	first uint64
	bytes []byte
}

type event struct {
	seq   uint64
	bytes []byte
}

func (r *run) queued() (readings uint64, size int) {
	if r.changes == r.onDisk {
		return 0, 0
	}
	return r.readings - r.durable, r.bytes + r.tail.Size() + len(r.state)
}

// check refuses what could not be stored in order.
func (r *run) check(rd *record.Reading, events []record.Event) error {
	if rd.Seq < r.next {
		return fmt.Errorf("reading %d: %w: want %d or more", rd.Seq, ErrOrder, r.next)
	}
	if len(rd.Channels) > record.MaxChannels {
		return fmt.Errorf("reading %d: %w: %d channels, at most %d", rd.Seq, ErrOrder, len(rd.Channels), record.MaxChannels)
	}
	next := r.nextEvent
	for i := range events {
		if events[i].Seq < next {
			return fmt.Errorf("event %d: %w: want %d or more", events[i].Seq, ErrOrder, next)
		}
		next = events[i].Seq + 1
	}
	return nil
}

// add takes what check let pass.
func (r *run) add(rd *record.Reading, events []record.Event, state []byte) {
	r.tail.Add(rd)
	r.next = rd.Seq + 1
	r.readings++
	for i := range events {
		e := event{events[i].Seq, record.EncodeEvent(&events[i])}
		r.events = append(r.events, e)
		r.bytes += len(e.bytes)
		r.nextEvent = e.seq + 1
	}
	if state != nil {
		r.state, r.newState, r.stateDamage = slices.Clone(state), true, nil
	}
	if r.tail.Size() >= max(leastBlock, tailBytes-len(r.state)) {
		r.seal()
	}
	r.changes++
}

// seal closes the newest block.
func (r *run) seal() {
	if r.tail.Count() == 0 {
		return
	}
	b := block{r.tail.First(), r.tail.Bytes()}
	r.sealed = append(r.sealed, b)
	r.bytes += len(b.bytes)
	r.tail.Reset()
}

// Begin writes the head of a new firing and returns its number, which
// replaces f.ID; it is on disk when Begin returns. f.Outcome must be empty.
// Only one firing runs at a time: ErrUnfinished names the other, which must be
// resumed or ended. ErrTripped says that the one before tripped: nothing is
// begun past a trip that nobody has cleared.
func (l *Log) Begin(f record.Firing) (id uint64, err error) {
	if f.Outcome != "" {
		return 0, fmt.Errorf("begin: outcome %q, want none yet", f.Outcome)
	}
	if err := l.writable(); err != nil {
		return 0, err
	}
	l.committing.Lock()
	defer l.committing.Unlock()
	if err := l.commitHeld(); err != nil {
		return 0, err
	}
	if id, ok := l.Unfinished(); ok {
		return 0, fmt.Errorf("%w: firing %d; resume or end it first", ErrUnfinished, id)
	}
	if trip, ok, err := l.Trip(); err != nil {
		return 0, err
	} else if ok {
		return 0, fmt.Errorf("%w: firing %d", ErrTripped, trip.ID)
	}
	start := time.Now()
	written, err := l.update(func(tx *bolt.Tx) error {
		heads := tx.Bucket(bucketHeads)
		if f.ID, err = nextID(heads); err != nil {
			return err
		}
		return heads.Put(key(f.ID), record.EncodeFiring(&f))
	})
	l.mu.Lock()
	defer l.mu.Unlock()
	l.count(written, time.Since(start), err)
	if err != nil {
		return 0, notDurable(err)
	}
	l.cur = &run{head: f}
	return f.ID, nil
}

// nextID follows the last firing. When that has not ended although none is
// running, it comes from a Begin that failed after all was written: its number
// is used again.
func nextID(heads *bolt.Bucket) (uint64, error) {
	k, v := heads.Cursor().Last()
	if k == nil {
		return 1, nil
	}
	last, err := decodeHead(k, v)
	if err != nil {
		return 0, err
	}
	if last.Outcome == "" {
		return number(k), nil
	}
	return number(k) + 1, nil
}

// Append takes one reading, the events that came with it, and the state the
// controller had after it; nil leaves the state as it was. All of it is
// copied, and goes to disk in one transaction.
//
// Append does not wait for the disk. ErrNotDurable says that the last commit
// failed: what was given is taken and kept. Any other error says that nothing
// was taken: ErrFull when the queue is at its cap too (some three days of
// readings), ErrOrder when r.Seq or an event's is not above the last one,
// ErrEnded when id is not the running firing. Only when readings come faster
// than a healthy disk can take them, as in a simulation, does Append wait.
func (l *Log) Append(id uint64, r record.Reading, events []record.Event, state []byte) error {
	err := l.enqueue(id, &r, events, state)
	if errors.Is(err, ErrFull) && !errors.Is(err, ErrNotDurable) {
		if err := l.commit(); err != nil {
			return fmt.Errorf("%w: %w", ErrFull, err)
		}
		err = l.enqueue(id, &r, events, state)
	}
	return err
}

func (l *Log) enqueue(id uint64, r *record.Reading, events []record.Event, state []byte) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := l.runningLocked(id); err != nil {
		return err
	}
	failing := notDurable(l.stats.Err)
	if l.cur.bytes >= l.o.testOnlyCap {
		return errors.Join(ErrFull, failing)
	}
	if err := l.cur.check(r, events); err != nil {
		return fmt.Errorf("firing %d: %w", id, err)
	}
	l.cur.add(r, events, state)
	l.stats.Accepted++
	if l.oldest.IsZero() {
		l.oldest = time.Now()
		wake(l.armed)
	}
	if l.cur.bytes >= eagerBytes && failing == nil {
		wake(l.eager)
	}
	return failing
}

func (l *Log) runningLocked(id uint64) error {
	if err := l.writableLocked(); err != nil {
		return err
	}
	if l.cur == nil || l.cur.head.ID != id || l.cur.end != nil {
		return fmt.Errorf("firing %d: %w", id, ErrEnded)
	}
	return nil
}

// End closes the firing with an outcome, which must not be empty, a reason for
// people and the wall time. All of it is on disk when End returns nil. With
// ErrNotDurable it is ended in memory and tried again like the rest. The
// state is dropped.
func (l *Log) End(id uint64, outcome, reason string, at time.Time) error {
	if outcome == "" {
		return fmt.Errorf("end firing %d: no outcome given", id)
	}
	if err := l.markEnd(id, outcome, reason, at); err != nil {
		return err
	}
	return l.commit()
}

func (l *Log) markEnd(id uint64, outcome, reason string, at time.Time) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if err := l.runningLocked(id); err != nil {
		return err
	}
	head := l.cur.head
	head.Outcome, head.Reason, head.Ended, head.Readings = outcome, reason, at.UTC(), l.cur.next
	l.cur.end = &head
	l.cur.seal()
	l.cur.state = nil
	l.cur.changes++
	if l.oldest.IsZero() {
		l.oldest = time.Now()
		wake(l.armed)
	}
	return nil
}

package outbox

import (
	"context"
	"sync"
	"time"

	"calx/cmd/calx/config"
	"calx/cmd/calx/station"
	"calx/controller"
	"calx/controller/tidings"
	"calx/sensor"
	"calx/storage"
	"calx/storage/record"
)

// Options is what New needs. All fields but Status and Logf must be set.
type Options struct {
	Log    *storage.Log
	Config *config.Config // destinations, units
	Kiln   string         // name, for tests
	Zone   *time.Location // of the house: quiet hours and times of day
	Status func() station.Status
	Wall   func() time.Time // clock on the wall
	Logf   func(format string, a ...any)
}

// Outbox listens to the loop as a station.Monitor, and tells people from
// goroutines of its own while Run runs.
type Outbox struct {
	o     Options
	dests []*destination
	wake  chan struct{} // something has happened: the clerk looks

	in struct { // what the loop has left; the loop waits for nothing else
		sync.Mutex
		ticks  []tick
		missed int
		last   tick // the newest turn of a firing
		idle   bool // nothing is fired
		wall   time.Time
	}

	mu      sync.Mutex
	entries []*entry // oldest first
	sent    uint64
	failed  uint64

	clerk clerk
}

// tick is a turn of the loop that may be worth telling of.
type tick struct {
	firing uint64
	record record.Reading
	events []record.Event
}

// entry is a message and what is known of it beyond the log.
type entry struct {
	m      record.Message
	stored bool                 // it is in the log
	sentAt map[string]time.Time // by this process's clock
}

// New builds an outbox. An address that cannot be read or used is no reason
// not to fire: its destination says so in State, and to Logf.
func New(o Options) *Outbox {
	if o.Logf == nil {
		o.Logf = func(string, ...any) {}
	}
	if o.Status == nil {
		o.Status = func() station.Status { return station.Status{} }
	}
	b := &Outbox{o: o, wake: make(chan struct{}, 1)}
	b.clerk.box = b
	for _, d := range o.Config.Tell {
		x := open(o.Config, d)
		if x.broken != nil {
			o.Logf("tell: %s cannot be reached until calx.yaml is mended: %v", d.Name, x.broken)
		}
		b.dests = append(b.dests, x)
	}
	return b
}

// mostTicks is how many turns with events may wait for the clerk: the disk may
// be slow, the loop may not.
const mostTicks = 256

// Tick implements station.Monitor.
func (b *Outbox) Tick(_ time.Duration, out controller.Output) {
	if len(b.dests) == 0 {
		return
	}
	id, _ := b.o.Log.Unfinished()
	t := tick{id, out.Record, out.Events}
	b.in.Lock()
	b.in.last, b.in.idle, b.in.wall = t, false, out.Record.Wall
	if len(out.Events) > 0 {
		if len(b.in.ticks) < mostTicks {
			b.in.ticks = append(b.in.ticks, t)
		} else {
			b.in.missed++
		}
	}
	b.in.Unlock()
	b.stir()
}

// Idle implements station.Monitor.
func (b *Outbox) Idle(wall time.Time, _ sensor.Reading, _ []sensor.Reading) {
	if len(b.dests) == 0 {
		return
	}
	b.in.Lock()
	b.in.idle, b.in.wall = true, wall
	b.in.Unlock()
	b.stir()
}

// stir wakes the clerk; one wake-up at a time is enough.
func (b *Outbox) stir() {
	select {
	case b.wake <- struct{}{}:
	default:
	}
}

// Run tells people until ctx ends. The turns of the loop are its clock.
func (b *Outbox) Run(ctx context.Context) {
	if len(b.dests) == 0 {
		return
	}
	b.load()
	var all sync.WaitGroup
	for _, d := range b.dests {
		all.Go(func() { d.run(ctx, b) })
	}
	b.stir()
	for {
		select {
		case <-b.wake:
			b.clerk.turn()
			for _, d := range b.dests {
				d.stir()
			}
		case <-ctx.Done():
			b.clerk.turn() // what the end of the daemon left is kept
			all.Wait()
			return
		}
	}
}

// load takes up what the log holds.
func (b *Outbox) load() {
	ms, err := b.o.Log.Messages()
	if err != nil {
		b.o.Logf("tell: some messages cannot be read: %v", err)
	}
	b.mu.Lock()
	for _, m := range ms {
		b.entries = append(b.entries, &entry{m: m, stored: true})
	}
	b.mu.Unlock()
	b.clerk.catchUp(ms)
}

// Note adds a message of the daemon itself, of no firing's events.
func (b *Outbox) Note(k tidings.Kind, s record.Severity, firing uint64, subject, body string) {
	if len(b.dests) == 0 {
		return
	}
	m := record.Message{At: b.o.Wall(), Kind: string(k), Severity: s, Firing: firing, Subject: subject, Body: body}
	tidings.Fit(&m)
	b.post(m)
	b.stir()
}

// Try sends a test message now, see the function of that name.
func (b *Outbox) Try(ctx context.Context, name string) ([]Answer, error) {
	return Try(ctx, b.o.Config, name, b.o.Kiln, b.local())
}

// post keeps a message, in the log if that can be: a trip must be told with a
// dead disk as well.
func (b *Outbox) post(m record.Message) {
	e := &entry{m: m}
	b.store(e)
	b.mu.Lock()
	b.entries = append(b.entries, e)
	if n := len(b.entries) - storage.MostMessages; n > 0 {
		b.entries = append([]*entry(nil), b.entries[n:]...)
	}
	b.mu.Unlock()
}

func (b *Outbox) store(e *entry) {
	m, err := b.o.Log.Post(e.m)
	if err != nil {
		b.o.Logf("tell: a message is kept in memory only: %v", err)
		return
	}
	b.mu.Lock()
	e.m.ID, e.stored = m.ID, true
	b.mu.Unlock()
}

// Acknowledge notes that a person has seen every alarm that is still open, and
// returns how many that were. Their repeats end, also when the log cannot be
// written; the error then says so.
func (b *Outbox) Acknowledge() (n int, err error) {
	return b.acknowledge(func(*record.Message) bool { return true })
}

func (b *Outbox) acknowledge(which func(*record.Message) bool) (n int, err error) {
	at := b.o.Wall().UTC()
	var ids []uint64
	b.mu.Lock()
	for _, e := range b.entries {
		if tidings.Repeats(&e.m) && e.m.Acked.IsZero() && which(&e.m) {
			e.m.Acked = at
			if n++; e.stored {
				ids = append(ids, e.m.ID)
			}
		}
	}
	b.mu.Unlock()
	if len(ids) > 0 {
		err = b.o.Log.Acknowledge(ids, at)
	}
	return n, err
}

// Monitor is checked here: the loop must not wait for an Outbox.
var _ station.Monitor = (*Outbox)(nil)

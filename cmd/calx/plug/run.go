package plug

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"time"

	"calx/controller/warden"
)

// every is the warden's tick: it bounds how long after its end a lease can
// act, and how long a line that moved by itself goes unnoticed.
const every = 50 * time.Millisecond

// Lines are the outputs the warden drives. Heat must be there; nil means not
// fitted for the others.
type Lines struct{ Heat, Main, Air, Beat Output }

// each is the lines that are fitted, in the order in which they go off.
func (l Lines) each() []Output {
	var all []Output
	for _, o := range []Output{l.Heat, l.Main, l.Beat, l.Air} {
		if o != nil {
			all = append(all, o)
		}
	}
	return all
}

// Options are the rest of what RunWarden needs.
type Options struct {
	Lease    time.Duration        // how long a lease holds; 0: warden.DefaultLease
	Watchdog string               // device of the hardware watchdog; empty: none
	Clock    func() time.Duration // the clock leases are stamped with; nil: the system's
	Note     string               // added to the ready line
}

// RunWarden drives the lines by the leases it reads from in, until in ends,
// ctx is cancelled, a message cannot be read, a line disobeys or it panics.
// It owns the lines: it drives them off first thing, and whatever happens it
// drives them off and closes them before it returns. Status lines go to
// status and never block it.
//
// It returns nil after an orderly end with every line off: ctx was cancelled,
// or in ended after the lease was withdrawn. Only then is the watchdog
// disarmed; after any other end the board resets unless a new warden takes
// the watchdog over.
func RunWarden(ctx context.Context, in io.Reader, lines Lines, status io.Writer, o Options) (err error) {
	r := &run{lines: lines, dog: watchdog{path: o.Watchdog}, teller: newTeller(status), clock: o.Clock}
	if r.clock == nil {
		r.clock = bootClock
	}
	defer func() { err = r.end(recover(), err) }()
	if lines.Heat == nil {
		return errors.New("warden: no heat line")
	}
	if r.law, err = warden.New(o.Lease); err != nil {
		return err
	}
	for _, l := range lines.each() {
		if err := l.Set(false); err != nil {
			return err
		}
	}
	if err := r.dog.check(); err != nil {
		return err
	}
	r.teller.tell(Status{Word: wordReady, Text: o.Note})
	return r.loop(ctx, in)
}

// run is one life of the warden.
type run struct {
	lines  Lines
	law    *warden.State
	dog    watchdog
	teller *teller
	clock  func() time.Duration

	seq     uint64        // of the last message
	is      warden.Output // what the lines are
	orderly bool          // the end was asked for
}

func (r *run) loop(ctx context.Context, in io.Reader) error {
	quit := make(chan struct{})
	defer close(quit)
	heard := make(chan letter)
	go listen(in, heard, quit)
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			r.orderly = true
			return nil
		case <-tick.C:
			if err := r.step(warden.Message{}); err != nil {
				return err
			}
		case l, ok := <-heard:
			if !ok {
				return r.pipeEnded()
			}
			if err := errors.Join(r.step(l.m), l.err); err != nil {
				return err
			}
		}
	}
}

// pipeEnded: the daemon has gone, as announced or not.
func (r *run) pipeEnded() error {
	if r.is.Why == warden.Withdrawn {
		r.orderly = true
		return nil
	}
	return errors.New("warden: the daemon is gone: its pipe ended without a withdrawal")
}

// step puts one message to the law and does as the law says.
func (r *run) step(m warden.Message) error {
	if m.Kind == warden.Lease || m.Kind == warden.Withdraw {
		r.seq = m.Seq
	}
	was := r.is
	want := r.law.Update(r.clock(), m)
	if err := r.obey(want); err != nil {
		r.law.Update(r.clock(), warden.Message{Kind: warden.Broken})
		return err
	}
	if m.Kind != warden.Tick || want.Heat != was.Heat || want.Main != was.Main || want.Air != was.Air || want.Why != was.Why {
		r.teller.tell(Status{Word: wordState, Seq: r.seq, Heat: want.Heat, Main: want.Main, Air: want.Air, Text: want.Why.String()})
	}
	return nil
}

// obey moves the lines that must move and checks those that must not. The
// main contactor is told to close before the heat relay and to open after it,
// so that of the two the relay breaks the current. The heartbeat comes after
// them and the watchdog last, so that neither speaks for a line that does not
// obey.
func (r *run) obey(want warden.Output) error {
	type move struct {
		o         Output
		was, want bool
	}
	moves := []move{
		{r.lines.Heat, r.is.Heat, want.Heat},
		{r.lines.Main, r.is.Main, want.Main},
		{r.lines.Air, r.is.Air, want.Air},
		{r.lines.Beat, r.is.Beat, want.Beat},
	}
	if want.Main {
		moves[0], moves[1] = moves[1], moves[0]
	}
	for _, l := range moves {
		switch {
		case l.o == nil:
		case l.was != l.want:
			if err := l.o.Set(l.want); err != nil {
				return err
			}
		default:
			if err := l.o.Verify(); err != nil {
				return err
			}
		}
	}
	beat := want.Beat != r.is.Beat
	r.is = want
	switch {
	case want.Why == warden.Withdrawn:
		return r.dog.disarm()
	case want.Fresh && beat:
		return r.dog.pet()
	}
	return nil
}

// end is the last act, after a panic too: everything off, then words.
func (r *run) end(panicked any, err error) error {
	if panicked != nil {
		err = errors.Join(err, fmt.Errorf("BUG: warden: %v\n%s", panicked, debug.Stack()))
		r.orderly = false
	}
	var errs []error
	for _, l := range r.lines.each() {
		errs = append(errs, closeHard(l))
	}
	off := errors.Join(errs...)
	if off == nil && r.orderly {
		err = errors.Join(err, r.dog.disarm())
	}
	r.dog.leave()
	text := "every line is off"
	if err != nil {
		text += "; " + err.Error()
	}
	if off != nil {
		text = fmt.Sprintf("NOT EVERY LINE IS OFF: %v; pull the plug now", off)
	}
	r.teller.tell(Status{Word: wordDead, Seq: r.seq, Heat: off != nil && r.is.Heat, Main: off != nil && r.is.Main, Text: text})
	r.teller.close()
	return errors.Join(err, off)
}

// closeTries is how often a line is told to go off before it is given up.
const closeTries = 3

// closeHard turns o off and closes it, panicking driver or not.
func closeHard(o Output) error {
	try := func(f func() error) (err error) {
		defer func() {
			if p := recover(); p != nil {
				err = fmt.Errorf("BUG: %s: %v", o, p)
			}
		}()
		return f()
	}
	for range closeTries {
		if try(func() error { return o.Set(false) }) == nil {
			break
		}
	}
	return try(o.Close)
}

// letter is a message, and what was wrong with it.
type letter struct {
	m   warden.Message
	err error
}

// listen reads messages until the pipe ends or one cannot be read; after that
// nothing on the pipe can be trusted to start where a message starts.
func listen(in io.Reader, out chan<- letter, quit <-chan struct{}) {
	defer close(out)
	defer func() {
		if p := recover(); p != nil {
			send(letter{warden.Message{Kind: warden.Garbled}, fmt.Errorf("BUG: warden: reading leases: %v", p)}, out, quit)
		}
	}()
	var b [warden.Size]byte
	for {
		if _, err := io.ReadFull(in, b[:]); err != nil {
			return
		}
		m, err := warden.Decode(b[:])
		if !send(letter{m, err}, out, quit) || err != nil {
			return
		}
	}
}

func send(l letter, out chan<- letter, quit <-chan struct{}) bool {
	select {
	case out <- l:
		return true
	case <-quit:
		return false
	}
}

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"calx/cmd/calx/station"
)

type watchCmd struct {
	Once bool `help:"Show the present state once and leave."`
	daemonFlag
	JSON bool `name:"json" help:"Write one Status object a line, as often as it changes: °C and seconds, whatever the units shown."`
	unitsFlag
}

func (c *watchCmd) Run(e *env) error {
	cl, err := c.client()
	if err != nil {
		return err
	}
	w := watching{json: c.JSON, units: c.unitsFlag, once: c.Once}
	return follow(e, cl, w)
}

// watching says how to follow.
type watching struct {
	json  bool
	units unitsFlag
	once  bool
	until uint64 // leave when this firing has ended; 0 = stay
}

// follow shows the kiln until the person leaves, or the firing that is waited
// for ends. It fails at once when nobody answers at first; later it tries
// again for ever.
func follow(e *env, c *client, w watching) error {
	st, err := c.status(e.ctx)
	if err != nil {
		return err
	}
	f := &follower{e: e, c: c, w: w, sc: scene{st: st}, heard: time.Now()}
	if err := f.learn(st); err != nil || w.once {
		if w.once {
			f.show(true)
		}
		return err
	}
	err = f.run()
	f.leave()
	if errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

// follower is a view that is kept up to date.
type follower struct {
	e     *env
	c     *client
	w     watching
	sc    scene
	heard time.Time // when the last status came
	drawn int       // lines on the screen
	lines lineView
}

// news is a status, or why there is none.
type news struct {
	data []byte
	err  error
}

const (
	quietFor  = 40 * time.Second // the daemon says at least something every 15 s
	redraw    = time.Second
	retryMost = 10 * time.Second
)

func (f *follower) run() error {
	ctx, cancel := context.WithCancel(f.e.ctx)
	defer cancel()
	in := make(chan news)
	go f.listen(ctx, in)
	clock := time.NewTicker(redraw)
	defer clock.Stop()
	f.show(true)
	for {
		select {
		case n := <-in:
			if err := f.hear(n); err != nil {
				return err
			}
			if done, err := f.ended(); done {
				f.show(true)
				return err
			}
			f.show(n.err != nil)
		case <-clock.C:
			if f.e.tty && !f.w.json {
				f.show(false)
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// listen keeps a stream open, and tries again when it breaks.
func (f *follower) listen(ctx context.Context, out chan<- news) {
	send := func(n news) bool {
		select {
		case out <- n:
			return true
		case <-ctx.Done():
			return false
		}
	}
	wait := time.Second
	for {
		err := f.c.stream(ctx, quietFor, func(data []byte) error {
			wait = time.Second
			if !send(news{data: data}) {
				return ctx.Err()
			}
			return nil
		})
		if !send(news{err: err}) {
			return
		}
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			return
		}
		wait = min(2*wait, retryMost)
	}
}

func (f *follower) hear(n news) error {
	if n.err != nil {
		f.sc.lost, _, _ = strings.Cut(n.err.Error(), "\n")
		if f.w.json {
			fmt.Fprintf(f.e.err, "calx: connection lost: %s; trying again\n", f.sc.lost)
		}
		return nil
	}
	var st station.Status
	if err := json.Unmarshal(n.data, &st); err != nil {
		f.sc.lost = "what was sent is no status: " + err.Error()
		return nil
	}
	f.sc.lost, f.heard = "", time.Now()
	if f.w.json {
		f.e.printf("%s\n", n.data)
	}
	return f.learn(st)
}

// learn takes a status in, and fetches the past of a firing not known yet.
func (f *follower) learn(st station.Status) error {
	f.sc.st = st
	if f.w.json || !f.e.tty && !f.w.once {
		return nil
	}
	if g := f.sc.shown(); g != nil {
		if f.sc.past == nil || f.sc.past.id != g.ID {
			f.sc.past = newPast(f.e.ctx, f.c, g.ID)
		}
		f.sc.past.see(st)
	}
	return f.e.ctx.Err()
}

// ended reports whether the firing that is waited for is over, and as an error
// that it did not end by plan.
func (f *follower) ended() (bool, error) {
	st := f.sc.st
	if f.w.until == 0 || st.Firing != nil && st.Firing.ID == f.w.until {
		return false, nil
	}
	l := st.Last
	switch {
	case l == nil || l.ID != f.w.until:
		return st.Firing != nil, fmt.Errorf("firing %d has ended; calx show %d says how", f.w.until, f.w.until)
	case l.Outcome == "finished":
		return true, nil
	}
	return true, fmt.Errorf("firing %d %s: %s", l.ID, l.Outcome, l.Reason)
}

// show brings the screen up to date; changed says that a line is due whatever
// the time.
func (f *follower) show(changed bool) {
	f.sc.age = time.Since(f.heard)
	f.sc.inF = f.w.units.fahrenheit(f.sc.st.Units == "F")
	switch {
	case f.w.json && f.w.once:
		// A Status always has a JSON form.
		b, _ := json.Marshal(f.sc.st)
		f.e.printf("%s\n", b)
	case f.w.json:
	case f.w.once:
		f.size()
		f.e.printf("%s\n", strings.Join(f.sc.view(), "\n"))
	case f.e.tty:
		f.draw()
	default:
		for _, l := range f.lines.due(&f.sc, changed) {
			f.e.printf("%s\n", l)
		}
	}
}

// size fits the scene to the terminal as it is now; true when that changed.
func (f *follower) size() bool {
	w, h := f.e.width, f.e.height
	if f.e.tty {
		if a, b, err := term.GetSize(int(os.Stdout.Fd())); err == nil && a > 0 {
			w, h = a, b
		}
	}
	h-- // the cursor rests on the last line
	changed := f.sc.width != 0 && (w != f.sc.width || h != f.sc.height)
	f.sc.width, f.sc.height, f.sc.color, f.sc.glyphs = w, h, f.e.color, unicode()
	return changed
}

// draw writes the view over the one before it. A terminal that has changed its
// size has moved that one: then the screen is cleared. (Sequences of ECMA-48,
// 5th edition: CUU, EL, ED, CUP; hiding the cursor is DEC private mode 25.)
func (f *follower) draw() {
	var b strings.Builder
	b.WriteString("\x1b[?25l")
	switch {
	case f.size():
		b.WriteString("\x1b[2J\x1b[H")
	case f.drawn > 0:
		fmt.Fprintf(&b, "\x1b[%dA\r", f.drawn)
	}
	view := f.sc.view()
	for _, l := range view {
		b.WriteString(l + "\x1b[K\n")
	}
	b.WriteString("\x1b[J\x1b[?25h")
	f.drawn = len(view)
	f.e.printf("%s", b.String())
}

// leave ends the view on a line of its own.
func (f *follower) leave() {
	if f.e.tty && !f.w.json && f.drawn > 0 {
		f.e.printf("\r\x1b[K")
	}
}

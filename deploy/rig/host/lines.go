//go:build linux

package main

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"
)

// The board's GPIO controller, a PL061 (ARM DDI 0190, section 3.2): the data
// register with all lines in its mask, and beside it the direction register.
const (
	gpioData = 0x09030000 + 0x3fc

	heatLine = 5
	mainLine = 6
	beatLine = 4
)

// look is the outputs at a moment. A line that is an input drives nothing, so
// it is off: the wiring guide asks for a pull towards off.
type look struct {
	at               time.Time
	heat, main, beat bool
}

// watcher looks at the lines from outside, without any code of the guest, as
// often as it can.
type watcher struct {
	m    *machine
	stop chan struct{}
	done chan struct{}

	mu    sync.Mutex
	now   look
	lastP time.Time // of the last edge of the heartbeat
	err   error
	moved []look // every change
}

const betweenLooks = 2 * time.Millisecond

func watch(m *machine) *watcher {
	w := &watcher{m: m, stop: make(chan struct{}), done: make(chan struct{})}
	go func() {
		defer close(w.done)
		for {
			select {
			case <-w.stop:
				return
			case <-time.After(betweenLooks):
			}
			if !w.look() {
				return
			}
		}
	}()
	return w
}

func (w *watcher) look() bool {
	text, err := w.m.ask("human-monitor-command", map[string]string{"command-line": fmt.Sprintf("xp /2xw 0x%x", gpioData)})
	w.mu.Lock()
	defer w.mu.Unlock()
	var data, out uint32
	if err == nil {
		_, words, _ := strings.Cut(text, ": ")
		_, err = fmt.Sscanf(words, "0x%x 0x%x", &data, &out)
	}
	if err != nil {
		w.err = err
		return false
	}
	on := func(line int) bool { return data&out>>line&1 == 1 }
	l := look{time.Now(), on(heatLine), on(mainLine), on(beatLine)}
	if l.beat != w.now.beat {
		w.lastP = l.at
	}
	if l.heat != w.now.heat || l.main != w.now.main {
		w.moved = append(w.moved, l)
	}
	w.now = l
	return true
}

// state is the last look, and when the heartbeat last moved.
func (w *watcher) state() (now look, lastBeat time.Time, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.now, w.lastP, w.err
}

// await waits until good holds.
func (w *watcher) await(limit time.Duration, good func(look) bool) (look, error) {
	for end := time.Now().Add(limit); time.Now().Before(end); time.Sleep(betweenLooks) {
		l, _, err := w.state()
		if err != nil || good(l) {
			return l, err
		}
	}
	l, _, _ := w.state()
	return l, fmt.Errorf("not within %v; heat %v, main %v", limit, l.heat, l.main)
}

// settle waits for heat that stays on. On a busy computer a tick of the guest
// may come so late that its lease has run out; then the heat comes again.
func (w *watcher) settle() error {
	for range settleTries {
		if _, err := w.await(heatWithin, func(l look) bool { return l.heat && l.main }); err != nil {
			return fmt.Errorf("no heat: %w", err)
		}
		if l, _ := w.await(steady, func(l look) bool { return !l.heat }); l.heat {
			return nil
		}
	}
	return errors.New("the heat does not stay on")
}

const settleTries = 10

// offAfter is how long after began a line was on for the last time; ok is
// false where it is on still.
func (w *watcher) offAfter(began time.Time, on func(look) bool) (after time.Duration, ok bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if on(w.now) {
		return 0, false
	}
	was := true
	for _, l := range w.moved {
		if l.at.Before(began) {
			continue
		}
		if was && !on(l) {
			after = l.at.Sub(began)
		}
		was = on(l)
	}
	return after, true
}

// pauses is how often the heat went off.
func (w *watcher) pauses(began time.Time) (n int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	was := true
	for _, l := range w.moved {
		if l.at.After(began) && was && !l.heat {
			n++
		}
		was = l.heat
	}
	return n
}

func (w *watcher) end() {
	close(w.stop)
	<-w.done
}

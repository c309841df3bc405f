package plug

import (
	"fmt"
	"os"
)

// watchdogSeconds is the time the hardware watchdog is asked for: heat must
// be off 10 s after the death of everything, and a reset takes time too.
// Devices that cannot be set keep their own (about 15 s on small ARM boards,
// from memory).
const watchdogSeconds = 8

// watchdog is the hardware watchdog, by the interface in the kernel's
// Documentation/watchdog/watchdog-api.rst: opening starts it, any write feeds
// it, writing 'V' just before closing stops it. An empty path is no watchdog.
type watchdog struct {
	path string
	f    *os.File
}

// check reports a missing device, without starting it.
func (w *watchdog) check() error {
	if w.path == "" {
		return nil
	}
	if _, err := os.Stat(w.path); err != nil {
		return fmt.Errorf("hardware watchdog: %w; give the right device or none", err)
	}
	return nil
}

// pet feeds the watchdog, and starts it the first time: before the first
// lease there is no heat to guard.
func (w *watchdog) pet() error {
	if w.path == "" {
		return nil
	}
	if w.f == nil {
		f, err := os.OpenFile(w.path, os.O_WRONLY, 0)
		if err != nil {
			return fmt.Errorf("hardware watchdog: %w; if it is busy, another program feeds it (RuntimeWatchdogSec= of systemd does)", err)
		}
		w.f = f
		setWatchdogTimeout(f, watchdogSeconds)
	}
	if _, err := w.f.Write([]byte{0}); err != nil {
		return fmt.Errorf("hardware watchdog: feed: %w", err)
	}
	return nil
}

// disarm stops the watchdog. Without a started one it does nothing.
func (w *watchdog) disarm() error {
	if w.f == nil {
		return nil
	}
	_, err := w.f.Write([]byte{'V'})
	w.leave()
	if err != nil {
		return fmt.Errorf("hardware watchdog: stop: %w; the board will reset", err)
	}
	return nil
}

// leave lets go of the watchdog as it is: one that runs keeps running.
func (w *watchdog) leave() {
	if w.f != nil {
		w.f.Close()
		w.f = nil
	}
}

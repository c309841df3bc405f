// Package plug holds the heat when everything else fails: it owns the output
// lines, in a process of its own, and lets go of them in the off position.
//
// A killed process leaves its GPIO outputs where they were; on the kernels
// measured the relay stays on. So the program that decides (the daemon) never
// touches a line. It starts a child, the warden, and sends it short leases
// over a pipe through a Client; the warden drives the lines by the law in
// controller/warden and turns them off when the leases stop, the pipe ends, a
// signal comes or a line disobeys. If the warden itself dies, the Client
// drives the lines off from the daemon. The package refuses to know what a
// temperature is, and opens no SPI port, network or database.
//
// For most uses: Start in the daemon, WardenMain in the hidden command the
// daemon starts, AllOff before and after either runs.
//
// None of this is a safety device. It cannot open a welded contact or a
// shorted solid-state relay; an independent limit controller with its own
// thermocouple and contactor must.
package plug

import (
	"errors"
	"fmt"
	"strings"
)

// Errors a caller branches on. All arrive wrapped in text that names the line.
var (
	// ErrNoLine: no GPIO chip that could be read has such a line.
	ErrNoLine = errors.New("no such GPIO line")
	// ErrBusy: another program, or the kernel, holds the line.
	ErrBusy = errors.New("GPIO line is held by another")
	// ErrMismatch: the line does not stand where it was put.
	ErrMismatch = errors.New("GPIO line does not follow")
	// ErrUnsupported: this operating system has no GPIO character device.
	ErrUnsupported = errors.New("GPIO lines need Linux 5.10 or later")
	// ErrDead: the warden is gone; the lines were driven off.
	ErrDead = errors.New("the warden is dead")
)

// consumer is the label under which the kernel lists our lines.
const consumer = "calx"

// Output is one switch: a GPIO line, or a fake in a test or simulation.
// An Output handed over is off.
type Output interface {
	// Set turns it on or off and checks that it followed.
	Set(on bool) error
	// Verify checks that it still stands where Set put it, without moving it.
	Verify() error
	// Close turns it off and lets go of it. It lets go even on error.
	Close() error
	// String names it as wired.
	String() string
}

// Spec says which line, and which level means on. The text form is the
// line's kernel name ("GPIO17"), or chip and offset ("gpiochip0:17"), with
// ",active-low" appended if the low level turns the load on.
type Spec struct {
	Name      string
	ActiveLow bool
}

const activeLow = ",active-low"

// ParseSpec reads the text form. An empty text is the zero Spec: not fitted.
func ParseSpec(text string) (Spec, error) {
	name, low := strings.CutSuffix(strings.TrimSpace(text), activeLow)
	if name == "" && low || strings.ContainsAny(name, ", \t\n") {
		return Spec{}, fmt.Errorf(`GPIO line %q: want a name like "GPIO17" or "gpiochip0:17", and %q after it if low means on`, text, activeLow)
	}
	return Spec{Name: name, ActiveLow: low}, nil
}

// String is the text form.
func (s Spec) String() string {
	if s.ActiveLow {
		return s.Name + activeLow
	}
	return s.Name
}

// Fitted tells whether a line is named at all.
func (s Spec) Fitted() bool { return s.Name != "" }

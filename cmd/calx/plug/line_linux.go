package plug

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

// settle is how long a line may take to follow: far more than a filter of a
// few nanofarads at a pin needs, far less than anyone notices.
const settle = time.Millisecond

// Line is one GPIO output, claimed from the kernel for as long as it is open.
// It may be used from several goroutines.
type Line struct {
	spec Spec
	at   address

	mu sync.Mutex
	fd int // -1 when closed
	on bool
}

// OpenLine claims the line as an output that is off. The level travels with
// the request, so the line goes to off from whatever it was, with no other
// level in between; the level is then read back. Errors wrap ErrNoLine,
// ErrBusy (with who holds it), ErrMismatch, or an error of the system.
//
// Read-back uses the line request's own values, which never changes the
// direction of the line.
func OpenLine(s Spec) (*Line, error) {
	at, err := find(s.Name)
	if err != nil {
		return nil, err
	}
	l := &Line{spec: s, at: at}
	r := request(at.offset, s.ActiveLow)
	if l.fd, err = claim(at, s.Name, &r); err != nil {
		return nil, err
	}
	if err := l.verify(); err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return l, nil
}

// claim requests the line, whatever for.
func claim(at address, name string, r *lineRequest) (int, error) {
	chip, err := unix.Open(at.chip, unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		return -1, fmt.Errorf("GPIO line %s: open %s: %w", name, at.chip, err)
	}
	defer unix.Close(chip)
	err = ioctl(chip, iocGetLine, r)
	switch {
	case errors.Is(err, unix.EBUSY):
		return -1, fmt.Errorf("GPIO line %s (%s): %w: %s", name, at, ErrBusy, holder(chip, at.offset))
	case errors.Is(err, unix.ENOTTY):
		return -1, fmt.Errorf("GPIO line %s (%s): %w", name, at, ErrUnsupported)
	case err != nil:
		return -1, fmt.Errorf("GPIO line %s (%s): claim: %w", name, at, err)
	}
	unix.CloseOnExec(int(r.fd))
	return int(r.fd), nil
}

// oneLine asks for one line.
func oneLine(offset uint32, flags uint64) lineRequest {
	var r lineRequest
	r.offsets[0], r.numLines = offset, 1
	copy(r.consumer[:], consumer)
	r.config.flags = flags
	return r
}

// request asks for one output line with the level of off: the kernel's values
// are logical, so that is 0 whichever level means on.
func request(offset uint32, low bool) lineRequest {
	r := oneLine(offset, flagOutput)
	if low {
		r.config.flags |= flagActiveLow
	}
	r.config.numAttrs = 1
	r.config.attrs[0] = configAttr{attr: lineAttr{id: attrOutputValues, value: 0}, mask: 1}
	return r
}

// holder names who has the line.
func holder(chip int, offset uint32) string {
	info := lineInfo{offset: offset}
	if ioctl(chip, iocLineInfo, &info) != nil {
		return "the kernel does not say by whom"
	}
	if who := text(info.consumer); who != "" {
		return fmt.Sprintf("by %q", who)
	}
	return "by the kernel itself, as another function of the pin"
}

// Set puts the line on or off and reads it back. On ErrMismatch the line was
// told, and does not stand there.
func (l *Line) Set(on bool) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.set(on)
}

func (l *Line) set(on bool) error {
	v := lineValues{mask: 1}
	if on {
		v.bits = 1
	}
	if err := ioctl(l.fd, iocSetValues, &v); err != nil {
		return fmt.Errorf("%s: switch %s: %w", l, word(on), err)
	}
	l.on = on
	if l.verify() == nil {
		return nil
	}
	time.Sleep(settle)
	return l.verify()
}

// Verify reads the line and compares it with the last Set. It asks the line's
// own request (GPIO_V2_LINE_GET_VALUES_IOCTL), which reads the pin's level and
// neither requests the line anew nor names a direction, so an output stays
// one; deploy/rig sees it stay driven while it is asked twenty times a second.
func (l *Line) Verify() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.verify()
}

func (l *Line) verify() error {
	v := lineValues{mask: 1}
	if err := ioctl(l.fd, iocGetValues, &v); err != nil {
		return fmt.Errorf("%s: read back: %w", l, err)
	}
	if got := v.bits&1 == 1; got != l.on {
		return fmt.Errorf("%s: %w: switched %s, reads %s; look for a short or a wrong wire at the pin", l, ErrMismatch, word(l.on), word(got))
	}
	return nil
}

// Close turns the line off, checks that, and gives it back. What the level is
// afterwards depends on the kernel's driver, so wire a pull towards off. A
// second Close does nothing.
func (l *Line) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fd < 0 {
		return nil
	}
	err := l.set(false)
	unix.Close(l.fd)
	l.fd = -1
	return err
}

// String is the line's name and place.
func (l *Line) String() string { return fmt.Sprintf("GPIO line %s (%s)", l.spec, l.at) }

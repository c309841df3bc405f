package plug

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// Input is one GPIO line that calx listens to, claimed from the kernel for as
// long as it is open. The daemon holds inputs; the warden has none. It belongs
// to one goroutine.
type Input struct {
	name string
	at   address
	fd   int
}

// OpenInput claims the line of that name (as in Spec) as an input with its
// pull towards high, or towards low. Errors wrap ErrNoLine, ErrBusy (with who
// holds it), or an error of the system.
func OpenInput(name string, pullHigh bool) (*Input, error) {
	at, err := find(name)
	if err != nil {
		return nil, err
	}
	r := inputRequest(at.offset, pullHigh)
	fd, err := claim(at, name, &r)
	if err != nil {
		return nil, err
	}
	return &Input{name: name, at: at, fd: fd}, nil
}

// High reads the level.
func (i *Input) High() (bool, error) {
	v := lineValues{mask: 1}
	if err := ioctl(i.fd, iocGetValues, &v); err != nil {
		return false, fmt.Errorf("%s: read: %w", i, err)
	}
	return v.bits&1 == 1, nil
}

// Close gives the line back. A second Close does nothing.
func (i *Input) Close() error {
	if i.fd < 0 {
		return nil
	}
	unix.Close(i.fd)
	i.fd = -1
	return nil
}

// String is the line's name and place.
func (i *Input) String() string { return fmt.Sprintf("GPIO line %s (%s)", i.name, i.at) }

// inputRequest asks for one input line with its pull. A controller without
// pulls gives the line without one.
func inputRequest(offset uint32, pullHigh bool) lineRequest {
	pull := uint64(flagPullDown)
	if pullHigh {
		pull = flagPullUp
	}
	return oneLine(offset, flagInput|pull)
}

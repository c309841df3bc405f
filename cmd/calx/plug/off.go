package plug

import (
	"errors"
	"time"
)

const (
	// patience is how long AllOff waits for a line that another holds: a
	// warden whose daemon was just killed needs a moment to let go.
	patience = 3 * time.Second
	// again is the time between two attempts.
	again = 20 * time.Millisecond
)

// opener claims a line, off. Tests put fakes here.
type opener func(Spec) (Output, error)

func openLine(s Spec) (Output, error) {
	l, err := OpenLine(s)
	if err != nil {
		return nil, err
	}
	return l, nil
}

// AllOff claims each line with the level of off, checks it and lets go of it:
// for the service manager to call before the daemon starts and after it has
// stopped. A line still held by someone else is tried again for 3 s. Every
// line is tried, whatever became of the others; the errors are joined. Specs
// without a name are passed over.
func AllOff(specs ...Spec) error {
	held, err := claimOff(openLine, patience, specs)
	return errors.Join(err, closeAll(held))
}

// claimOff claims what it can, off, and returns it still held.
func claimOff(open opener, limit time.Duration, specs []Spec) ([]Output, error) {
	deadline := time.Now().Add(limit)
	var held []Output
	var errs []error
	for _, s := range specs {
		if !s.Fitted() {
			continue
		}
		o, err := open(s)
		for errors.Is(err, ErrBusy) && time.Now().Before(deadline) {
			time.Sleep(again)
			o, err = open(s)
		}
		if err != nil {
			errs = append(errs, err)
			continue
		}
		held = append(held, o)
	}
	return held, errors.Join(errs...)
}

func closeAll(held []Output) error {
	var errs []error
	for _, o := range held {
		errs = append(errs, o.Close())
	}
	return errors.Join(errs...)
}

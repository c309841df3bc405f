package plug

import (
	"errors"
	"io"
	"os"
)

// WardenMain is the life of the warden process: stdin carries leases, stdout
// status lines, args are those of Wiring.Args. Its first act is to claim the
// lines, off. It returns when RunWarden does, or at once when a line cannot
// be had; then the status says which and why.
func WardenMain(args []string) error {
	w, err := ParseWiring(args)
	if err != nil {
		return err
	}
	return wardenMain(w, openLine, os.Stdin, os.Stdout)
}

func wardenMain(w Wiring, open opener, in io.Reader, status io.Writer) error {
	ctx, stop := trap()
	defer stop()
	lines, err := claimLines(w, open)
	if err != nil {
		err = errors.Join(err, closeAll(lines.each()))
		t := newTeller(status)
		t.tell(Status{Word: wordDead, Text: err.Error()})
		t.close()
		return err
	}
	return RunWarden(ctx, in, lines, status, Options{Lease: w.Lease, Watchdog: w.Watchdog, Note: harden()})
}

// claimLines claims every line that is fitted, even if one cannot be had: the
// others are off then.
func claimLines(w Wiring, open opener) (Lines, error) {
	var l Lines
	var errs []error
	for _, c := range []struct {
		s Spec
		o *Output
	}{{w.Heat, &l.Heat}, {w.Main, &l.Main}, {w.Beat, &l.Beat}, {w.Air, &l.Air}} {
		held, err := claimOff(open, patience, []Spec{c.s})
		errs = append(errs, err)
		if len(held) == 1 {
			*c.o = held[0]
		}
	}
	return l, errors.Join(errs...)
}

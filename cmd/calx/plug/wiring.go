package plug

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"time"

	"calx/controller/warden"
)

// Wiring is what the warden must know, and all it knows.
type Wiring struct {
	Heat Spec // heat relay; must be fitted
	Main Spec // main contactor, in series with the heat relay, if fitted
	Air  Spec // fresh-air relay, if fitted
	Beat Spec // heartbeat to the missing-pulse circuit, if fitted

	Watchdog string        // device of the hardware watchdog ("/dev/watchdog"); empty: none
	Lease    time.Duration // how long a lease holds; 0: warden.DefaultLease
}

// Specs lists the lines in the order in which they are turned off.
func (w Wiring) Specs() []Spec { return []Spec{w.Heat, w.Main, w.Beat, w.Air} }

// Args is w as arguments for WardenMain.
func (w Wiring) Args() []string {
	args := []string{"--heat=" + w.Heat.String()}
	for _, opt := range []struct {
		name string
		s    Spec
	}{{"main", w.Main}, {"air", w.Air}, {"beat", w.Beat}} {
		if opt.s.Fitted() {
			args = append(args, "--"+opt.name+"="+opt.s.String())
		}
	}
	if w.Watchdog != "" {
		args = append(args, "--watchdog="+w.Watchdog)
	}
	if w.Lease != 0 {
		args = append(args, "--lease="+w.Lease.String())
	}
	return args
}

// ParseWiring reads what Args wrote: --heat, --main, --air, --beat (lines, in the text
// form of Spec), --watchdog (a device) and --lease (a duration).
func ParseWiring(args []string) (Wiring, error) {
	var w Wiring
	f := flag.NewFlagSet("warden", flag.ContinueOnError)
	f.SetOutput(io.Discard)
	line := func(name string, s *Spec) {
		f.Func(name, "GPIO line", func(text string) (err error) {
			*s, err = ParseSpec(text)
			return err
		})
	}
	line("heat", &w.Heat)
	line("main", &w.Main)
	line("air", &w.Air)
	line("beat", &w.Beat)
	f.StringVar(&w.Watchdog, "watchdog", "", "watchdog device")
	f.DurationVar(&w.Lease, "lease", 0, "length of a lease")
	if err := f.Parse(args); err != nil {
		return Wiring{}, fmt.Errorf("warden: %w", err)
	}
	if f.NArg() > 0 {
		return Wiring{}, fmt.Errorf("warden: unexpected argument %q", f.Arg(0))
	}
	return w, w.Check()
}

// Check reports everything that is wrong with w.
func (w Wiring) Check() error {
	var errs []error
	if !w.Heat.Fitted() {
		errs = append(errs, errors.New(`warden: no heat line; name one, like "GPIO17"`))
	}
	seen := map[string]bool{}
	for _, s := range w.Specs() {
		if s.Fitted() && seen[s.Name] {
			errs = append(errs, fmt.Errorf("warden: GPIO line %s is named twice", s.Name))
		}
		seen[s.Name] = true
	}
	if _, err := warden.New(w.Lease); err != nil {
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

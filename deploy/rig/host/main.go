//go:build linux

// Command host runs the real calx on an emulated board with a real kernel, does
// to it what may happen in a night, and tells from outside how long the heat
// stayed on: it reads the registers of the GPIO controller through the
// emulator, so nothing in the board can hide a line from it.
package main

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"regexp"
	"time"
)

func main() {
	folder := flag.String("folder", "", "folder with kernel and initrd")
	only := flag.String("only", "", "run the trials whose name matches this regular expression")
	verbose := flag.Bool("v", false, "print the console of the board after each trial")
	cuts := flag.Int("cuts", 0, "instead: this many power cuts, each at a random disk write")
	seed := flag.Uint64("seed", 1, "of the power cuts")
	flag.Parse()
	var err error
	if *cuts > 0 {
		err = cutPower(*folder, *cuts, *seed)
	} else {
		err = table(*folder, *only, *verbose)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

const (
	// oneShot is the slowest missing-pulse circuit of the wiring guide.
	oneShot = 2500 * time.Millisecond
	// goal and lastGoal: heat off after the death of one process, of both.
	goal     = 3 * time.Second
	lastGoal = 10 * time.Second
	never    = 0
)

// trial is one thing that may happen.
type trial struct {
	name   string
	orders []string      // what the guest does; the clock starts with the last one, with dead when it is answered
	within time.Duration // heat off; never: the firing must go on
	state  string        // whose state to tell afterwards
}

// Of two that are to die at once, both are stopped first: else the second saw
// the first die and acted.
var trials = []trial{
	{"daemon SIGKILL", []string{"signal daemon 9"}, goal, ""},
	{"daemon SIGSTOP", []string{"signal daemon 19"}, goal, "daemon"},
	{"daemon crashes (SIGSEGV)", []string{"signal daemon 11"}, goal, ""},
	{"daemon SIGTERM", []string{"signal daemon 15"}, goal, ""},
	{"chip never answers", []string{"chip hang"}, goal, "daemon"},
	{"chip never answers, daemon SIGKILL", []string{"chip hang", "hung", "signal daemon 9"}, goal, "daemon"},
	{"memory runs out, daemon taken", []string{"spare", "hog", "dead"}, goal, ""},
	{"memory eaten by another", []string{"hog"}, never, ""},
	{"disk full", []string{"fill"}, never, ""},
	{"disk full, daemon SIGKILL", []string{"fill", "signal daemon 9"}, goal, ""},
	{"warden SIGKILL", []string{"signal warden 9"}, goal, ""},
	{"warden SIGSTOP", []string{"signal warden 19"}, goal, ""},
	{"warden crashes (SIGSEGV)", []string{"signal warden 11"}, goal, ""},
	{"warden SIGTERM", []string{"signal warden 15"}, goal, ""},
	{"both SIGKILL, then calx off", []string{"signal both 19", "signal both 9", "off"}, goal, ""},
	{"both SIGKILL", []string{"signal both 19", "signal both 9"}, lastGoal, ""},
	{"both SIGSTOP", []string{"signal both 19"}, lastGoal, ""},
	{"chip never answers, warden SIGKILL", []string{"chip hang", "hung", "signal warden 9"}, lastGoal, ""},
	{"kernel panic", []string{"crash"}, lastGoal, ""},
}

func table(folder, only string, verbose bool) error {
	wanted, err := regexp.Compile(only)
	if err != nil {
		return err
	}
	fmt.Printf("%-36s %9s %9s %9s %9s  %s\n", "what happens", "heat off", "main off", "last beat", "one-shot", "")
	failed := 0
	for _, t := range trials {
		if !wanted.MatchString(t.name) {
			continue
		}
		row, log, err := t.run(folder)
		for range startTries - 1 {
			if !errors.Is(err, errStart) {
				break
			}
			row, log, err = t.run(folder)
		}
		if err != nil {
			failed++
			row += "  FAILED: " + err.Error()
		}
		fmt.Printf("%-36s %s\n", t.name, row)
		if verbose || err != nil {
			fmt.Println(log)
		}
	}
	if failed > 0 {
		return fmt.Errorf("%d trials failed", failed)
	}
	return nil
}

// errStart marks what went wrong before anything happened: on a busy computer
// the board may be too slow for its own deadlines.
var errStart = errors.New("the firing could not be started")

const startTries = 4

const (
	heatWithin = 20 * time.Second // from the order to fire
	steady     = 3 * time.Second  // of heat before anything happens
	afterwards = 4 * time.Second  // looked on, lest the heat come back
	stayOn     = 12 * time.Second // how long heat must outlast what must not matter
)

// run powers a board on, fires, lets it happen, and looks.
func (t trial) run(folder string) (row, log string, err error) {
	m, err := powerOn(folder, "")
	if err != nil {
		return "", "", err
	}
	defer func() { log = m.log(); err = errors.Join(err, m.powerOff()) }()
	w := watch(m)
	defer w.end()
	if err := start(m, w); err != nil {
		return "", "", fmt.Errorf("%w: %w", errStart, err)
	}
	var began time.Time
	for _, o := range t.orders {
		began = time.Now()
		if o == "crash" { // nobody is left to answer
			fmt.Fprintln(m.guest, o)
		} else if _, err := m.order(o); err != nil {
			return "", "", err
		}
		if o == "dead" {
			began = time.Now()
		}
	}
	if t.within == never {
		return t.outlast(m, w, began)
	}
	if _, err := w.await(2*lastGoal, func(l look) bool { return !l.heat && !l.main }); err != nil {
		return "", "", err
	}
	_, _ = w.await(afterwards, func(look) bool { return false })
	return t.judge(m, w, began)
}

// start has calx fire, and returns when the heat stays on.
func start(m *machine, w *watcher) error {
	if _, err := m.order("serve"); err != nil {
		return err
	}
	if l, _, err := w.state(); err != nil || l.heat || l.main {
		return errors.Join(err, fmt.Errorf("heat %v, main %v before the firing", l.heat, l.main))
	}
	if _, err := m.order("fire"); err != nil {
		return err
	}
	return w.settle()
}

// outlast looks on for a while: no heat for lack of a lease is no failure, the
// death of either process is, and heat must be there at the end.
func (t trial) outlast(m *machine, w *watcher, began time.Time) (row, log string, err error) {
	_, _ = w.await(stayOn, func(look) bool { return false })
	if err := w.settle(); err != nil {
		return "", "", err
	}
	for _, who := range []string{"daemon", "warden"} {
		if s, err := m.order("state " + who); err != nil || s == "gone" {
			return "", "", errors.Join(err, fmt.Errorf("the %s is gone", who))
		}
	}
	paused := w.pauses(began)
	return fmt.Sprintf("%9s %9s %9s %9s  the firing goes on, without heat %d times", "", "", "", "", paused), "", nil
}

// judge puts the row together.
func (t trial) judge(m *machine, w *watcher, began time.Time) (row, log string, err error) {
	heat, ok := w.offAfter(began, func(l look) bool { return l.heat })
	main, mainOK := w.offAfter(began, func(l look) bool { return l.main })
	if !ok || !mainOK {
		return "", "", fmt.Errorf("a line came back on")
	}
	_, beat, err := w.state()
	if err != nil {
		return "", "", err
	}
	seconds := func(d time.Duration) string { return fmt.Sprintf("%.2f s", d.Seconds()) }
	last, opens := seconds(beat.Sub(began)), seconds(beat.Sub(began)+oneShot)
	row = fmt.Sprintf("%9s %9s %9s %9s", seconds(heat), seconds(main), last, opens)
	if t.state != "" {
		s, err := m.order("state " + t.state)
		if err != nil {
			return row, "", err
		}
		row += "  " + t.state + " in state " + s
	}
	if max(heat, main) > t.within {
		return row, "", fmt.Errorf("the goal is %v", t.within)
	}
	return row, "", nil
}

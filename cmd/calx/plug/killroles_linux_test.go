package plug

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"calx/controller/warden"
)

// The processes of the kill table, and what befalls them.

// trouble waits for SIGUSR1 and then does to its own process what the row
// says, where it is for this process.
func trouble(who string) <-chan string {
	out := make(chan string, 1)
	of, what, _ := strings.Cut(os.Getenv(troubleEnv), " ")
	if of != who {
		return out
	}
	asked := make(chan os.Signal, 1)
	signal.Notify(asked, unix.SIGUSR1)
	go func() {
		<-asked
		switch what {
		case "panic":
			panic("the test asks for it")
		case "memory":
			eatAllMemory()
		}
		out <- what
	}()
	return out
}

// eatAllMemory ends as a process without memory ends: the runtime gives up.
func eatAllMemory() {
	limit := unix.Rlimit{Cur: 1, Max: 1}
	if err := unix.Setrlimit(unix.RLIMIT_AS, &limit); err != nil {
		panic(err)
	}
	for all := map[int][]byte{}; ; {
		all[len(all)] = make([]byte, 1<<20)
	}
}

// killedDaemon asks for heat ten times a second or oftener, and keeps a log on a disk
// that may be full.
func killedDaemon() error {
	fifo := os.Getenv(fifoEnv)
	cfg := clientConfig(fifo, "killed warden", pipeOpener("daemon", fifo))
	cfg.Wiring = Wiring{Heat: Spec{Name: "heat"}, Main: Spec{Name: "main"}, Beat: Spec{Name: "beat"}, Watchdog: os.Getenv(dogEnv)}
	cfg.testOnlyEnv = append(cfg.testOnlyEnv, troubleEnv+"="+os.Getenv(troubleEnv))
	c, err := Start(cfg)
	if err != nil {
		return err
	}
	report, err := os.OpenFile(fifo, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	fmt.Fprintf(report, "daemon warden %d\n", c.cmd.Process.Pid)
	disk := io.Discard
	if strings.HasSuffix(os.Getenv(troubleEnv), "full disk") {
		if disk, err = os.OpenFile("/dev/full", os.O_WRONLY, 0); err != nil {
			return err
		}
	}
	period := 100 * time.Millisecond
	if strings.HasSuffix(os.Getenv(troubleEnv), "pipe full") {
		// The smallest pipe there is, and many leases: full before they expire.
		period = 2 * time.Millisecond
		if _, err := unix.FcntlInt(c.pipe.Fd(), unix.F_SETPIPE_SZ, os.Getpagesize()); err != nil {
			return err
		}
		if err := unix.SetNonblock(int(c.pipe.Fd()), true); err != nil { // Fd made it wait
			return err
		}
	}
	ended := make(chan os.Signal, 1)
	signal.Notify(ended, unix.SIGTERM)
	hit := trouble("daemon")
	tick := time.NewTicker(period)
	for {
		_ = c.Set(warden.Lines{Heat: true, Main: true}) // a dead warden was taken over by the client
		fmt.Fprintln(disk, "a reading")
		select {
		case <-tick.C:
		case <-ended:
			return c.Close()
		case what := <-hit:
			hang(what)
		}
	}
}

// hang never returns: the loop waits for a lock nobody gives back, or inside
// the kernel for a device that says nothing.
func hang(what string) {
	if what == "deadlock" {
		var mu sync.Mutex
		mu.Lock()
		mu.Lock()
	}
	var mute [2]int
	if err := unix.Pipe(mute[:]); err != nil {
		panic(err)
	}
	_, err := unix.Read(mute[0], make([]byte, 4))
	panic(fmt.Sprint("a pipe nobody writes to has spoken: ", err))
}

// killedWarden is the warden with lines that can be made to panic or hang, and
// ears that can be shut.
func killedWarden() error {
	w, err := ParseWiring(os.Args[1:])
	if err != nil {
		return err
	}
	fifo := os.Getenv(fifoEnv)
	sick := &sickness{hit: trouble("warden"), deaf: make(chan struct{})}
	open := pipeOpener("warden", fifo)
	return wardenMain(w, func(s Spec) (Output, error) {
		o, err := open(s)
		return &sickLine{o, sick}, err
	}, &sickEars{sick}, os.Stdout)
}

// sickness is what has befallen the warden.
type sickness struct {
	hit  <-chan string
	deaf chan struct{}
}

// look acts on the signal in the goroutine of the warden's own loop.
func (s *sickness) look() {
	select {
	case what := <-s.hit:
		switch what {
		case "deadlock":
			hang(what)
		case "lease pipe full":
			close(s.deaf)
		}
	default:
	}
}

type sickLine struct {
	Output
	of *sickness
}

func (l *sickLine) Verify() error {
	l.of.look()
	return l.Output.Verify()
}

// sickEars read the leases, until they do not.
type sickEars struct{ of *sickness }

func (e *sickEars) Read(p []byte) (int, error) {
	select {
	case <-e.of.deaf:
		select {}
	default:
	}
	return os.Stdin.Read(p)
}

var errNoRole = errors.New("this test binary has no such role")

// killRole is what TestMain runs in a process of the kill table.
func killRole(role string) error {
	switch role {
	case "killed daemon":
		return killedDaemon()
	case "killed warden":
		return killedWarden()
	}
	return errNoRole
}

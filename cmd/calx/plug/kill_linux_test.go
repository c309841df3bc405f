package plug

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"calx/controller/warden"
)

// The kill table: what may happen to either process, and how long the heat
// stays on, seen from outside both. The lines and the watchdog are named pipes
// here that remember, like the hardware, what they were told last.
//
//	go test -v -run TestKillTable ./cmd/calx/plug            some of the table
//	CALX_KILLS=1 go test -v -run TestKillTable ./cmd/calx/plug   all, held to the goals

const (
	allKillsEnv = "CALX_KILLS"
	dogEnv      = "CALX_TEST_DOG"     // named pipe of the watchdog
	troubleEnv  = "CALX_TEST_TROUBLE" // what SIGUSR1 does to the process: "daemon panic"

	oneDies   = 3 * time.Second  // heat off after the death of either process
	bothDie   = 10 * time.Second // of both
	watchdogs = watchdogSeconds * time.Second
	oneShot   = 2500 * time.Millisecond // slowest missing-pulse circuit of deploy/wiring.md
)

// kill is one row.
type kill struct {
	who, what string // "both" dies by signal only
	sig       unix.Signal
	short     bool // part of the default run
}

var kills = []kill{
	{"daemon", "SIGKILL", unix.SIGKILL, true},
	{"daemon", "SIGSTOP", unix.SIGSTOP, false},
	{"daemon", "panic", unix.SIGUSR1, true},
	{"daemon", "deadlock", unix.SIGUSR1, true},
	{"daemon", "memory", unix.SIGUSR1, true},
	{"daemon", "chip never answers", unix.SIGUSR1, false},
	{"daemon", "SIGKILL on a full disk", unix.SIGKILL, false},
	{"daemon", "SIGTERM", unix.SIGTERM, false},
	{"warden", "SIGKILL", unix.SIGKILL, true},
	{"warden", "SIGSTOP", unix.SIGSTOP, false},
	{"warden", "panic", unix.SIGUSR1, true},
	{"warden", "deadlock", unix.SIGUSR1, false},
	{"warden", "memory", unix.SIGUSR1, true},
	{"warden", "lease pipe full", unix.SIGUSR1, true},
	{"warden", "SIGTERM", unix.SIGTERM, false},
	{"both", "SIGKILL", unix.SIGKILL, true},
	{"both", "SIGSTOP", unix.SIGSTOP, false},
}

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
	var all [][]byte
	for {
		all = append(all, make([]byte, 1<<20))
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

// board is the hardware: lines and a watchdog.
type board struct {
	lines, dog string
	mu         sync.Mutex
	on         map[string]bool
	at         map[string]time.Time // of the last change
	by         map[string]string
	warden     int
	fed        time.Time
	disarmed   bool
	told       chan struct{} // something happened
}

func newBoard(t *testing.T) *board {
	dir := t.TempDir()
	b := &board{
		lines: filepath.Join(dir, "lines"), dog: filepath.Join(dir, "watchdog"),
		on: map[string]bool{}, at: map[string]time.Time{}, by: map[string]string{}, told: make(chan struct{}, 1),
	}
	pipe := func(name string) *os.File {
		require.NoError(t, unix.Mkfifo(name, 0o600))
		// Both ways open, so that writers never wait for a reader nor see its end.
		f, err := os.OpenFile(name, os.O_RDWR, 0)
		require.NoError(t, err)
		t.Cleanup(func() { f.Close() })
		return f
	}
	lines, dog := pipe(b.lines), pipe(b.dog)
	go func() {
		for sc := bufio.NewScanner(lines); sc.Scan(); {
			b.hear(strings.Fields(sc.Text()))
		}
	}()
	go func() {
		for food := make([]byte, 1); ; {
			if _, err := dog.Read(food); err != nil {
				return
			}
			b.note(func() { b.fed, b.disarmed = time.Now(), food[0] == 'V' })
		}
	}()
	return b
}

func (b *board) note(f func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	f()
	select {
	case b.told <- struct{}{}:
	default:
	}
}

// hear takes in "who line on", or "daemon warden 123".
func (b *board) hear(f []string) {
	b.note(func() {
		if f[1] == "warden" {
			_, _ = fmt.Sscan(f[2], &b.warden)
			return
		}
		if on := f[2] == word(true); on != b.on[f[1]] {
			b.on[f[1]], b.at[f[1]], b.by[f[1]] = on, time.Now(), f[0]
		}
	})
}

// until waits for what is to be seen at the board.
func (b *board) until(limit time.Duration, good func() bool) error {
	late := time.After(limit)
	look := time.NewTicker(10 * time.Millisecond)
	defer look.Stop()
	for {
		b.mu.Lock()
		ok := good()
		b.mu.Unlock()
		if ok {
			return nil
		}
		select {
		case <-b.told:
		case <-look.C:
		case <-late:
			return fmt.Errorf("not within %v", limit)
		}
	}
}

func TestKillTable(t *testing.T) {
	all := os.Getenv(allKillsEnv) != ""
	var mu sync.Mutex
	rows := map[kill]string{}
	t.Run("each", func(t *testing.T) {
		for _, k := range kills {
			if !k.short && !all {
				continue
			}
			t.Run(k.who+" "+k.what, func(t *testing.T) {
				t.Parallel()
				row := k.run(t, all)
				mu.Lock()
				defer mu.Unlock()
				rows[k] = row
			})
		}
	})
	var table strings.Builder
	fmt.Fprintf(&table, "%-8s %-24s %10s %10s %-8s %16s %14s\n", "who", "what", "heat off", "main off", "by", "one-shot opens", "board resets")
	for _, k := range kills {
		if row, ok := rows[k]; ok {
			fmt.Fprintf(&table, "%-8s %-24s %s\n", k.who, k.what, row)
		}
	}
	t.Log("\n" + table.String())
}

// run starts both processes, lets it happen, and says how it went.
func (k kill) run(t *testing.T, strict bool) string {
	b := newBoard(t)
	self, err := os.Executable()
	require.NoError(t, err)
	d := exec.Command(self)
	d.Env = append(os.Environ(), roleEnv+"=killed daemon", fifoEnv+"="+b.lines, dogEnv+"="+b.dog, troubleEnv+"="+k.who+" "+k.what, quickExit)
	detach(d)
	require.NoError(t, d.Start())
	t.Cleanup(func() {
		_ = d.Process.Kill()
		_ = unix.Kill(b.warden, unix.SIGKILL)
		_ = d.Wait()
	})
	require.NoError(t, b.until(limit, func() bool { return b.on["heat"] && b.on["main"] && b.warden != 0 && !b.fed.IsZero() }), "no heat")

	began := time.Now()
	if k.who != "warden" {
		require.NoError(t, unix.Kill(d.Process.Pid, k.sig))
	}
	if k.who != "daemon" {
		require.NoError(t, unix.Kill(b.warden, k.sig))
	}
	if k.who == "both" {
		return b.afterBoth(t, began, strict)
	}
	bound := limit
	if strict {
		bound = oneDies
	}
	err = b.until(limit, func() bool { return !b.on["heat"] && !b.on["main"] })
	require.NoError(t, err, "the heat is on still")
	b.mu.Lock()
	defer b.mu.Unlock()
	heat, main := b.at["heat"].Sub(began), b.at["main"].Sub(began)
	assert.LessOrEqual(t, max(heat, main), bound)
	return fmt.Sprintf("%10s %10s %-8s", short(heat), short(main), b.by["heat"])
}

// afterBoth: nobody is left to turn the heat off. The heartbeat ends, and the
// watchdog resets the board.
func (b *board) afterBoth(t *testing.T, began time.Time, strict bool) string {
	quiet := 3 * warden.BeatEvery
	require.NoError(t, b.until(limit, func() bool { return time.Since(b.fed) > quiet && time.Since(b.at["beat"]) > quiet }), "something still beats")
	b.mu.Lock()
	defer b.mu.Unlock()
	assert.True(t, b.on["heat"], "nobody was left to open it")
	assert.False(t, b.disarmed)
	reset := b.fed.Add(watchdogs).Sub(began)
	assert.True(t, !strict || reset <= bothDie, "the board resets after %v", reset)
	return fmt.Sprintf("%10s %10s %-8s %16s %14s", "stays on", "stays on", "nobody", short(b.at["beat"].Add(oneShot).Sub(began)), short(reset))
}

func short(d time.Duration) string { return fmt.Sprintf("%.2f s", d.Seconds()) }

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

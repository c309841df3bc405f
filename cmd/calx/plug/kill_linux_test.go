package plug

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
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

	pids := map[string][]int{"daemon": {d.Process.Pid}, "warden": {b.warden}, "both": {d.Process.Pid, b.warden}}[k.who]
	began := time.Now()
	if k.who == "both" { // at once: else the second sees the first die, and acts
		for _, p := range pids {
			require.NoError(t, unix.Kill(p, unix.SIGSTOP))
		}
	}
	for _, p := range pids {
		require.NoError(t, unix.Kill(p, k.sig))
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

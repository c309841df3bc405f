package plug

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"calx/controller/warden"
)

// These tests run real processes: the test binary again, as daemon or as
// warden, with lines that report every switch to a named pipe. They watch
// from outside what happens to the heat when a process is killed or stopped.

const (
	roleEnv = "CALX_TEST_ROLE"
	fifoEnv = "CALX_TEST_FIFO"

	// quickExit spares the second the race detector takes to end a process.
	quickExit = "GORACE=atexit_sleep_ms=0"

	// limit is generous on purpose: the machine may be busy. What was
	// measured is logged.
	limit = 10 * time.Second
)

func TestMain(m *testing.M) {
	var err error
	switch os.Getenv(roleEnv) {
	case "":
		os.Exit(m.Run())
	case "warden":
		var w Wiring
		if w, err = ParseWiring(os.Args[1:]); err == nil {
			err = wardenMain(w, pipeOpener("warden", os.Getenv(fifoEnv)), os.Stdin, os.Stdout)
		}
	case "refusing warden":
		open := func(s Spec) (Output, error) { return nil, fmt.Errorf("%s: taken by the moon", s) }
		err = wardenMain(Wiring{Heat: Spec{Name: "heat"}}, open, os.Stdin, os.Stdout)
	case "daemon":
		err = daemonMain()
	default:
		err = killRole(os.Getenv(roleEnv))
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// pipeLine is an Output that reports to the named pipe.
type pipeLine struct {
	who, name string
	w         *os.File
}

func pipeOpener(who, fifo string) opener {
	return func(s Spec) (Output, error) {
		w, err := os.OpenFile(fifo, os.O_WRONLY, 0)
		if err != nil {
			return nil, err
		}
		l := &pipeLine{who: who, name: s.Name, w: w}
		return l, l.Set(false)
	}
}

func (l *pipeLine) Set(on bool) error {
	_, err := fmt.Fprintf(l.w, "%s %s %s\n", l.who, l.name, word(on))
	return err
}

func (l *pipeLine) Verify() error  { return nil }
func (l *pipeLine) String() string { return l.name }
func (l *pipeLine) Close() error {
	err := l.Set(false)
	l.w.Close()
	return err
}

// daemonMain asks for heat ten times a second, for ever.
func daemonMain() error {
	fifo := os.Getenv(fifoEnv)
	report, err := os.OpenFile(fifo, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	c, err := Start(clientConfig(fifo, "warden", pipeOpener("daemon", fifo)))
	if err != nil {
		return err
	}
	fmt.Fprintf(report, "warden pid %d\n", c.cmd.Process.Pid)
	tick := time.NewTicker(100 * time.Millisecond)
	for {
		select {
		case <-tick.C:
			_ = c.Set(warden.Lines{Heat: true, Main: true}) // a dead warden is reported below
		case <-c.Dead():
			fmt.Fprintf(report, "daemon says %s\n", strings.ReplaceAll(c.Err().Error(), "\n", "; "))
			select {}
		}
	}
}

func clientConfig(fifo, role string, open opener) Config {
	self, err := os.Executable()
	if err != nil {
		panic(err)
	}
	return Config{
		Wiring:       Wiring{Heat: Spec{Name: "heat"}, Lease: time.Second},
		Command:      []string{self},
		testOnlyEnv:  []string{roleEnv + "=" + role, fifoEnv + "=" + fifo, quickExit},
		testOnlyOpen: open,
	}
}

// scene is what the outside observer holds.
type scene struct {
	t     *testing.T
	fifo  string
	lines chan string
}

func newScene(t *testing.T) *scene {
	t.Parallel()
	s := &scene{t: t, fifo: filepath.Join(t.TempDir(), "lines"), lines: make(chan string, 1024)}
	require.NoError(t, unix.Mkfifo(s.fifo, 0o600))
	// Both ways open, so that writers never wait for a reader nor see its end.
	f, err := os.OpenFile(s.fifo, os.O_RDWR, 0)
	require.NoError(t, err)
	t.Cleanup(func() { f.Close() })
	go func() {
		for sc := bufio.NewScanner(f); sc.Scan(); {
			s.lines <- sc.Text()
		}
	}()
	return s
}

// await returns the first line that starts with prefix, and how long it took.
func (s *scene) await(prefix string) (string, time.Duration) {
	s.t.Helper()
	began := time.Now()
	late := time.After(limit)
	for {
		select {
		case l := <-s.lines:
			if strings.HasPrefix(l, prefix) {
				return l, time.Since(began)
			}
		case <-late:
			s.t.Fatalf("no %q within %v", prefix, limit)
		}
	}
}

// daemon starts a daemon in a process group of its own and waits for heat.
func (s *scene) daemon() (daemon *exec.Cmd, wardenPID int) {
	s.t.Helper()
	self, err := os.Executable()
	require.NoError(s.t, err)
	c := exec.Command(self)
	c.Env = append(os.Environ(), roleEnv+"=daemon", fifoEnv+"="+s.fifo, quickExit)
	c.Stderr = os.Stderr
	detach(c)
	require.NoError(s.t, c.Start())
	s.t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	l, _ := s.await("warden pid")
	_, err = fmt.Sscanf(l, "warden pid %d", &wardenPID)
	require.NoError(s.t, err)
	s.await("warden heat on")
	return c, wardenPID
}

func TestDaemonDies(t *testing.T) {
	for _, c := range []struct {
		name string
		sig  unix.Signal
		all  bool // to the whole process group, as Ctrl-C does
	}{
		{"SIGKILL", unix.SIGKILL, false},
		{"SIGSTOP", unix.SIGSTOP, false},
		{"Ctrl-C", unix.SIGINT, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t)
			d, _ := s.daemon()
			pid := d.Process.Pid
			if c.all {
				pid = -pid
			}
			require.NoError(t, unix.Kill(pid, c.sig))
			_, took := s.await("warden heat off")
			t.Logf("%s of the daemon: heat off after %v", c.name, took.Round(time.Millisecond))
		})
	}
}

func TestWardenDies(t *testing.T) {
	for _, c := range []struct {
		sig  unix.Signal
		by   string // who turns the heat off
		says string
	}{
		{unix.SIGKILL, "daemon", "signal: killed"},
		{unix.SIGSTOP, "daemon", "no answer for"},
		{unix.SIGTERM, "warden", "every line is off"},
		{unix.SIGINT, "warden", "every line is off"},
		{unix.SIGHUP, "warden", "every line is off"},
		{unix.SIGQUIT, "warden", "every line is off"},
	} {
		t.Run(unix.SignalName(c.sig), func(t *testing.T) {
			s := newScene(t)
			_, pid := s.daemon()
			require.NoError(t, unix.Kill(pid, c.sig))
			_, took := s.await(c.by + " heat off")
			t.Logf("%v of the warden: heat off by the %s after %v", c.sig, c.by, took.Round(time.Millisecond))
			said, _ := s.await("daemon says")
			assert.Contains(t, said, "the warden is dead")
			assert.Contains(t, said, c.says)
			assert.Contains(t, said, "calx has driven its lines off itself")
		})
	}
}

func TestWardenIgnoresStopFromTheTerminal(t *testing.T) {
	s := newScene(t)
	d, pid := s.daemon()
	require.NoError(t, unix.Kill(pid, unix.SIGTSTP))
	require.NoError(t, unix.Kill(pid, unix.SIGPIPE))
	require.NoError(t, d.Process.Kill())
	_, took := s.await("warden heat off")
	t.Logf("heat off after %v", took.Round(time.Millisecond))
}

// Garbage straight into the pipe of a real warden.
func TestGarbageOnThePipe(t *testing.T) {
	s := newScene(t)
	ctx, cancel := context.WithTimeout(t.Context(), limit)
	defer cancel()
	cfg := clientConfig(s.fifo, "warden", nil)
	c := exec.CommandContext(ctx, cfg.Command[0], cfg.Wiring.Args()...)
	c.Env = cfg.testOnlyEnv
	in, err := c.StdinPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	s.await("warden heat off")
	m := warden.Encode(warden.Message{Kind: warden.Lease, Seq: 1, Issued: bootClock(), Heat: true, Main: true})
	_, err = in.Write(m[:])
	require.NoError(t, err)
	s.await("warden heat on")
	_, err = in.Write([]byte("a person typed into the wrong window"))
	require.NoError(t, err)
	_, took := s.await("warden heat off")
	t.Logf("garbage: heat off after %v", took.Round(time.Millisecond))
	assert.Error(t, c.Wait())
}

func TestClient(t *testing.T) {
	s := newScene(t)
	c, err := Start(clientConfig(s.fifo, "warden", pipeOpener("client", s.fifo)))
	require.NoError(t, err)
	require.NoError(t, c.Set(warden.Lines{Heat: true, Main: true}))
	s.await("warden heat on")
	require.NoError(t, c.Set(warden.Lines{}))
	s.await("warden heat off")
	require.NoError(t, c.Set(warden.Lines{Heat: true, Main: true}))
	s.await("warden heat on")

	began := time.Now()
	require.NoError(t, c.Off())
	t.Logf("Off took %v", time.Since(began).Round(10*time.Microsecond))
	s.await("warden heat off")
	assert.False(t, c.Status().Heat)
	assert.ErrorIs(t, c.Set(warden.Lines{Heat: true, Main: true}), ErrWithdrawn)
	require.NoError(t, c.Off(), "again")
	require.NoError(t, c.Close())
	<-c.Dead()
	assert.NoError(t, c.Err(), "an orderly end is no death")
	require.NoError(t, c.Close(), "again")
}

// Of the two, the kernel must take the daemon when memory runs out: the warden
// turns the heat off then.
func TestWardenIsTakenLast(t *testing.T) {
	s := newScene(t)
	d, pid := s.daemon()
	score := func(pid int) (n int) {
		b, err := os.ReadFile(fmt.Sprintf("/proc/%d/oom_score_adj", pid))
		require.NoError(t, err)
		_, err = fmt.Sscan(string(b), &n)
		require.NoError(t, err)
		return n
	}
	assert.Equal(t, score(pid)+takenSooner, score(d.Process.Pid))
}

func TestStoppedWardenDoesNotHoldOff(t *testing.T) {
	s := newScene(t)
	c, err := Start(clientConfig(s.fifo, "warden", pipeOpener("client", s.fifo)))
	require.NoError(t, err)
	require.NoError(t, c.Set(warden.Lines{Heat: true, Main: true}))
	s.await("warden heat on")
	require.NoError(t, c.cmd.Process.Signal(unix.SIGSTOP))
	require.NoError(t, unix.Waitid(unix.P_PID, c.cmd.Process.Pid, nil, unix.WSTOPPED, nil))
	began := time.Now()
	require.NoError(t, c.Off(), "the lines were driven off from here")
	t.Logf("Off of a stopped warden took %v", time.Since(began).Round(time.Millisecond))
	assert.ErrorIs(t, c.Err(), ErrDead)
	assert.ErrorIs(t, c.Set(warden.Lines{Heat: true, Main: true}), ErrDead)
	require.NoError(t, c.Close())
}

func TestStartSaysWhyTheWardenRefuses(t *testing.T) {
	s := newScene(t)
	_, err := Start(clientConfig(s.fifo, "refusing warden", func(Spec) (Output, error) {
		return &fakeLine{name: "heat", clock: bootClock}, nil
	}))
	assert.ErrorIs(t, err, ErrDead)
	assert.ErrorContains(t, err, "taken by the moon")
}

func TestStartWithoutItsLine(t *testing.T) {
	cfg := clientConfig("", "warden", func(s Spec) (Output, error) { return nil, fmt.Errorf("%s: %w", s, ErrNoLine) })
	_, err := Start(cfg)
	assert.ErrorIs(t, err, ErrNoLine)
}

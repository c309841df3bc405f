package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/station"
	"calx/controller/notice"
	"calx/sensor"
	"calx/storage"
	"calx/storage/record"
)

// childArgs carries the arguments of a calx that a test starts.
const childArgs = "CALX_TEST_ARGS"

// TestCalx is not a test: it is calx itself, in a process that can be killed.
func TestCalx(*testing.T) {
	if args := os.Getenv(childArgs); args != "" {
		os.Exit(run(strings.Split(args, "\n")))
	}
}

// served is a calx serve in a process of its own.
type served struct {
	t    *testing.T
	cmd  *exec.Cmd
	at   string
	said chan string // what it printed, when it is gone
}

var answersAt = regexp.MustCompile(`answers at (\S+)`)

// serve starts one on a simulated kiln, sixty seconds a second, and waits until
// it answers.
func serve(t *testing.T, dir string, env ...string) *served {
	t.Helper()
	s := &served{t: t, said: make(chan string, 1)}
	s.cmd = exec.Command(os.Args[0], "-test.run=^TestCalx$")
	s.cmd.Env = append(append(os.Environ(), childArgs+"=serve\n--bench\n60\n--config\n"+filepath.Join(dir, "calx.yaml")), env...)
	out, err := s.cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, s.cmd.Start())
	at := make(chan string, 1)
	go func() {
		var all bytes.Buffer
		for sc := bufio.NewScanner(out); sc.Scan(); {
			fmt.Fprintln(&all, sc.Text())
			if m := answersAt.FindStringSubmatch(sc.Text()); m != nil {
				at <- m[1]
			}
		}
		close(at)
		s.said <- all.String()
	}()
	t.Cleanup(func() { s.end(syscall.SIGKILL) })
	var ok bool
	if s.at, ok = <-at; !ok {
		require.Fail(t, "calx did not come up", <-s.said)
	}
	return s
}

// end sends a signal and waits; it returns the exit code and what was printed.
func (s *served) end(sig syscall.Signal) (code int, said string) {
	if s.cmd.ProcessState != nil {
		return s.cmd.ProcessState.ExitCode(), ""
	}
	_ = s.cmd.Process.Signal(sig)
	said = <-s.said
	_ = s.cmd.Wait()
	return s.cmd.ProcessState.ExitCode(), said
}

func (s *served) status() (st station.Status, err error) {
	res, err := http.Get("http://" + s.at + "/api/status")
	if err != nil {
		return st, err
	}
	defer res.Body.Close()
	return st, json.NewDecoder(res.Body).Decode(&st)
}

// until waits for a status.
func (s *served) until(what string, good func(station.Status) bool) station.Status {
	s.t.Helper()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	var st station.Status
	var err error
	for range 4000 {
		if st, err = s.status(); err == nil && good(st) {
			return st
		}
		<-tick.C
	}
	require.Failf(s.t, "waited too long", "for %s; last error %v, last status %+v", what, err, st)
	return st
}

func (s *served) fire(profile string) {
	s.t.Helper()
	body, err := json.Marshal(map[string]string{"name": "night", "profile": profile})
	require.NoError(s.t, err)
	res, err := http.Post("http://"+s.at+"/api/firings", "application/json", bytes.NewReader(body))
	require.NoError(s.t, err)
	require.NoError(s.t, res.Body.Close())
	require.Equal(s.t, http.StatusCreated, res.StatusCode)
}

// post sends a body of JSON and returns the status code.
func (s *served) post(path, body string) int { return s.postAs("application/json", path, body) }

func (s *served) postAs(kind, path, body string) int {
	s.t.Helper()
	res, err := http.Post("http://"+s.at+path, kind, strings.NewReader(body))
	require.NoError(s.t, err)
	require.NoError(s.t, res.Body.Close())
	return res.StatusCode
}

func configure(t *testing.T, more string) (dir string) {
	dir = t.TempDir()
	text := "kiln: bench-9l-brick\nlisten: 127.0.0.1:0\ndata: data\n" + more + `
channels:
  - {role: chamber, chip: max31855, port: SPI0.0, type: K}
heater: {pin: GPIO17, relay: ssr}
`
	require.NoError(t, os.WriteFile(filepath.Join(dir, "calx.yaml"), []byte(text), 0o600))
	return dir
}

// Second contactor and door switch, where they are fitted: the firing heats
// through the one, and the log keeps the other.
func TestServeWithMainContactorAndDoor(t *testing.T) {
	dir := configure(t, "door: {pin: GPIO24, open: low}\n")
	file := filepath.Join(dir, "calx.yaml")
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	text = bytes.Replace(text, []byte("heater: {"), []byte("heater: {main: GPIO23, "), 1)
	require.NoError(t, os.WriteFile(file, text, 0o600))
	s := serve(t, dir)
	s.fire(night)
	s.until("warmth", func(st station.Status) bool { return st.Firing != nil && st.ChamberC != nil && *st.ChamberC > 22 })
	code, said := s.end(syscall.SIGTERM)
	assert.Equal(t, 0, code, said)
	_, last := inLog(t, dir, 1)
	assert.Equal(t, uint8(sensor.DoorShut), last.Door)
}

const night = "heat to 60 C at 60 C/h\nhold 8 h\n"

// inLog reads the log of a daemon that is gone.
func inLog(t *testing.T, dir string, id uint64) (n uint64, last record.Reading) {
	t.Helper()
	l, err := storage.Open(filepath.Join(dir, "data", logName), &storage.Opts{ReadOnly: true})
	require.NoError(t, err)
	defer l.Close()
	require.NoError(t, l.Readings(id, 0, 0, func(r *record.Reading) error {
		require.Equal(t, n, r.Seq, "readings without a gap")
		n, last = n+1, *r
		return nil
	}))
	return n, last
}

// The promise: at a kill at most the last 2 s of readings are missing, never
// an earlier one, and the firing goes on.
func TestKilledDaemonGoesOn(t *testing.T) {
	if testing.Short() {
		t.Skip("kills real processes: some seconds")
	}
	const kills, speed, bound = 4, 60, 2 // times; simulated seconds a second; seconds
	dir := configure(t, "resume_within: 10 min")
	s := serve(t, dir)
	s.fire(night)
	for i := range kills {
		begin := s.until("a firing", func(st station.Status) bool { return st.Firing != nil && st.Firing.Phase != "" }).Firing.SinceS
		// Any moment of the second between two commits, after the first.
		from := begin + 70 + float64(rand.IntN(60))
		seen := s.until("readings", func(st station.Status) bool { return st.Firing.SinceS > from })
		s.end(syscall.SIGKILL)
		n, last := inLog(t, dir, 1)
		lost := seen.Firing.SinceS - last.Since.Seconds()
		t.Logf("kill %d at %.0f s: %d readings kept, %.0f seen and lost, %.2f s of wall time", i+1, seen.Firing.SinceS, n, max(lost, 0), max(lost, 0)/speed)
		assert.LessOrEqual(t, lost, float64(bound*speed))
		s = serve(t, dir)
	}
	st := s.until("the firing going on", func(st station.Status) bool { return st.Firing != nil && st.Firing.Phase != "" })
	assert.Equal(t, notice.Interrupted, st.Firing.Events[0].Code)
	assert.Contains(t, st.Firing.Events[0].Text, "The firing goes on in step 1")
	code, said := s.end(syscall.SIGTERM)
	assert.Equal(t, 0, code, said)
	assert.Contains(t, said, "asked to end; the heat is off")
}

func TestKilledDaemonEndsTheFiring(t *testing.T) {
	if testing.Short() {
		t.Skip("kills real processes: some seconds")
	}
	dir := configure(t, "after_power_cut: end")
	s := serve(t, dir)
	s.fire(night)
	// Long enough for a commit: before it there is nothing to tell.
	s.until("readings", func(st station.Status) bool { return st.Firing != nil && st.Firing.SinceS > 90 })
	s.end(syscall.SIGKILL)
	s = serve(t, dir)
	st := s.until("its end", func(st station.Status) bool { return st.Last != nil })
	assert.Equal(t, "interrupted", st.Last.Outcome)
	assert.Regexp(t, `^calx was interrupted for .*(s|min), and the firing was to end at a power cut; the firing was ended, the heat is off$`, st.Last.Reason)
	assert.Nil(t, st.Firing)
	s.fire(night) // the way is free
	_, said := s.end(syscall.SIGTERM)
	assert.Contains(t, said, "firing 1: "+st.Last.Reason)
}

// A killed daemon whose firing asks for a person keeps on asking, however often
// it is killed, and records the kiln meanwhile; then it goes on.
func TestKilledDaemonAsks(t *testing.T) {
	if testing.Short() {
		t.Skip("kills real processes: some seconds")
	}
	dir := configure(t, "after_power_cut: ask")
	s := serve(t, dir)
	s.fire(night)
	s.until("readings", func(st station.Status) bool { return st.Firing != nil && st.Firing.SinceS > 600 })
	asks := ""
	for range 2 {
		s.end(syscall.SIGKILL)
		s = serve(t, dir)
		st := s.until("the question", func(st station.Status) bool { return st.Firing != nil && st.Firing.Asks != "" })
		if asks != "" {
			assert.Equal(t, asks, st.Firing.Asks)
		}
		asks = st.Firing.Asks
		assert.False(t, st.Heat)
		since := st.Firing.SinceS
		s.until("more readings", func(st station.Status) bool { return st.Firing.SinceS > since+120 })
	}
	assert.Contains(t, asks, "a person was to be asked")
	assert.Equal(t, http.StatusConflict, s.post("/api/command", `{"command":"step-on"}`))
	assert.Equal(t, http.StatusNoContent, s.post("/api/command", `{"command":"resume"}`))
	s.until("heat", func(st station.Status) bool { return st.Firing != nil && st.Firing.Asks == "" && st.Duty > 0 })
	code, said := s.end(syscall.SIGTERM)
	assert.Equal(t, 0, code, said)
	_, last := inLog(t, dir, 1)
	assert.Positive(t, last.EnergyJ)
}

// A trip is remembered by a daemon that is killed right after it, and by every
// one that follows, until a person clears it; and that is remembered as well.
func TestTripSurvivesSIGKILL(t *testing.T) {
	if testing.Short() {
		t.Skip("kills real processes: some seconds")
	}
	dir := configure(t, "")
	s := serve(t, dir)
	s.fire("heat to 110 C as fast as possible\n")
	s.until("a warm kiln", func(st station.Status) bool { return st.Last != nil })
	s.fire("never above 25 C\nhold 1 h\n") // it is hotter than that already
	s.until("a trip", func(st station.Status) bool {
		return st.Trip != nil || st.Firing != nil && st.Firing.Outcome == "tripped"
	})
	for range 3 {
		s.end(syscall.SIGKILL)
		s = serve(t, dir)
		st := s.until("the trip", func(st station.Status) bool { return st.Trip != nil })
		assert.EqualValues(t, 2, st.Trip.Firing)
		assert.Equal(t, notice.AboveCeiling, st.Trip.Code)
		assert.Nil(t, st.Firing)
		assert.False(t, st.Heat)
		assert.Equal(t, http.StatusConflict, s.post("/api/firings", `{"profile":"hold 1 h"}`))
		assert.Equal(t, http.StatusConflict, s.post("/api/clear", `{"firing":1}`))
	}
	assert.Equal(t, http.StatusUnsupportedMediaType, s.postAs("text/plain", "/api/clear", `{"firing":2}`))
	assert.Equal(t, http.StatusNoContent, s.post("/api/clear", `{"firing":2}`))
	s.end(syscall.SIGKILL)
	s = serve(t, dir)
	st := s.until("a reading", func(st station.Status) bool { return st.ChamberC != nil })
	assert.Nil(t, st.Trip)
	s.fire(night)
}

// Asked to end, calx writes what it has, and leaves the firing to the next
// start.
func TestTerminatedDaemonLosesNothing(t *testing.T) {
	dir := configure(t, "resume_within: 10 min")
	s := serve(t, dir)
	s.fire(night)
	seen := s.until("readings", func(st station.Status) bool { return st.Firing != nil && st.Firing.SinceS > 10 })
	code, said := s.end(syscall.SIGTERM)
	assert.Equal(t, 0, code, said)
	_, last := inLog(t, dir, 1)
	assert.GreaterOrEqual(t, last.Since.Seconds(), seen.Firing.SinceS)
}

// The service manager hears that calx is ready, that its loop turns, and that
// it ends (sd_notify(3)).
func TestServiceManagerIsTold(t *testing.T) {
	socket := filepath.Join(t.TempDir(), "notify")
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: socket, Net: "unixgram"})
	require.NoError(t, err)
	defer c.Close()
	heard := make(chan string, 10000)
	go func() {
		defer close(heard)
		b := make([]byte, 256)
		for {
			n, err := c.Read(b)
			if err != nil {
				return
			}
			heard <- string(b[:n])
		}
	}()
	s := serve(t, configure(t, ""), "NOTIFY_SOCKET="+socket)
	assert.Equal(t, "READY=1\nWATCHDOG=1", <-heard)
	for range 5 {
		assert.Equal(t, "WATCHDOG=1", <-heard)
	}
	code, said := s.end(syscall.SIGTERM)
	assert.Equal(t, 0, code, said)
	require.NoError(t, c.Close())
	last := ""
	for m := range heard {
		last = m
	}
	assert.Equal(t, "STOPPING=1", last)
}

func TestServeAndOffRefuse(t *testing.T) {
	t.Chdir(t.TempDir())
	real := configure(t, "period: 1 s")
	file := filepath.Join(real, "calx.yaml")
	body, err := os.ReadFile(file)
	require.NoError(t, err)
	// A line no board has: a test must not move a real one.
	body = bytes.ReplaceAll(body, []byte("GPIO17"), []byte("calx-test-no-such-line"))
	require.NoError(t, os.WriteFile(file, body, 0o600))
	for _, c := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"no line, off", []string{"off", "--config", file}, 1, "calx-test-no-such-line"},
		{"no line, serve", []string{"serve", "--config", file}, 1, "calx-test-no-such-line"},
		{"speed below 0", []string{"serve", "--bench=-1"}, 2, "must be a number above 0"},
		{"warden without a line", []string{"warden"}, 1, "no heat line"},
		{"warden's flags are its own", []string{"warden", "--heat=calx-test-no-such-line", "--lease=1h"}, 1, "outside 500ms to 2.5s"},
		{"no such file", []string{"off", "--config", "nowhere.yaml"}, 1, "nowhere.yaml"},
	} {
		cmd := exec.Command(os.Args[0], "-test.run=^TestCalx$")
		cmd.Env = append(os.Environ(), childArgs+"="+strings.Join(c.args, "\n"))
		said, _ := cmd.CombinedOutput()
		assert.Equal(t, c.code, cmd.ProcessState.ExitCode(), "%s: %s", c.name, said)
		assert.Contains(t, string(said), c.says, c.name)
	}
}

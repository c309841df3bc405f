package main

import (
	"context"
	"log"
	"net"
	"os"
	"strings"
	"time"

	"calx/cmd/calx/station"
	"calx/controller"
	"calx/controller/notice"
	"calx/sensor"
)

// realClock is the time of this machine.
type realClock struct{ start time.Time }

func newRealClock() realClock { return realClock{time.Now()} }

func (c realClock) Mono() time.Duration { return time.Since(c.start) }
func (c realClock) Wall() time.Time     { return time.Now() }

func (c realClock) Sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// bootID is the kernel's identity of this boot; "" where it has none.
func bootID() string {
	b, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}

// monitors passes on to several.
type monitors []station.Monitor

func (ms monitors) Tick(late time.Duration, out controller.Output) {
	for _, m := range ms {
		m.Tick(late, out)
	}
}

func (ms monitors) Idle(wall time.Time, chamber sensor.Reading, others []sensor.Reading) {
	for _, m := range ms {
		m.Idle(wall, chamber, others)
	}
}

// notifier speaks to the service manager, from the control loop itself: a
// watchdog petted from anywhere else would outlive what it watches. The
// protocol is sd_notify(3): datagrams of assignments to the socket that
// NOTIFY_SOCKET names.
type notifier struct {
	conn  net.Conn // nil without a service manager
	ready bool
}

func newNotifier() *notifier {
	name := os.Getenv("NOTIFY_SOCKET")
	if name == "" {
		return &notifier{}
	}
	// A leading @ stands for a name outside the file system; net knows it so.
	conn, err := net.Dial("unixgram", name)
	if err != nil {
		return &notifier{}
	}
	return &notifier{conn: conn}
}

// notifyWithin is how long the service manager may keep the control loop.
const notifyWithin = 20 * time.Millisecond

// send tells; a manager that does not listen cannot be helped, it will restart
// the daemon by itself.
func (n *notifier) send(state string) {
	if n.conn == nil {
		return
	}
	_ = n.conn.SetWriteDeadline(time.Now().Add(notifyWithin))
	_, _ = n.conn.Write([]byte(state))
}

// turn says that the loop has turned once more.
func (n *notifier) turn() {
	if !n.ready {
		n.ready = true
		n.send("READY=1\nWATCHDOG=1")
		return
	}
	n.send("WATCHDOG=1")
}

func (n *notifier) stopping() { n.send("STOPPING=1") }

func (n *notifier) Tick(time.Duration, controller.Output)            { n.turn() }
func (n *notifier) Idle(time.Time, sensor.Reading, []sensor.Reading) { n.turn() }

// teller prints the events of a firing without ever holding up the loop that
// reports them.
type teller struct {
	lines chan string
	done  chan struct{}
}

// linesKept is how many lines may wait for a slow terminal; more are dropped,
// the log has them all.
const linesKept = 100

func newTeller(say *log.Logger) *teller {
	t := &teller{lines: make(chan string, linesKept), done: make(chan struct{})}
	go func() {
		defer close(t.done)
		for l := range t.lines {
			say.Print(l)
		}
	}()
	return t
}

func (t *teller) Tick(_ time.Duration, out controller.Output) {
	for _, e := range out.Events {
		if e.Code == notice.Interrupted || e.Code == notice.WaitsForPerson {
			continue // serve has said it, with the number of the firing
		}
		line := e.Text
		if e.Hint != "" {
			line += "; " + e.Hint
		}
		select {
		case t.lines <- line:
		default:
		}
	}
}

func (t *teller) Idle(time.Time, sensor.Reading, []sensor.Reading) {}

// close prints what is left.
func (t *teller) close() {
	close(t.lines)
	<-t.done
}

package plug

import (
	"context"
	"os"
	"os/exec"
	"os/signal"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// bootClock is the time since boot, standby included: the same for every
// process of the machine, and it never goes backwards.
func bootClock() time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
		return -1 // no lease is fresh at a negative time
	}
	return time.Duration(t.Nano())
}

// trap turns every signal that asks a program to end into the end of the
// context, and refuses those that would stop it or kill it for a broken
// status pipe before the lines are off.
func trap() (context.Context, context.CancelFunc) {
	signal.Ignore(unix.SIGPIPE, unix.SIGTSTP, unix.SIGTTIN, unix.SIGTTOU)
	return signal.NotifyContext(context.Background(),
		unix.SIGTERM, unix.SIGINT, unix.SIGHUP, unix.SIGQUIT, unix.SIGABRT)
}

// wardenNice is the warden's priority: before everything ordinary.
const wardenNice = -10

// harden asks for what helps the warden run on a sick machine, takes what it
// gets, and says what that was.
func harden() string {
	var got []string
	if lockMemory() {
		got = append(got, "memory locked")
	}
	if raisePriority() {
		got = append(got, "priority raised")
	}
	if got == nil {
		return "ordinary priority, memory not locked"
	}
	return strings.Join(got, ", ")
}

// lockMemory keeps every page the warden has used. The off path is used at
// the start and checked at every tick, so it needs no disk any more. It is
// not tried under a limit: growth past the limit would kill the process.
func lockMemory() bool {
	var limit unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_MEMLOCK, &limit); err != nil || limit.Cur != unix.RLIM_INFINITY {
		return false
	}
	return unix.Mlockall(unix.MCL_CURRENT|unix.MCL_FUTURE|unix.MCL_ONFAULT) == nil
}

// raisePriority works thread by thread, as Linux does; later threads inherit.
func raisePriority() bool {
	threads, err := os.ReadDir("/proc/self/task")
	if err != nil {
		return false
	}
	for _, t := range threads {
		tid, err := strconv.Atoi(t.Name())
		if err != nil || unix.Setpriority(unix.PRIO_PROCESS, tid, wardenNice) != nil {
			return false
		}
	}
	return true
}

func setWatchdogTimeout(f *os.File, seconds int) {
	raw, err := f.SyscallConn()
	if err != nil {
		return
	}
	// A device that refuses keeps its own timeout; it guards all the same.
	_ = raw.Control(func(fd uintptr) {
		_ = unix.IoctlSetPointerInt(int(fd), unix.WDIOC_SETTIMEOUT, seconds)
	})
}

// selfPath is this very program, even if its file was replaced meanwhile.
const selfPath = "/proc/self/exe"

// detach keeps the signals of the daemon's terminal away from the warden.
func detach(c *exec.Cmd) { c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }

// takenSooner is how much sooner the kernel takes the daemon than the warden
// when memory runs out, of 1000 (proc(5), oom_score_adj).
const takenSooner = 100

// spareWarden makes this process, which has just started a warden, the one
// that the kernel would rather end of the two; once, since the next warden
// inherits the score. Where that cannot be had, the kernel takes the larger
// one, which is this one as well.
var spareWarden = sync.OnceFunc(func() {
	const file = "/proc/self/oom_score_adj"
	b, err := os.ReadFile(file)
	if err != nil {
		return
	}
	if score, err := strconv.Atoi(strings.TrimSpace(string(b))); err == nil {
		_ = os.WriteFile(file, []byte(strconv.Itoa(min(score+takenSooner, 1000))), 0)
	}
})

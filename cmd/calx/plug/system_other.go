//go:build !linux

package plug

import (
	"context"
	"os"
	"os/exec"
	"os/signal"
	"time"
)

var started = time.Now()

func bootClock() time.Duration { return time.Since(started) }

func trap() (context.Context, context.CancelFunc) {
	return signal.NotifyContext(context.Background(), os.Interrupt)
}

func harden() string { return "" }

func setWatchdogTimeout(*os.File, int) {}

const selfPath = ""

func detach(*exec.Cmd) {}

func spareWarden() {}

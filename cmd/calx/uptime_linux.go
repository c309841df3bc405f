package main

import (
	"time"

	"golang.org/x/sys/unix"
)

// uptime is the clock of this boot, which nobody sets and which goes on while
// no calx runs; 0 where there is none.
func uptime() time.Duration {
	var t unix.Timespec
	if unix.ClockGettime(unix.CLOCK_BOOTTIME, &t) != nil {
		return 0
	}
	return time.Duration(t.Nano())
}

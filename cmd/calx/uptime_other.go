//go:build !linux

package main

import "time"

// uptime is not known here; see bootID.
func uptime() time.Duration { return 0 }

//go:build !linux

package main

// clockState: only the board's own kernel is asked.
func clockState() (synchronised, known bool) { return false, false }

// diskOf likewise.
func diskOf(string) *diskFacts { return nil }

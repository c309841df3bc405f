package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"calx/cmd/calx/rerun"
)

// What may explain a difference is said, and only that.
func TestReplayWarns(t *testing.T) {
	same := replayResult{Version: version, Result: rerun.Result{Arch: "arm64", Figures: "a", Settings: rerun.Settings{Arch: "arm64", Figures: "a"}}}
	assert.Empty(t, same.warnings())
	other := same
	other.Settings.Arch = "amd64"
	assert.Contains(t, other.warnings()[0], "made on amd64 and replayed on arm64")
	other = same
	other.Settings.Figures = "b"
	assert.Contains(t, other.warnings()[0], "other figures of the kiln file")
	other = same
	other.Version, other.First = "0.9", &rerun.Difference{}
	assert.Contains(t, other.warnings()[0], "written by calx 0.9")
	other = same
	other.Settings = rerun.Settings{Guessed: true}
	assert.Len(t, other.warnings(), 1)
}

package plug

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What runs in the warden's process, so that somebody who wants to know whether
// the heat goes off reads it in ten minutes: a line of code a second.
var (
	// wardenDecides is what must be right while there is heat.
	wardenDecides = []string{
		"../../../controller/warden/warden.go", "../../../controller/warden/wire.go",
		"run.go", "watchdog.go", "line_linux.go",
	}
	// wardenStarts can only fail before there is heat.
	wardenStarts = []string{
		"main.go", "off.go", "plug.go", "status.go", "wiring.go", "find_linux.go", "uapi_linux.go", "system_linux.go",
	}
)

func TestTheWardenIsReadInTenMinutes(t *testing.T) {
	decides, starts := linesOfCode(t, wardenDecides), linesOfCode(t, wardenStarts)
	t.Logf("%d lines decide, %d start", decides, starts)
	assert.LessOrEqual(t, decides, 620)
	assert.LessOrEqual(t, starts, 560)
}

// linesOfCode counts lines that are neither empty nor a comment.
func linesOfCode(t *testing.T, files []string) (n int) {
	for _, f := range files {
		b, err := os.ReadFile(f)
		require.NoError(t, err)
		for l := range strings.Lines(string(b)) {
			if l = strings.TrimSpace(l); l != "" && !strings.HasPrefix(l, "//") {
				n++
			}
		}
	}
	return n
}

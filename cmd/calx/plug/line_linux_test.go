package plug

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestNoSuchLine(t *testing.T) {
	chips, err := filepath.Glob("/dev/gpiochip*")
	require.NoError(t, err)
	for _, c := range chips {
		if f, err := os.Open(c); err != nil {
			t.Skipf("a chip that cannot be read: %v", err)
		} else {
			f.Close()
		}
	}
	for _, name := range []string{"no line has this name", "gpiochip987:3"} {
		_, err := OpenLine(Spec{Name: name})
		assert.ErrorIs(t, err, ErrNoLine)
		assert.ErrorContains(t, err, name)
	}
	_, err = OpenLine(Spec{Name: "gpiochip0:x"})
	assert.ErrorContains(t, err, "like gpiochip0:17")
}

// A real line, only where a person has named one that nothing is wired to:
// CALX_TEST_LINE=gpiochip0:5 go test ./cmd/calx/plug
func TestRealLine(t *testing.T) {
	name := os.Getenv("CALX_TEST_LINE")
	if name == "" {
		t.Skip("no free line named in CALX_TEST_LINE")
	}
	for _, s := range []Spec{{Name: name}, {Name: name, ActiveLow: true}} {
		l, err := OpenLine(s)
		require.NoError(t, err)
		require.NoError(t, l.Verify())
		require.NoError(t, l.Set(true))
		require.NoError(t, l.Verify())
		_, err = OpenLine(s)
		assert.ErrorIs(t, err, ErrBusy)
		assert.ErrorContains(t, err, `by "calx"`)
		require.NoError(t, l.Set(false))
		require.NoError(t, l.Close())
		require.NoError(t, l.Close())
		require.NoError(t, AllOff(s))
	}
}

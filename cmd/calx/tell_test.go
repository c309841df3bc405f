package main

import (
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/station"
)

// A real daemon tells a real web hook that a firing began; it is killed, and
// after its next start tells what became of the firing. The address is nowhere
// in what it printed or wrote.
func TestPeopleAreToldAcrossAKill(t *testing.T) {
	if testing.Short() {
		t.Skip("kills a real process")
	}
	got := make(chan string, 100)
	hook := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		got <- string(b)
	}))
	defer hook.Close()
	heard := func(what string) string {
		t.Helper()
		late := time.After(20 * time.Second)
		for {
			select {
			case m := <-got:
				if strings.Contains(m, what) {
					return m
				}
			case <-late:
				require.FailNow(t, "nobody was told", what)
			}
		}
	}
	dir := configure(t, "tell:\n  - {name: hook, url: \"generic://"+strings.TrimPrefix(hook.URL, "http://")+"/s3cret-path?disabletls=yes\"}")
	s := serve(t, dir)
	s.fire(night)
	heard("night: begun, step 1 of 2: heat to 60 C at 60 C/h\nchamber 2")
	s.until("readings", func(st station.Status) bool { return st.Firing != nil && st.Firing.SinceS > 90 })
	_, first := s.end(syscall.SIGKILL)
	s = serve(t, dir)
	heard("interrupt") // it goes on, or waits: that is the station's to decide
	_, second := s.end(syscall.SIGTERM)
	log, err := os.ReadFile(filepath.Join(dir, "data", logName))
	require.NoError(t, err)
	for name, text := range map[string]string{"said": first + second, "log": string(log)} {
		assert.NotContains(t, text, "s3cret-path", name)
	}
}

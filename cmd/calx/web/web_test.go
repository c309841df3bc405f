package web_test

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/bench"
	"calx/storage"
	"calx/storage/record"
)

const ramp = "heat to 300 C at 600 C/h\nhold 10 min\n"

// A person's evening: start, look, pause, go on, step on, stop.
func TestAFiringThroughTheAPI(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 1)
		defer r.stop()
		r.run()
		time.Sleep(5 * time.Second)
		assert.Nil(t, r.status(t).Firing)
		assert.Equal(t, http.StatusConflict, r.ask("POST", "/api/command", `{"command":"stop"}`).Code, "nothing to stop")

		assert.EqualValues(t, 1, r.fire(t, ramp))
		time.Sleep(5 * time.Minute)
		st := r.status(t)
		require.NotNil(t, st.Firing)
		assert.Equal(t, "ramping", st.Firing.Phase)
		assert.Equal(t, "heat to 300 C at 600 C/h", st.Firing.Sentence)
		assert.InDelta(t, 20+50, *st.SetpointC, 3, "five minutes at 600 °C/h")
		assert.InDelta(t, *st.SetpointC, *st.ChamberC, 6)
		w := r.ask("POST", "/api/firings", `{"profile":"hold 1 h"}`)
		assert.Equal(t, http.StatusConflict, w.Code)
		assert.Contains(t, w.Body.String(), "a firing is running")

		for _, c := range []struct{ command, phase string }{{"pause", "paused"}, {"resume", "ramping"}, {"step-on", "holding"}} {
			w := r.ask("POST", "/api/command", `{"command":"`+c.command+`"}`)
			require.Equal(t, http.StatusNoContent, w.Code, c.command)
			time.Sleep(2 * time.Minute)
			assert.Equal(t, c.phase, r.status(t).Firing.Phase, c.command)
		}
		assert.Equal(t, http.StatusNoContent, r.ask("POST", "/api/command", `{"command":"stop"}`).Code)
		time.Sleep(3 * time.Second)
		st = r.status(t)
		assert.Nil(t, st.Firing)
		require.NotNil(t, st.Last)
		assert.Equal(t, "stopped", st.Last.Outcome)
		assert.Contains(t, st.Last.Reason, "stopped by hand in step 2")
		assert.NotEmpty(t, st.Last.Events)
		assert.False(t, st.Heat)
		assert.EqualValues(t, 2, r.fire(t, ramp), "the next one may begin")
	})
}

func TestRefusals(t *testing.T) {
	r := newRig(t, 0)
	fire := func(profile string) string {
		b, _ := json.Marshal(map[string]string{"profile": profile})
		return string(b)
	}
	for _, c := range []struct {
		name, method, path, body string
		head                     []string
		code                     int
		says                     string
	}{
		{"form", "POST", "/api/firings", "profile=hold", []string{"Content-Type", "application/x-www-form-urlencoded"}, 415, "must be application/json"},
		{"no type", "POST", "/api/command", `{"command":"stop"}`, []string{"Content-Type", ""}, 415, "must be application/json"},
		{"with a charset", "POST", "/api/command", `{"command":"stop"}`, []string{"Content-Type", "application/json; charset=utf-8"}, 409, "no firing is running"},
		{"empty", "POST", "/api/firings", "", nil, 400, "EOF"},
		{"not JSON", "POST", "/api/firings", "heat to 300 C", nil, 400, "not the JSON object"},
		{"unknown field", "POST", "/api/firings", `{"profil":"hold 1 h"}`, nil, 400, `unknown field \"profil\"`},
		{"more after it", "POST", "/api/command", `{"command":"stop"} {}`, nil, 400, "more after the object"},
		{"too large", "POST", "/api/firings", fire(strings.Repeat("hold 1 h\n", 9000)), nil, 413, "over 65536 bytes"},
		{"unknown command", "POST", "/api/command", `{"command":"heat"}`, nil, 400, "must be pause, resume, step-on or stop"},
		{"empty profile", "POST", "/api/firings", fire(""), nil, 422, "problems"},
		{"two bad lines", "POST", "/api/firings", fire("heat to 300 X\nhold 1 h\nhold 1 fortnight"), nil, 422, `"line 3, column`},
		{"above the kiln", "POST", "/api/firings", fire("heat to 1390 C at 100 C/h"), nil, 422, "above the kiln's maximum"},
		{"needs a mould", "POST", "/api/firings", fire("hold until dry, at most 8 h"), nil, 422, "needs a mould"},
		{"GET to fire", "GET", "/api/firings", "", nil, 405, ""},
		{"POST a status", "POST", "/api/status", "{}", nil, 405, ""},
		{"nothing there", "GET", "/api/kiln", "", nil, 404, ""},
		{"another site", "POST", "/api/command", `{"command":"stop"}`, []string{"Sec-Fetch-Site", "cross-site"}, 403, "cross-origin"},
		{"another site, old browser", "POST", "/api/command", `{"command":"stop"}`, []string{"Origin", "https://elsewhere.example"}, 403, "cross-origin"},
		{"our own page", "POST", "/api/command", `{"command":"stop"}`, []string{"Sec-Fetch-Site", "same-origin"}, 409, "no firing is running"},
	} {
		w := r.ask(c.method, c.path, c.body, c.head...)
		assert.Equal(t, c.code, w.Code, c.name)
		assert.Contains(t, w.Body.String(), c.says, c.name)
		if strings.HasPrefix(w.Header().Get("Content-Type"), "application/json") {
			assert.True(t, json.Valid(w.Body.Bytes()), c.name)
		}
	}
	_, running := r.log.Unfinished()
	assert.False(t, running, "a refusal leaves nothing behind")
}

// A page elsewhere may have its own name resolve to this machine; the browser
// then takes it for ours. The name it asks for gives it away.
func TestOtherNamesForThisMachine(t *testing.T) {
	r := newRig(t, 0)
	s := httptest.NewServer(r.handler)
	defer s.Close()
	for host, code := range map[string]int{
		"": 200, "localhost": 200, "localhost:8418": 200, "[::1]:8418": 200,
		"evil.example": 421, "evil.example:8418": 421, "127.0.0.1.evil.example": 421,
	} {
		q, err := http.NewRequest("GET", s.URL+"/api/status", nil)
		require.NoError(t, err)
		q.Host = host
		w, err := s.Client().Do(q)
		require.NoError(t, err)
		require.NoError(t, w.Body.Close())
		assert.Equal(t, code, w.StatusCode, host)
	}
}

func TestStreamSendsAtMostOnceASecond(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 20) // twenty changes a second
		defer r.stop()
		r.run()
		body := listen(r, 10*time.Second+100*time.Millisecond)
		var walls []string
		for _, e := range strings.Split(strings.TrimSuffix(body, "\n\n"), "\n\n") {
			var st struct {
				Wall string `json:"wall"`
			}
			require.NoError(t, json.Unmarshal([]byte(strings.TrimPrefix(e, "data: ")), &st), e)
			walls = append(walls, st.Wall)
		}
		assert.InDelta(t, 11, len(walls), 1, "one at once, then one a second")
		assert.NotEqual(t, walls[len(walls)-2], walls[len(walls)-1])
	})
}

func TestSilentStreamBeats(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 1) // never run: nothing changes
		defer r.stop()
		body := listen(r, 61*time.Second)
		assert.Equal(t, 1, strings.Count(body, "data: "))
		assert.Equal(t, 4, strings.Count(body, ": still here\n\n"), "every 15 s")
	})
}

// listen takes the stream for so long.
func listen(r *rig, d time.Duration) string {
	ctx, stop := context.WithTimeout(context.Background(), d)
	defer stop()
	w := httptest.NewRecorder()
	r.handler.ServeHTTP(w, httptest.NewRequest("GET", "/api/stream", nil).WithContext(ctx))
	return w.Body.String()
}

func TestTooManyStreams(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 1)
		defer r.stop()
		for range 32 {
			r.done.Go(func() { listen(r, time.Minute) })
		}
		synctest.Wait()
		assert.Equal(t, http.StatusServiceUnavailable, r.ask("GET", "/api/stream", "").Code)
		time.Sleep(2 * time.Minute)
		assert.Contains(t, listen(r, time.Second), "data: ", "places are given back")
	})
}

// The copy of the log is a log.
func TestLogCopy(t *testing.T) {
	var copied []byte
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 1)
		defer r.stop()
		r.run()
		r.fire(t, ramp)
		time.Sleep(5 * time.Minute)
		w := r.ask("GET", "/api/log", "")
		require.Equal(t, http.StatusOK, w.Code)
		assert.Equal(t, "application/octet-stream", w.Header().Get("Content-Type"))
		assert.Contains(t, w.Header().Get("Content-Disposition"), `filename="calx-2000-01-01-`)
		copied = w.Body.Bytes()
	})
	file := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, os.WriteFile(file, copied, 0o600))
	l, err := storage.Open(file, &storage.Opts{ReadOnly: true})
	require.NoError(t, err)
	defer l.Close()
	n := 0
	require.NoError(t, l.Readings(1, 0, 0, func(*record.Reading) error { n++; return nil }))
	assert.InDelta(t, 300, n, 2, "five minutes, a reading a second")
}

func TestHealth(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 1, bench.Mishap{At: time.Minute, For: time.Minute, Kind: "open"})
		defer r.stop()
		check := func(code int, says string) {
			t.Helper()
			w := r.ask("GET", "/healthz", "")
			assert.Equal(t, code, w.Code)
			assert.Contains(t, w.Body.String(), says)
		}
		check(503, "has not begun")
		r.run()
		time.Sleep(10 * time.Second)
		check(200, `{"ok":true}`)
		time.Sleep(time.Minute)
		check(503, "no valid temperature of the chamber: open")
		time.Sleep(time.Minute)
		check(200, `{"ok":true}`)
		r.end()
		time.Sleep(30 * time.Second)
		check(503, "the control loop has not turned for 3")
	})
}

// Nothing is fired when the heat could not be switched off.
func TestDeadOutputFiresNothing(t *testing.T) {
	r := newRig(t, 0)
	close(r.dead)
	w := r.ask("POST", "/api/firings", `{"profile":"hold 1 h"}`)
	assert.Equal(t, http.StatusServiceUnavailable, w.Code)
	assert.Contains(t, w.Body.String(), "does not answer")
	_, running := r.log.Unfinished()
	assert.False(t, running)
}

func TestPointerForPeople(t *testing.T) {
	r := newRig(t, 0)
	w := r.ask("GET", "/", "")
	assert.Equal(t, http.StatusOK, w.Code)
	assert.Contains(t, w.Body.String(), "calx watch")
	assert.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
}

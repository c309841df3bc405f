package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"
)

const (
	streamEvery = time.Second      // least time between two statuses
	beatEvery   = 15 * time.Second // longest silence: proxies cut a silent connection
	writeWithin = 10 * time.Second // for a client to take a status
	copyWithin  = 10 * time.Minute // for a client to take the whole log
)

// stream sends the status as server-sent events: at once, then after each
// change, at most once a second. (WHATWG HTML, section 9.2: lines of "data:",
// an empty line after each event, lines that begin with a colon are comments.)
func (a *api) stream(w http.ResponseWriter, r *http.Request) {
	select {
	case a.streams <- struct{}{}:
		defer func() { <-a.streams }()
	default:
		w.Header().Set("Retry-After", "10")
		refuse(w, http.StatusServiceUnavailable, "%d are watching already", mostStreams)
		return
	}
	woken, stop := a.Station.Watch()
	defer stop()
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no") // some proxies gather answers otherwise
	pause := time.NewTicker(streamEvery)
	defer pause.Stop()
	beat := time.NewTicker(beatEvery)
	defer beat.Stop()
	for {
		b, err := json.Marshal(a.Station.Status())
		if err != nil {
			panic("BUG: " + err.Error())
		}
		if !send(w, "data: %s\n\n", b) {
			return
		}
		beat.Reset(beatEvery)
		pause.Reset(streamEvery)
		select {
		case <-pause.C:
		case <-r.Context().Done():
			return
		}
		for changed := false; !changed; {
			select {
			case <-woken:
				changed = true
			case <-beat.C:
				if !send(w, ": still here\n\n") {
					return
				}
			case <-r.Context().Done():
				return
			}
		}
	}
}

// send writes and flushes; false when the client is gone.
func send(w http.ResponseWriter, format string, args ...any) bool {
	c := http.NewResponseController(w)
	// Only a test's recorder knows no deadlines.
	_ = c.SetWriteDeadline(time.Now().Add(writeWithin))
	if _, err := fmt.Fprintf(w, format, args...); err != nil {
		return false
	}
	return c.Flush() == nil
}

// copying is an answer whose head is sent with its first byte, so that a copy
// that never begins can still be refused.
type copying struct {
	http.ResponseWriter
	name  string
	begun bool
}

func (c *copying) Write(b []byte) (int, error) {
	if !c.begun {
		c.begun = true
		h := c.Header()
		h.Set("Content-Type", "application/octet-stream")
		h.Set("Content-Disposition", `attachment; filename="`+c.name+`"`)
		h.Set("Cache-Control", "no-store")
	}
	return c.ResponseWriter.Write(b)
}

func (c *copying) extend(d time.Duration) {
	// Only a test's recorder knows no deadlines.
	_ = http.NewResponseController(c.ResponseWriter).SetWriteDeadline(time.Now().Add(d))
}

// Package web is how a browser, the commands and Prometheus see a station: an
// HTTP API, a live stream of the status, the log as a file, health and
// metrics. It shows snapshots and passes commands on; it decides nothing.
//
// Whoever reaches the address may stop or start a firing: it is meant for the
// board itself, or a network whose every user may. State changes only by POST
// of application/json that no other site's page can send.
package web

import (
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strings"
	"time"

	"calx/cmd/calx/station"
	"calx/storage"
)

// Options is what New needs. Logf may be nil.
type Options struct {
	Station *station.Station
	Log     *storage.Log
	Metrics *Metrics                      // the same that the station has for a Monitor
	Period  time.Duration                 // between readings; 0 is 1 s
	Logf    func(format string, a ...any) // takes what went wrong in a handler
	Teller  Teller                        // nil: the paths of the outbox are not there
}

// api is the handler's memory.
type api struct {
	Options
	streams chan struct{} // a place for each live stream
	copies  chan struct{} // a place for each copy of the log being sent
}

// How many may be served at a time: each holds a connection, and a copy of the
// log keeps pages of the file alive.
const (
	mostStreams = 32
	mostCopies  = 2
)

// New builds the handler of all paths.
func New(o Options) http.Handler {
	if o.Logf == nil {
		o.Logf = func(string, ...any) {}
	}
	if o.Period == 0 {
		o.Period = time.Second
	}
	a := &api{Options: o, streams: make(chan struct{}, mostStreams), copies: make(chan struct{}, mostCopies)}
	o.Metrics.watch(o.Station, o.Log)
	m := http.NewServeMux()
	m.HandleFunc("GET /{$}", pointer)
	m.HandleFunc("GET /healthz", a.health)
	m.Handle("GET /metrics", o.Metrics.handler())
	m.HandleFunc("GET /api/status", a.status)
	m.HandleFunc("GET /api/stream", a.stream)
	m.HandleFunc("GET /api/log", a.log)
	m.HandleFunc("POST /api/firings", a.fire)
	m.HandleFunc("POST /api/command", a.command)
	m.HandleFunc("POST /api/clear", a.clear)
	a.notebook(m)
	a.tell(m)
	a.wear(m)
	// Outermost first: a panic anywhere is answered, a foreign page gets nothing.
	return a.recovering(ownName(noSniff(http.NewCrossOriginProtection().Handler(m))))
}

// pointer tells a person with a browser where to look.
func pointer(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	fmt.Fprint(w, `calx: this address is for programs, and for one page.

/kiln              the health of the kiln over all its firings, in a browser
/api/health        the same as JSON
calx watch         the kiln, live, in a terminal
calx --help        all commands
/api/status        the same as JSON
/healthz           is it well, and if not, why
/metrics           for Prometheus
`)
}

// status answers with the station's status.
func (a *api) status(w http.ResponseWriter, _ *http.Request) {
	write(w, http.StatusOK, a.Station.Status())
}

// problem is the object of every refusal.
type problem struct {
	Error    string   `json:"error"`
	Problems []string `json:"problems,omitempty"` // one by one, where there are several
}

func refuse(w http.ResponseWriter, code int, format string, args ...any) {
	write(w, code, problem{Error: fmt.Sprintf(format, args...)})
}

func write(w http.ResponseWriter, code int, v any) {
	b, err := json.Marshal(v)
	if err != nil {
		panic("BUG: " + err.Error())
	}
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	// A client that has gone cannot be told.
	_, _ = w.Write(append(b, '\n'))
}

// recovering answers a panic instead of cutting the connection, and says where
// it was.
func (a *api) recovering(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			switch p := recover(); p {
			case nil:
			case http.ErrAbortHandler:
				panic(p) // the server's own way to cut an answer short
			default:
				a.Logf("BUG: %s %s: %v\n%s", r.Method, r.URL.Path, p, debug.Stack())
				refuse(w, http.StatusInternalServerError, "calx made a mistake answering this; the firing is not touched by it")
			}
		}()
		next.ServeHTTP(w, r)
	})
}

// ownName refuses requests over the loopback that were meant for another name:
// a page that had its own name point here would pass for ours.
func ownName(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		local, _ := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
		if local != nil && loopback(local.String()) && !loopback(r.Host) {
			refuse(w, http.StatusMisdirectedRequest, "asked for %q, but this address is only known as localhost", r.Host)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// loopback reports whether a host, with or without port, is this machine by
// one of the names nobody else can give away.
func loopback(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	if strings.EqualFold(host, "localhost") {
		return true
	}
	a, err := netip.ParseAddr(strings.Trim(host, "[]"))
	return err == nil && a.IsLoopback()
}

func noSniff(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("X-Content-Type-Options", "nosniff")
		next.ServeHTTP(w, r)
	})
}

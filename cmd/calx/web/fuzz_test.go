package web_test

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"calx/cmd/calx/station"
	"calx/sim/mould"
	"calx/storage/record"
)

// fuzzSpeed lets a firing move on between requests.
const fuzzSpeed = 600

// longNight outlasts any run of the fuzzer.
const longNight = `{"name":"night","profile":"heat to 100 C at 60 C/h\nhold 900 h"}`

// count is what orders would change: firings begun, and what stands in the
// notebook.
func (r *rig) count(t *testing.T) (firings, notes int) {
	fs, err := r.log.Firings()
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range []record.NoteKind{record.PieceNote, record.CastingNote} {
		ns, err := r.log.Notes(k)
		if err != nil {
			t.Fatal(err)
		}
		notes += len(ns)
	}
	return len(fs), notes
}

// running is the firing under way; 0 for none. It waits for one that is about
// to begin or to end.
func (r *rig) running(t *testing.T) *station.Firing {
	for range 10_000 {
		st := r.Status()
		_, open := r.log.Unfinished()
		if open == (st.Firing != nil) {
			return st.Firing
		}
		<-time.After(time.Millisecond)
	}
	t.Fatal("log and status never agree on whether something is fired")
	return nil
}

// Whatever is sent to the address: an answer below 500, an error in words, and
// without POST, JSON and a page of ours nothing that is ordered.
func FuzzHandler(f *testing.F) {
	for _, s := range [][4]string{
		{"GET", "/", "", ""}, {"GET", "/healthz", "", ""}, {"GET", "/metrics", "", ""}, {"GET", "/kiln?units=F", "", ""}, {"GET", "/api/health", "", ""}, {"GET", "/api/status", "", ""},
		{"GET", "/api/stream", "", ""}, {"GET", "/api/log", "", ""}, {"GET", "/api/notebook?kind=piece", "", ""},
		{"POST", "/api/firings", "application/json", longNight},
		{"POST", "/api/firings", "text/plain", longNight},
		{"PUT", "/api/firings", "application/json", longNight},
		{"GET", "/api/command?command=stop", "application/json", `{"command":"stop"}`},
		{"POST", "/api/notebook", "application/json", `{"piece":{"name":"T3","material":"twig","section_m":0.011,"flask":"plug","hold_c":700,"hold_s":3600,"state":"charred"}}`},
		{"POST", "/api/notebook", "application/json", `{"id":1,"revision":1,"casting":{"firings":[1],"photos":["../../x"]}}`},
		{"OPTIONS", "//api/../%2e%2e/api/log\x00", "", ""},
	} {
		f.Add(s[0], s[1], s[2], "", s[3])
	}
	for _, word := range []string{"stop", "pause", "resume", "step-on", "clear", "acknowledge", ""} {
		f.Add("POST", "/api/command", "application/json; charset=utf-8", "same-origin", `{"command":"`+word+`"}`)
		f.Add("POST", "/api/command", "application/json", "cross-site", `{"command":"`+word+`"}`)
	}
	text, err := mould.ShippedFile(mould.Shipped()[0])
	if err != nil {
		f.Fatal(err)
	}
	body, err := json.Marshal(station.Request{Name: "pod", Profile: "heat to 100 C at 60 C/h\nhold until dry, at most 9 h", Moulds: []string{string(text)}})
	if err != nil {
		f.Fatal(err)
	}
	f.Add("POST", "/api/firings", "application/json", "", string(body))
	r := newRig(f, fuzzSpeed)
	r.run()
	f.Fuzz(func(t *testing.T, method, path, contentType, site, body string) {
		q, err := http.NewRequest(method, "http://localhost:8418"+path, strings.NewReader(body))
		if err != nil || !strings.HasPrefix(path, "/") {
			return // what net/http itself does not let in
		}
		q.RequestURI = path
		for name, v := range map[string]string{"Content-Type": contentType, "Sec-Fetch-Site": site} {
			if v != "" {
				q.Header.Set(name, v)
			}
		}
		if r.running(t) == nil {
			r.ask("POST", "/api/firings", longNight)
		}
		before := r.running(t)
		firings, notes := r.count(t)
		w := r.send(q)
		answered(t, w)
		ordered := q.Method == http.MethodPost && strings.Contains(contentType, "json") && site != "cross-site"
		if ordered {
			return
		}
		if nowFirings, nowNotes := r.count(t); nowFirings != firings || nowNotes != notes {
			t.Fatalf("%s %q (%q, %q) wrote something", method, path, contentType, site)
		}
		if now := r.running(t); before != nil && (now == nil || now.ID != before.ID) {
			t.Fatalf("%s %q (%q, %q) ended the firing", method, path, contentType, site)
		}
	})
}

// send passes a request to the handler. A live stream ends after its first
// event.
func (r *rig) send(q *http.Request) *httptest.ResponseRecorder {
	ctx, cancel := context.WithTimeout(q.Context(), time.Second)
	defer cancel()
	if strings.Contains(q.URL.Path, "stream") {
		cancel()
	}
	w := httptest.NewRecorder()
	r.handler.ServeHTTP(w, q.WithContext(ctx))
	return w
}

// answered holds an answer to what every answer must be.
func answered(t *testing.T, w *httptest.ResponseRecorder) {
	unwell := w.Code == http.StatusServiceUnavailable && bytes.Contains(w.Body.Bytes(), []byte(`"ok":false`)) // health, told
	if w.Code >= 500 && !unwell {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	if unwell || w.Code < 400 || !strings.Contains(w.Header().Get("Content-Type"), "json") {
		return
	}
	var p struct {
		Error    string
		Problems []string
	}
	if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil || strings.TrimSpace(p.Error) == "" {
		t.Fatalf("%d without a word: %s", w.Code, w.Body)
	}
	for _, one := range p.Problems {
		if strings.TrimSpace(one) == "" {
			t.Fatalf("%d with an empty problem: %s", w.Code, w.Body)
		}
	}
}

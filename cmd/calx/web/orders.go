package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strings"

	"calx/cmd/calx/station"
	"calx/controller"
	"calx/profile"
	"calx/storage"
)

// mostBody is the largest body taken, bytes: some thousand sentences, or a few
// dozen moulds.
const mostBody = 64 << 10

// take reads a JSON object from the body. It answers and returns false when
// there is none.
func take(w http.ResponseWriter, r *http.Request, v any) bool {
	if t, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); t != "application/json" {
		refuse(w, http.StatusUnsupportedMediaType, "Content-Type is %q; it must be application/json", r.Header.Get("Content-Type"))
		return false
	}
	d := json.NewDecoder(http.MaxBytesReader(w, r.Body, mostBody))
	d.DisallowUnknownFields()
	err := d.Decode(v)
	if err == nil {
		if _, err = d.Token(); err == nil {
			err = errors.New("there is more after the object")
		} else if errors.Is(err, io.EOF) {
			return true
		}
	}
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		refuse(w, http.StatusRequestEntityTooLarge, "the body is over %d bytes", mostBody)
		return false
	}
	refuse(w, http.StatusBadRequest, "the body is not the JSON object that was expected: %v", err)
	return false
}

// fire starts a firing.
func (a *api) fire(w http.ResponseWriter, r *http.Request) {
	var q station.Request
	if !take(w, r, &q) {
		return
	}
	id, err := a.Station.Start(q)
	var bad *station.ProfileError
	var moulds *station.MouldError
	var policy *station.PolicyError
	var trip *station.TripError
	switch {
	case err == nil:
		write(w, http.StatusCreated, struct {
			ID uint64 `json:"id"`
		}{id})
	case errors.As(err, &bad):
		write(w, http.StatusUnprocessableEntity, problem{"the profile cannot be fired on this kiln", list(bad.Err)})
	case errors.As(err, &moulds):
		write(w, http.StatusUnprocessableEntity, problem{"these moulds cannot be fired in this kiln", strings.Split(moulds.Error(), "\n")})
	case errors.As(err, &policy):
		refuse(w, http.StatusUnprocessableEntity, "%v", err)
	case errors.Is(err, station.ErrBusy), errors.Is(err, station.ErrMending), errors.As(err, &trip):
		refuse(w, http.StatusConflict, "%v", err)
	default:
		// The output is dead, or the log cannot be written: no firing begins
		// that nobody could follow afterwards.
		a.Logf("start a firing: %v", err)
		refuse(w, http.StatusServiceUnavailable, "%v", err)
	}
}

// list takes an error apart into the single problems.
func list(err error) []string {
	var each profile.Errors
	if !errors.As(err, &each) {
		return []string{err.Error()}
	}
	out := make([]string, len(each))
	for i, e := range each {
		out[i] = e.Error()
	}
	return out
}

// commands are the words of the API.
var commands = map[string]controller.Command{
	"pause": controller.Pause, "resume": controller.Resume, "step-on": controller.StepOn, "stop": controller.Stop,
}

// command passes on what a person pressed.
func (a *api) command(w http.ResponseWriter, r *http.Request) {
	var q struct {
		Command string `json:"command"`
	}
	if !take(w, r, &q) {
		return
	}
	c, ok := commands[q.Command]
	if !ok {
		refuse(w, http.StatusBadRequest, "command is %q; it must be pause, resume, step-on or stop", q.Command)
		return
	}
	switch err := a.Station.Command(c); {
	case err == nil:
		w.WriteHeader(http.StatusNoContent)
	case errors.Is(err, station.ErrIdle), errors.Is(err, station.ErrAsks):
		refuse(w, http.StatusConflict, "%v", err)
	default:
		w.Header().Set("Retry-After", "1")
		refuse(w, http.StatusTooManyRequests, "%v", err)
	}
}

// clear lets go of a trip: a person has looked at the kiln. The order names the
// firing, so that nobody clears a trip that came after the one they saw.
func (a *api) clear(w http.ResponseWriter, r *http.Request) {
	var q struct {
		Firing uint64 `json:"firing"`
	}
	if !take(w, r, &q) {
		return
	}
	switch err := a.Station.Clear(q.Firing); {
	case err == nil:
		w.WriteHeader(http.StatusNoContent)
	case errors.Is(err, station.ErrNoTrip):
		refuse(w, http.StatusConflict, "%v", err)
	default:
		a.Logf("clear a trip: %v", err)
		refuse(w, http.StatusServiceUnavailable, "%v", err)
	}
}

// log sends a copy of the whole log.
func (a *api) log(w http.ResponseWriter, r *http.Request) {
	select {
	case a.copies <- struct{}{}:
		defer func() { <-a.copies }()
	default:
		w.Header().Set("Retry-After", "10")
		refuse(w, http.StatusServiceUnavailable, "the log is being copied %d times already; try again in a little while", mostCopies)
		return
	}
	c := &copying{ResponseWriter: w, name: fmt.Sprintf("calx-%s.db", a.Station.Status().Wall.UTC().Format("2006-01-02-150405"))}
	c.extend(copyWithin)
	err := a.Log.Snapshot(c)
	switch {
	case err == nil:
	case errors.Is(err, storage.ErrNotDurable) && c.begun:
		a.Logf("copy of the log: %v", err)
	case !c.begun:
		refuse(w, http.StatusInternalServerError, "%v", err)
	default:
		// A copy that ends early must not look whole.
		a.Logf("copy of the log: %v", err)
		panic(http.ErrAbortHandler)
	}
}

package web

import (
	"fmt"
	"net/http"
	"time"

	"calx/cmd/calx/station"
)

// Health is the answer of /healthz.
type Health struct {
	OK    bool   `json:"ok"`
	Cause string `json:"cause,omitempty"` // the first cause; what follows from it is left out
}

// silentPeriods is how many periods the loop may be silent.
const silentPeriods = 5

// health says whether the kiln is read, controlled and recorded: 200, or 503
// with the first cause.
func (a *api) health(w http.ResponseWriter, _ *http.Request) {
	h := judge(a.Station.Status(), a.Metrics.silence(), max(silentPeriods*a.Period, 5*time.Second))
	if err := a.Log.Stats().Err; h.OK && err != nil {
		h = Health{Cause: fmt.Sprintf("the log cannot be written, readings are kept in memory: %v", err)}
	}
	code := http.StatusOK
	if !h.OK {
		code = http.StatusServiceUnavailable
	}
	write(w, code, h)
}

// judge finds the first cause: a loop that stands still explains all the rest.
func judge(st station.Status, silence, most time.Duration) Health {
	switch {
	case silence < 0:
		return Health{Cause: "the control loop has not begun"}
	case silence > most:
		return Health{Cause: fmt.Sprintf("the control loop has not turned for %v", silence.Round(time.Second))}
	case st.OutputError != "":
		return Health{Cause: "the output of the heat relay does not answer: " + st.OutputError}
	case st.ChamberC == nil:
		return Health{Cause: "no valid temperature of the chamber: " + st.Fault}
	case st.LogBehind:
		return Health{Cause: "the log cannot be written, readings are kept in memory"}
	}
	return Health{OK: true}
}

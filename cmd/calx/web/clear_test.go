package web_test

import (
	"net/http"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller/notice"
	"calx/sim/bench"
)

// A trip stands in the way of every firing until an order clears it, and that
// order is protected like the others.
func TestClearATrip(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 1, bench.Mishap{At: 5 * time.Minute, Kind: "open", For: 5 * time.Minute})
		defer r.stop()
		r.run()
		time.Sleep(5 * time.Second)
		_, m := r.scrape(t)
		assert.Zero(t, m["calx_trip_latched"][""])
		assert.Equal(t, http.StatusConflict, r.ask("POST", "/api/clear", `{"firing":1}`).Code, "there is none")
		r.fire(t, ramp)
		time.Sleep(15 * time.Minute)
		st := r.status(t)
		require.NotNil(t, st.Trip)
		assert.Equal(t, notice.NoReading, st.Trip.Code)
		_, m = r.scrape(t)
		assert.Equal(t, 1.0, m["calx_trip_latched"][""])
		w := r.ask("POST", "/api/firings", `{"profile":"hold 1 h"}`)
		assert.Equal(t, http.StatusConflict, w.Code)
		assert.Contains(t, w.Body.String(), "then calx clear")
		for _, c := range []struct {
			name, method, body string
			code               int
			head               []string
		}{
			{"by reading", "GET", "", http.StatusMethodNotAllowed, nil},
			{"by a form", "POST", "firing=1", http.StatusUnsupportedMediaType, []string{"Content-Type", "application/x-www-form-urlencoded"}},
			{"by another site's page", "POST", `{"firing":1}`, http.StatusForbidden, []string{"Sec-Fetch-Site", "cross-site"}},
			{"another firing", "POST", `{"firing":2}`, http.StatusConflict, nil},
			{"nothing said", "POST", `{}`, http.StatusConflict, nil},
			{"something more", "POST", `{"firing":1,"all":true}`, http.StatusBadRequest, nil},
		} {
			assert.Equal(t, c.code, r.ask(c.method, "/api/clear", c.body, c.head...).Code, c.name)
			assert.NotNil(t, r.status(t).Trip, c.name)
		}
		assert.Equal(t, http.StatusNoContent, r.ask("POST", "/api/clear", `{"firing":1}`).Code)
		assert.Nil(t, r.status(t).Trip)
		r.fire(t, ramp)
	})
}

func TestAfterPowerCutIsUnderstood(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 1)
		defer r.stop()
		r.run()
		time.Sleep(5 * time.Second)
		w := r.ask("POST", "/api/firings", `{"profile":"hold 1 h","after_power_cut":"never"}`)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
		assert.Contains(t, w.Body.String(), "after_power_cut: read \\\"never\\\"; it must be one of go-on-if-short, go-on, ask, end")
		require.Equal(t, http.StatusCreated, r.ask("POST", "/api/firings", `{"profile":"hold 1 h","after_power_cut":"ask"}`).Code)
		head, err := r.log.Firing(1)
		require.NoError(t, err)
		assert.Equal(t, "ask", head.AfterCut)
	})
}

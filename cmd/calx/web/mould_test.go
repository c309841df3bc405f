package web_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/station"
	"calx/sim/mould"
)

// fired is the body that starts a firing of shipped moulds.
func fired(t *testing.T, names ...string) string {
	q := station.Request{Name: "pods", Profile: "heat to 180 C at 400 C/h\nhold until dry, at most 10 h\nheat to 700 C at 200 C/h\nhold until clear 80%, at most 9 h\n"}
	for _, n := range names {
		text, err := mould.ShippedFile(n)
		require.NoError(t, err)
		q.Moulds = append(q.Moulds, string(text))
	}
	b, err := json.Marshal(q)
	require.NoError(t, err)
	return string(b)
}

func TestMouldsInTheMetrics(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t, 1)
		r.run()
		w := r.ask("POST", "/api/firings", fired(t, "thin-leaf-65", "thin-leaf-65"))
		require.Equal(t, http.StatusCreated, w.Code, w.Body)
		time.Sleep(5 * time.Minute)
		r.status(t)
		time.Sleep(2 * time.Second) // the prediction is there
		st := r.status(t)
		text, m := r.scrape(t)
		require.NotNil(t, st.Inside)
		for i, name := range []string{"thin-leaf-65", "thin-leaf-65 2"} {
			f := st.Inside.Flasks[i]
			assert.Equal(t, name, f.Name)
			assert.InDelta(t, f.CoreC, m["calx_mould_core_celsius"]["flask="+name], 1)
			assert.InDelta(t, f.WaterLeft, m["calx_mould_water_ratio"]["flask="+name], 0.01)
			assert.InDelta(t, 0, m["calx_mould_clear_ratio"]["flask="+name], 1e-6)
		}
		assert.InDelta(t, 0, m["calx_firing_clear_chance_ratio"][""], 1e-6)
		require.NotNil(t, st.Inside.WantAtS)
		start := float64(st.Wall.UnixMilli())/1000 - st.Firing.SinceS
		assert.InDelta(t, start+*st.Inside.WantAtS, m["calx_firing_clear_timestamp_seconds"][""], 2)
		problems, err := promlint.New(strings.NewReader(text)).Lint()
		require.NoError(t, err)
		assert.Empty(t, problems)
		r.ask("POST", "/api/command", `{"command":"stop"}`)
		time.Sleep(3 * time.Second)
		_, m = r.scrape(t)
		assert.NotContains(t, m, "calx_mould_core_celsius", "nothing is followed any more")
	})
}

func TestMouldsThatDoNotFit(t *testing.T) {
	r := newRig(t, 0)
	w := r.ask("POST", "/api/firings", fired(t, "cone-150"))
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Contains(t, w.Body.String(), "these moulds cannot be fired in this kiln")
	assert.Contains(t, w.Body.String(), "mould 1:6:11: flask.height: 200 mm is more than the chamber of kiln bench-9l-brick is high; at most 170 mm")
}

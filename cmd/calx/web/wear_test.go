package web

import (
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/health"
	"calx/cmd/calx/summary"
)

// The health of the kiln is absent until it is known, and then as the report
// has it; promlint finds nothing to say.
func TestWearInTheMetrics(t *testing.T) {
	m := NewMetrics("test", time.Second)
	scraped := func() string {
		w := httptest.NewRecorder()
		m.handler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
		return w.Body.String()
	}
	assert.NotContains(t, scraped(), "calx_relay_cycles_total", "nothing is known yet")
	un := health.Estimate{Value: summary.Unknown(), SE: summary.Unknown()}
	r := health.Report{Cycles: 13754, Rated: 500000, Reach: &health.Forecast{In: 31, From: 29, To: 33}}
	r.Power.Now, r.Loss.Now, r.Second.Now = health.Estimate{Value: 0.77, SE: 0.01}, health.Estimate{Value: 1.02, SE: 0.01}, un
	m.SetHealth(r)
	text := scraped()
	for _, line := range []string{"calx_element_firings_left 31", "calx_element_power_ratio 0.77", "calx_heat_loss_ratio 1.02", "calx_relay_cycles_total 13754", "calx_relay_rated_cycles 500000"} {
		assert.Contains(t, text, "\n"+line+"\n")
	}
	assert.NotContains(t, text, "calx_thermocouple_difference_celsius", "there is no second one")
	problems, err := promlint.New(strings.NewReader(text)).Lint()
	require.NoError(t, err)
	assert.Empty(t, problems)
}

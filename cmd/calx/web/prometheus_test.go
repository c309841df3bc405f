package web_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/storage/record"
)

// A real Prometheus scrapes the handler while a firing runs, and is then asked
// what it saw: each sample must be a reading that the log has.
func TestARealPrometheus(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a Prometheus server: some seconds")
	}
	exe := program(t, "prometheus")
	r := newRig(t, 20)
	id := r.fire(t, "heat to 900 C at 600 C/h")
	r.run()
	s := httptest.NewServer(r.handler)
	defer s.Close()
	p := startPrometheus(t, exe, strings.TrimPrefix(s.URL, "http://"))

	const enough = 8
	var hot []sample
	require.Eventually(t, func() bool {
		hot = p.samples(`calx_temperature_celsius{channel="chamber",junction="hot"}[5m]`)
		return len(hot) >= enough
	}, 30*time.Second, 100*time.Millisecond, "Prometheus has fewer than %d samples", enough)
	set := p.samples(`calx_setpoint_celsius[5m]`)
	energy := p.samples(`calx_heater_energy_joules_total[5m]`)
	r.stop()

	var measured, asked = map[float64]bool{}, map[float64]bool{}
	lastJ := 0.0
	require.NoError(t, readAll(r, id, func(x *record.Reading) error {
		measured[x.Channels[0].HotC], asked[x.SetpointC] = true, true
		lastJ = x.EnergyJ
		return nil
	}))
	for _, x := range hot {
		assert.Contains(t, measured, x.value, "a temperature that was never read")
	}
	for _, x := range set {
		assert.Contains(t, asked, x.value, "a setpoint that never was")
	}
	require.NotEmpty(t, energy)
	for i, x := range energy {
		assert.LessOrEqual(t, x.value, lastJ)
		assert.True(t, i == 0 || x.value >= energy[i-1].value, "energy fell")
	}
	assert.Greater(t, energy[len(energy)-1].value, energy[0].value)
	assert.Greater(t, set[len(set)-1].value, set[0].value)
	assert.Equal(t, 1.0, p.instant(t, `count(calx_build_info{version="test"})`))
	assert.Equal(t, 1.0, p.instant(t, `sum(calx_firing_phase)`))
	assert.Equal(t, 1.0, p.instant(t, `up`))
	t.Logf("%d samples, %.1f to %.1f °C, %.0f kJ", len(hot), hot[0].value, hot[len(hot)-1].value, energy[len(energy)-1].value/1e3)
}

// readAll reads the log back after the rig has closed it.
func readAll(r *rig, id uint64, fn func(*record.Reading) error) error {
	l, err := r.reopen()
	if err != nil {
		return err
	}
	return errors.Join(l.Readings(id, 0, 0, fn), l.Close())
}

// prom is a Prometheus server of this test.
type prom struct{ url string }

type sample struct{ at, value float64 }

const promConfig = `
global: {scrape_interval: 200ms, scrape_timeout: 200ms}
scrape_configs:
  - job_name: calx
    static_configs: [{targets: [%q]}]
`

func startPrometheus(t *testing.T, exe, target string) prom {
	t.Helper()
	dir := t.TempDir()
	file := filepath.Join(dir, "prometheus.yml")
	require.NoError(t, os.WriteFile(file, fmt.Appendf(nil, promConfig, target), 0o600))
	// It cannot listen on port 0 and say which; another program may take the
	// port in between, and then it does not come up.
	for try := 0; ; try++ {
		at := freeAddress(t)
		out, err := os.Create(filepath.Join(dir, "output"))
		require.NoError(t, err)
		cmd := exec.Command(exe, "--config.file="+file, "--storage.tsdb.path="+filepath.Join(dir, "tsdb"), "--web.listen-address="+at, "--log.level=warn")
		cmd.Stdout, cmd.Stderr = out, out
		require.NoError(t, cmd.Start())
		gone := make(chan error, 1)
		go func() { gone <- cmd.Wait() }()
		t.Cleanup(func() {
			_ = cmd.Process.Kill()
			<-gone
			_ = out.Close()
		})
		p := prom{"http://" + at}
		if p.comesUp(gone) {
			return p
		}
		said, _ := os.ReadFile(out.Name())
		if try == 2 || !strings.Contains(string(said), "address already in use") {
			require.Failf(t, "Prometheus does not come up", "%s", said)
		}
	}
}

func freeAddress(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, l.Close())
	return l.Addr().String()
}

// comesUp waits until the server is ready, or gone.
func (p prom) comesUp(gone chan error) bool {
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for range 600 {
		select {
		case err := <-gone:
			gone <- err // for the cleanup
			return false
		case <-tick.C:
		}
		res, err := http.Get(p.url + "/-/ready")
		if err != nil {
			continue
		}
		_ = res.Body.Close()
		if res.StatusCode == http.StatusOK {
			return true
		}
	}
	return false
}

// query asks the HTTP API of Prometheus (prometheus.io/docs/prometheus/latest/querying/api).
func (p prom) query(q string) (series [][]sample, err error) {
	res, err := http.Get(p.url + "/api/v1/query?query=" + url.QueryEscape(q))
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	var answer struct {
		Status, Error string
		Data          struct {
			Result []struct {
				Value  [2]any
				Values [][2]any
			}
		}
	}
	if err := json.NewDecoder(res.Body).Decode(&answer); err != nil {
		return nil, err
	}
	if answer.Status != "success" {
		return nil, errors.New(answer.Error)
	}
	for _, r := range answer.Data.Result {
		if r.Values == nil {
			r.Values = [][2]any{r.Value}
		}
		var s []sample
		for _, v := range r.Values {
			x, err := strconv.ParseFloat(v[1].(string), 64)
			if err != nil {
				return nil, err
			}
			s = append(s, sample{v[0].(float64), x})
		}
		series = append(series, s)
	}
	return series, nil
}

// samples is the only series of a range query; nil while there is none.
func (p prom) samples(q string) []sample {
	s, err := p.query(q)
	if err != nil || len(s) != 1 {
		return nil
	}
	return s[0]
}

func (p prom) instant(t *testing.T, q string) float64 {
	t.Helper()
	s, err := p.query(q)
	require.NoError(t, err, q)
	require.Len(t, s, 1, q)
	return s[0][0].value
}

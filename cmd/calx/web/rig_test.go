package web_test

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"calx/cmd/calx/board"
	"calx/cmd/calx/config"
	"calx/cmd/calx/station"
	"calx/cmd/calx/web"
	"calx/controller"
	"calx/controller/identify"
	"calx/controller/relay"
	"calx/sensor"
	"calx/sim/bench"
	"calx/sim/kiln"
	"calx/storage"
	"calx/storage/record"
)

// rig is a station on a simulated kiln, with the handler before it.
type rig struct {
	*station.Station
	bench   *bench.Bench
	log     *storage.Log
	metrics *web.Metrics
	handler http.Handler
	dead    chan struct{}   // close it and the output counts as dead
	file    string          // of the log
	ctx     context.Context // ends with the test
	end     context.CancelFunc
	done    sync.WaitGroup
}

// newRig builds one; run lets it live. Its time passes speed times as fast.
func newRig(t testing.TB, speed float64, mishaps ...bench.Mishap) *rig {
	return newRigWith(t, 0, speed, mishaps...)
}

// warm is a witness that always reads the same.
type warm struct{}

func (warm) Read(at time.Duration) sensor.Reading { return sensor.Reading{At: at, HotC: 50, ColdC: 25} }

func newRigWith(t testing.TB, witnesses int, speed float64, mishaps ...bench.Mishap) *rig {
	t.Helper()
	text, err := kiln.ShippedFile("bench-9l-brick")
	require.NoError(t, err)
	p, err := kiln.Load("kiln", text)
	require.NoError(t, err)
	r := &rig{dead: make(chan struct{}), file: filepath.Join(t.TempDir(), "calx.db")}
	r.bench, err = bench.New(bench.Options{Kiln: p, AmbientC: 20, Speed: speed, Seed: 1, Mishaps: mishaps})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, r.bench.Close()) })
	probes, err := board.OpenProbes([]config.Channel{{Role: "chamber", Chip: "max31855", Port: r.bench.Port(), Type: "K"}}, time.Second)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, probes[0].Close()) })
	out, err := board.OpenOutput(config.Heater{Pin: r.bench.HeatPin()})
	require.NoError(t, err)
	r.log, err = storage.Open(r.file, nil)
	require.NoError(t, err)
	channels := []record.Channel{probes[0].Channel}
	var others []controller.Thermometer
	for range witnesses {
		channels = append(channels, record.Channel{Role: "flask"})
		others = append(others, warm{})
	}
	plant := identify.Plant(p, 20)
	r.metrics = web.NewMetrics("test", time.Second)
	r.Station = station.New(station.Parts{
		Log: r.log, Chamber: probes[0], Heater: out, Dead: r.dead, Clock: r.bench, Channels: channels, Others: others,
		NoiseC: probes[0].NoiseC, KilnName: p.Name, KilnText: string(text), Plant: plant, Guard: identify.Guard(p, plant),
		Relay: relay.DefaultConfig(relay.SolidState), Period: time.Second, Monitor: r.metrics, Units: "C",
	})
	r.handler = web.New(web.Options{Station: r.Station, Log: r.log, Metrics: r.metrics})
	r.ctx, r.end = context.WithCancel(context.Background())
	t.Cleanup(r.stop)
	return r
}

func (r *rig) run() { r.done.Go(func() { _ = r.Run(r.ctx) }) }

// stop ends everything; goroutines of a bubble must be gone before it is.
func (r *rig) stop() {
	r.end()
	r.done.Wait()
	_ = r.log.Close()
}

// reopen reads the log after stop.
func (r *rig) reopen() (*storage.Log, error) {
	return storage.Open(r.file, &storage.Opts{ReadOnly: true})
}

// ask sends one request and returns the answer.
func (r *rig) ask(method, path, body string, head ...string) *httptest.ResponseRecorder {
	q := httptest.NewRequest(method, path, strings.NewReader(body))
	if method == http.MethodPost {
		q.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(head); i += 2 {
		q.Header.Set(head[i], head[i+1])
	}
	w := httptest.NewRecorder()
	r.handler.ServeHTTP(w, q)
	return w
}

// fire starts a firing through the API.
func (r *rig) fire(t testing.TB, profile string) uint64 {
	t.Helper()
	body, err := json.Marshal(map[string]string{"name": "test", "profile": profile})
	require.NoError(t, err)
	w := r.ask("POST", "/api/firings", string(body))
	require.Equal(t, http.StatusCreated, w.Code, w.Body)
	var answer struct {
		ID uint64 `json:"id"`
	}
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &answer))
	return answer.ID
}

// status asks for it through the API.
func (r *rig) status(t *testing.T) (st station.Status) {
	t.Helper()
	w := r.ask("GET", "/api/status", "")
	require.Equal(t, http.StatusOK, w.Code)
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &st))
	return st
}

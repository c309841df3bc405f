package web

import (
	"math"
	"net/http"
	"runtime"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"calx/cmd/calx/station"
	"calx/controller"
	"calx/controller/notice"
	"calx/sensor"
	"calx/storage"
	"calx/storage/record"
)

// Metrics counts what the control loop does and shows it to Prometheus. It is
// the station's Monitor; build it first, give it to the station, then to New.
// What is counted never falls while the process lives, whatever firings come
// and go.
type Metrics struct {
	registry *prometheus.Registry
	lateness prometheus.Histogram
	period   time.Duration
	wear     wear

	mu      sync.Mutex
	tally   tally
	station *station.Station
	log     *storage.Log
}

// tally is all that is counted.
type tally struct {
	ticks, overruns, closings uint64
	energyJ                   float64
	faults                    []uint64 // by bit of sensor.Fault
	notices                   map[string]uint64
	good                      time.Time // wall clock of the last valid reading of the chamber
	turned                    time.Time // this process's clock at the last turn of the loop

	firing   bool    // the turn before was a tick of a firing
	closed   bool    // the relay after it
	firingJ  float64 // energy of the firing after it
	heldBack bool    // the plan waits and has said so
}

// NewMetrics builds them for a loop of this period; 0 is 1 s.
func NewMetrics(version string, period time.Duration) *Metrics {
	if period == 0 {
		period = time.Second
	}
	m := &Metrics{
		registry: prometheus.NewRegistry(),
		period:   period,
		lateness: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name:    "calx_tick_lateness_seconds",
			Help:    "How late a tick of a firing began.",
			Buckets: []float64{1e-4, 3e-4, 1e-3, 3e-3, 1e-2, 3e-2, 0.1, 0.3, 1, 3, 10},
		}),
		tally: tally{faults: make([]uint64, len(sensor.Names())), notices: map[string]uint64{}},
	}
	build := prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "calx_build_info", Help: "Always 1; the labels say what is running.",
		ConstLabels: prometheus.Labels{"version": version, "goversion": runtime.Version()},
	})
	build.Set(1)
	m.registry.MustRegister(m.lateness, build, &m.wear, collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// watch adds what is read at the scrape.
func (m *Metrics) watch(s *station.Station, l *storage.Log) {
	m.mu.Lock()
	m.station, m.log = s, l
	m.mu.Unlock()
	m.registry.MustRegister(collector{m})
}

func (m *Metrics) handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{Registry: m.registry, MaxRequestsInFlight: 4, Timeout: 5 * time.Second})
}

// Tick implements station.Monitor.
func (m *Metrics) Tick(late time.Duration, out controller.Output) {
	m.lateness.Observe(late.Seconds())
	r := &out.Record
	m.mu.Lock()
	defer m.mu.Unlock()
	t := &m.tally
	t.turn(late >= m.period)
	// Energy counts from the start of a firing. Of one that this process did
	// not begin, the part before belongs to the process that did.
	if !t.firing {
		t.firingJ = 0
		if r.Seq > 0 {
			t.firingJ = r.EnergyJ
		}
	}
	t.energyJ += math.Max(r.EnergyJ-t.firingJ, 0)
	if r.Relay && !t.closed {
		t.closings++
	}
	t.firing, t.closed, t.firingJ = true, r.Relay, r.EnergyJ
	for _, c := range r.Channels {
		t.fault(sensor.Fault(c.Fault))
	}
	if c := r.Channels[0]; c.Fault == 0 && !math.IsNaN(c.HotC) {
		t.good = r.Wall
	}
	for _, e := range out.Events {
		t.hear(e)
	}
}

// Idle implements station.Monitor.
func (m *Metrics) Idle(wall time.Time, chamber sensor.Reading, others []sensor.Reading) {
	m.mu.Lock()
	defer m.mu.Unlock()
	t := &m.tally
	t.turn(false)
	t.firing, t.closed, t.heldBack = false, false, false
	t.fault(chamber.Fault)
	for _, o := range others {
		t.fault(o.Fault)
	}
	if chamber.OK() {
		t.good = wall
	}
}

func (t *tally) turn(overrun bool) {
	t.ticks++
	t.turned = time.Now()
	if overrun {
		t.overruns++
	}
}

func (t *tally) fault(f sensor.Fault) {
	for i := 0; f != 0 && i < len(t.faults); i++ {
		if f&(1<<i) != 0 {
			t.faults[i]++
		}
	}
}

func (t *tally) hear(e record.Event) {
	t.notices[e.Code]++
	switch e.Code {
	case notice.HoldBack:
		t.heldBack = true
	case notice.CaughtUp, notice.Started:
		t.heldBack = false
	}
}

// silence is how long ago the loop last turned; negative when it never did.
func (m *Metrics) silence() time.Duration {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.tally.turned.IsZero() {
		return -1
	}
	return time.Since(m.tally.turned)
}

package web

import (
	"sync/atomic"

	"github.com/prometheus/client_golang/prometheus"

	"calx/cmd/calx/health"
	"calx/cmd/calx/summary"
)

// wear shows the health of the kiln over all its firings, as it was worked out
// last. Before that it shows nothing.
type wear struct{ report atomic.Pointer[health.Report] }

var (
	descPower      = desc("element_power_ratio", "What the elements give over what the kiln file says, from the heat balance of all firings; absent while no firing tells.")
	descLoss       = desc("heat_loss_ratio", "Heat that the kiln loses over what its file says, likewise.")
	descCycles     = desc("relay_cycles_total", "Times the heat relay closed in all firings of the log that have ended.")
	descRated      = desc("relay_rated_cycles", "Closures that the relay is rated for, by the kiln file; absent for a solid-state relay.")
	descApart      = desc("thermocouple_difference_celsius", "Chamber less second thermocouple in the chamber, above 400 °C, over all firings; absent without a second one.")
	descOutOfReach = desc("element_firings_left", "Firings until the elements no longer hold the hottest temperature of the last ten, at the present trend; absent while no trend can be told.")
)

// SetHealth shows a report from now on.
func (m *Metrics) SetHealth(r health.Report) { m.wear.report.Store(&r) }

// Describe implements prometheus.Collector.
func (w *wear) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{descPower, descLoss, descCycles, descRated, descApart, descOutOfReach} {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (w *wear) Collect(ch chan<- prometheus.Metric) {
	r, s := w.report.Load(), scrape(ch)
	if r == nil {
		return
	}
	known := func(d *prometheus.Desc, n summary.Number) {
		if n.Known() {
			s.gauge(d, float64(n))
		}
	}
	known(descPower, r.Power.Now.Value)
	known(descLoss, r.Loss.Now.Value)
	known(descApart, r.Second.Now.Value)
	s.counter(descCycles, float64(r.Cycles))
	if r.Rated > 0 {
		s.gauge(descRated, float64(r.Rated))
	}
	if r.Reach != nil {
		known(descOutOfReach, r.Reach.In)
	}
}

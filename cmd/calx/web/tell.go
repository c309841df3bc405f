package web

import (
	"context"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"calx/cmd/calx/outbox"
)

// Teller is the outbox as the API sees it.
type Teller interface {
	State() outbox.State
	// Acknowledge notes that a person has seen all open alarms: how many.
	Acknowledge() (int, error)
	// Try sends a test message to one destination, or to all for "".
	Try(ctx context.Context, name string) ([]outbox.Answer, error)
}

// tell adds the paths of the outbox.
func (a *api) tell(m *http.ServeMux) {
	if a.Teller == nil {
		return
	}
	m.HandleFunc("GET /api/tell", func(w http.ResponseWriter, _ *http.Request) { write(w, http.StatusOK, a.Teller.State()) })
	m.HandleFunc("POST /api/tell", a.tellOrder)
	a.Metrics.registry.MustRegister(telling{a.Teller})
}

// tryWithin is how long a test may take: well below what the server gives an
// answer.
const tryWithin = 20 * time.Second

// tellOrder acknowledges or tests.
func (a *api) tellOrder(w http.ResponseWriter, r *http.Request) {
	var q struct {
		Order string `json:"order"`
		Name  string `json:"name"` // of a destination, for a test; "" is all
	}
	if !take(w, r, &q) {
		return
	}
	switch q.Order {
	case "acknowledge":
		n, err := a.Teller.Acknowledge()
		if err != nil {
			a.Logf("acknowledge: %v", err) // repeats end all the same
		}
		write(w, http.StatusOK, struct {
			Acknowledged int `json:"acknowledged"`
		}{n})
	case "test":
		ctx, cancel := context.WithTimeout(r.Context(), tryWithin)
		defer cancel()
		answers, err := a.Teller.Try(ctx, q.Name)
		if err != nil {
			write(w, http.StatusUnprocessableEntity, problem{Error: err.Error()})
			return
		}
		write(w, http.StatusOK, struct {
			Answers []outbox.Answer `json:"answers"`
		}{answers})
	default:
		refuse(w, http.StatusBadRequest, "order is %q; it must be acknowledge or test", q.Order)
	}
}

// telling shows the outbox to Prometheus.
type telling struct{ Teller }

var (
	descMessages = desc("messages_waiting", "Messages that some destination has yet to be told of.")
	descOpen     = desc("messages_unacknowledged", "Alarms that nobody has acknowledged.")
	descTold     = desc("messages_sent_total", "Letters that a destination has taken; several messages may go as one.")
	descUntold   = desc("message_failures_total", "Attempts to send that failed; they are tried again.")
)

// Describe implements prometheus.Collector.
func (telling) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{descMessages, descOpen, descTold, descUntold} {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (t telling) Collect(ch chan<- prometheus.Metric) {
	st, s := t.State(), scrape(ch)
	s.gauge(descMessages, float64(st.Waiting))
	s.gauge(descOpen, float64(st.Unanswered))
	s.counter(descTold, float64(st.Sent))
	s.counter(descUntold, float64(st.Failures))
}

package station

import (
	"math"
	"time"

	"calx/controller"
	"calx/sensor"
	"calx/storage/record"
)

// Status is what a kiln is doing now: the object behind `calx watch --json`
// and the API. Temperatures are °C whatever the person reads; a value that
// does not exist is null.
type Status struct {
	Wall        time.Time `json:"wall"`
	ChamberC    *float64  `json:"chamber_c"`
	ColdC       *float64  `json:"cold_junction_c"`
	Fault       string    `json:"fault"` // "ok", or why there is no temperature
	Others      []Other   `json:"others,omitempty"`
	SetpointC   *float64  `json:"setpoint_c"`
	Duty        float64   `json:"duty"`
	Heat        bool      `json:"heat"`
	Air         bool      `json:"air"`
	Door        string    `json:"door,omitempty"` // "open", "shut", "unknown"; "" where no switch is fitted
	Firing      *Firing   `json:"firing"`         // nil when nothing is fired
	Inside      *Inside   `json:"inside"`         // nil when nobody said what is fired
	Last        *Firing   `json:"last"`           // the firing before, while nothing is fired
	Trip        *Trip     `json:"trip"`           // what keeps anything from being fired; nil when nothing does
	RatedW      float64   `json:"rated_w"`
	Cycles      uint64    `json:"relay_cycles"` // of the firing
	LateS       float64   `json:"late_s"`       // how late the last tick began
	LogBehind   bool      `json:"log_behind"`
	OutputError string    `json:"output_error,omitempty"`
	Units       string    `json:"units"`
	Kiln        string    `json:"kiln"`
	events      []record.Event
}

// Other is a thermocouple that is not controlled.
type Other struct {
	Role  string   `json:"role"`
	HotC  *float64 `json:"hot_c"`
	ColdC *float64 `json:"cold_junction_c"`
	Fault string   `json:"fault"`
}

// Firing is a firing in a Status.
type Firing struct {
	ID        uint64  `json:"id"`
	Name      string  `json:"name"`
	Phase     string  `json:"phase"`
	Outcome   string  `json:"outcome"` // "" while it runs
	Reason    string  `json:"reason"`
	SinceS    float64 `json:"since_s"`
	PlannedS  float64 `json:"planned_s"` // of the whole profile, by plan
	Step      int     `json:"step"`      // from 1
	Steps     int     `json:"steps"`
	Sentence  string  `json:"sentence"`
	HeldS     float64 `json:"held_s"`
	EnergyKWh float64 `json:"energy_kwh"`
	Guard     string  `json:"guard"`  // code of the guard that tripped; "" = none
	Asks      string  `json:"asks"`   // why a person must say what next, after an interruption; "" = nobody need
	Events    []Event `json:"events"` // the last few, newest last
}

// Event is an event in a Status.
type Event struct {
	SinceS   float64 `json:"since_s"`
	Code     string  `json:"code"`
	Severity string  `json:"severity"`
	Text     string  `json:"text"`
	Hint     string  `json:"hint"`
}

// number is nil for what is not one.
func number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

var severityNames = [...]string{"info", "warn", "alarm"}

func eventsOf(es []record.Event) []Event {
	out := make([]Event, len(es))
	for i, e := range es {
		out[i] = eventOf(e)
	}
	return out
}

func eventOf(e record.Event) Event {
	return Event{e.Since.Seconds(), e.Code, severityNames[min(int(e.Severity), 2)], e.Text, e.Hint}
}

// see puts readings into the status.
func (st *Status) see(r sensor.Reading, others []sensor.Reading) {
	st.ChamberC, st.ColdC, st.Fault = number(r.HotC), number(r.ColdC), r.Fault.String()
	for i, o := range others {
		st.Others[i].HotC, st.Others[i].ColdC, st.Others[i].Fault = number(o.HotC), number(o.ColdC), o.Fault.String()
	}
}

func (st *Status) seeRecord(r record.Reading) {
	c := r.Channels[0]
	st.ChamberC, st.ColdC, st.Fault = number(c.HotC), number(c.ColdC), sensor.Fault(c.Fault).String()
	for i, o := range r.Channels[1:] {
		st.Others[i].HotC, st.Others[i].ColdC, st.Others[i].Fault = number(o.HotC), number(o.ColdC), sensor.Fault(o.Fault).String()
	}
}

// fill puts what a tick saw and did into the status.
func (st *Status) fill(s controller.State, out controller.Output) {
	r := out.Record
	st.Wall = r.Wall
	st.SetpointC = number(r.SetpointC)
	st.Duty, st.Heat, st.Air = r.Duty, r.Relay, r.Air
	st.Cycles = s.Relay.Cycles
	f := st.Firing
	f.Phase, f.Outcome, f.Guard, f.Asks = s.Phase.String(), s.Outcome(), s.TripCode, s.Asks
	if f.Asks != "" && f.Outcome == "" {
		f.Phase = interrupted
	}
	f.SinceS, f.Step, f.HeldS = r.Since.Seconds(), s.Plan.Step+1, s.Plan.HeldS
	f.EnergyKWh = s.EnergyJ / 3.6e6
}

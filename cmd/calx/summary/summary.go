// Package summary says in figures how a firing went. It computes them from the
// log alone, so a firing of last year and the one that ended a minute ago are
// judged by the same rule, and writes them for a person. Drawing is package
// chart's; whether the figures are good enough is nobody's here.
package summary

import (
	"encoding/json"
	"math"
	"time"

	"calx/profile"
	"calx/storage/record"
)

// Number is a figure that may be unknown: NaN, written as null in JSON.
type Number float64

// Unknown is the figure that could not be computed.
func Unknown() Number { return Number(math.NaN()) }

// Known reports whether the figure is there.
func (n Number) Known() bool { return !math.IsNaN(float64(n)) && !math.IsInf(float64(n), 0) }

// MarshalJSON writes null for an unknown figure.
func (n Number) MarshalJSON() ([]byte, error) {
	if !n.Known() {
		return []byte("null"), nil
	}
	return json.Marshal(float64(n))
}

// UnmarshalJSON reads null as unknown.
func (n *Number) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*n = Unknown()
		return nil
	}
	return json.Unmarshal(b, (*float64)(n))
}

// Summary is the result of a firing. Its JSON names and units stay as they are
// once released: temperatures are °C whatever the person reads, durations are
// seconds since the firing started, and null means that the firing gave
// nothing to compute the figure from.
type Summary struct {
	ID          uint64         `json:"id"`
	Name        string         `json:"name"`
	Outcome     string         `json:"outcome"` // "running", "finished", "stopped", "tripped", "interrupted"
	Reason      string         `json:"reason"`
	Started     time.Time      `json:"started"`
	DurationS   float64        `json:"duration_s"`     // from the start to the last reading
	Readings    int            `json:"readings"`       // kept in the log
	PeakC       Number         `json:"peak_c"`         // hottest chamber reading
	PeakAtS     Number         `json:"peak_at_s"`      // when it was first reached
	RMSEC       Number         `json:"rmse_c"`         // tracking error where the ramp is achievable
	OvershootC  Number         `json:"overshoot_c"`    // largest over all arrivals, never below 0
	HoldStdC    Number         `json:"hold_std_c"`     // scatter within settled holds
	TimeInHoldS float64        `json:"time_in_hold_s"` // with the hold's clock running
	WaitingS    float64        `json:"time_waiting_s"` // plan held back for the kiln
	RelayCycles int            `json:"relay_cycles"`   // times the heat relay closed
	EnergyKWh   float64        `json:"energy_kwh"`     // from rated power and relay time
	DryAtS      Number         `json:"dry_at_s"`       // no free water left, by the model; null without a mould, or never
	ClearAtS    Number         `json:"clear_at_s"`     // every piece clear, by the model; null without a mould, or never
	ChanceClear Number         `json:"chance_clear"`   // that every piece by itself is clear at the end; null without a mould
	Evidence    string         `json:"evidence"`       // what that chance rests on; "" without a mould
	Gaps        Gaps           `json:"gaps"`           // missing readings
	Faults      map[string]int `json:"sensor_faults"`  // channel readings with each fault, by name
	Trips       []Trip         `json:"trips"`          // guards that stopped the heat
	Steps       []Step         `json:"steps"`          // in the order they ran
}

// Gaps counts the places where the log lacks readings.
type Gaps struct {
	Count    int     `json:"count"`
	LongestS float64 `json:"longest_s"`
}

// Trip is a guard that stopped the heat.
type Trip struct {
	Guard    string    `json:"guard"`     // code of the guard: "no-reading", "above-ceiling" …
	Time     time.Time `json:"time"`      // wall clock
	AtS      float64   `json:"at_s"`      // since the start
	ChamberC Number    `json:"chamber_c"` // last good chamber reading then
	Text     string    `json:"text"`      // what was said
}

// Step is one step of the profile as it ran.
type Step struct {
	Index    int     `json:"step"`      // from 1, as people count
	Text     string  `json:"text"`      // its sentence; empty until Planned is given
	StartS   float64 `json:"start_s"`   // since the start of the firing
	ActualS  float64 `json:"actual_s"`  // how long it took
	WaitingS float64 `json:"waiting_s"` // of it, held back for the kiln
	PlannedS Number  `json:"planned_s"` // null where the plan gives no length
}

// Summarise computes the result of a firing from its log. readings and events
// are in order; both may be empty.
func Summarise(head record.Firing, readings []record.Reading, events []record.Event) Summary {
	s := Summary{
		ID: head.ID, Name: head.Name, Outcome: head.Outcome, Reason: head.Reason, Started: head.Started,
		Readings: len(readings), PeakC: Unknown(), PeakAtS: Unknown(), DryAtS: Unknown(), ClearAtS: Unknown(), ChanceClear: Unknown(),
		RMSEC: tracking(head, readings), OvershootC: overshoot(head, readings), HoldStdC: holdScatter(head, readings),
		Faults: faults(readings), Gaps: findGaps(head, readings), Steps: steps(head, readings),
		Trips: trips(head, readings, events),
	}
	if s.Outcome == "" {
		s.Outcome = "running"
	}
	if n := len(readings); n > 0 {
		s.DurationS = readings[n-1].Since.Seconds()
		s.EnergyKWh = readings[n-1].EnergyJ / joulesPerKWh
	}
	s.inside(readings)
	gapAfter := GapAfter(head)
	was := false
	for i, r := range readings {
		if c := Number(ChamberC(head, r)); c.Known() && (!s.PeakC.Known() || c > s.PeakC) {
			s.PeakC, s.PeakAtS = c, Number(r.Since.Seconds())
		}
		if r.Relay && !was {
			s.RelayCycles++
		}
		was = r.Relay
		switch lasted := lasts(readings, i, gapAfter).Seconds(); r.Phase {
		case record.Holding:
			s.TimeInHoldS += lasted
		case record.Waiting:
			s.WaitingS += lasted
		}
	}
	return s
}

// joulesPerKWh: 1 kWh = 3.6 MJ (BIPM, The International System of Units, 9th
// edition, from the definition of the watt and the hour).
const joulesPerKWh = 3.6e6

// Planned adds to every step its sentence and the length the plan gives it; the
// length of a hold that ends on an observation or a person stays unknown. t is
// the timeline of p.
func (s Summary) Planned(p *profile.Profile, t *profile.Timeline) Summary {
	out := append([]Step{}, s.Steps...)
	for i, st := range out {
		out[i].Text = p.Sentence(st.Index - 1)
	}
	for _, seg := range t.Segments {
		for i := range out {
			if out[i].Index == seg.Step+1 && !seg.Open {
				out[i].PlannedS = Number((seg.To - seg.From).Seconds())
			}
		}
	}
	s.Steps = out
	return s
}

package intake

import (
	"fmt"
	"math"
	"slices"
	"time"

	"calx/controller/notice"
	"calx/profile"
	"calx/storage/record"
)

// Origin is what the table cannot know of itself.
type Origin struct {
	Name, File string
	Started    time.Time // where the table has no dates
	Kiln       string    // kiln file, YAML; "" for none
	RatedW     float64   // of that kiln; 0 unknown
	Fahrenheit bool      // how the person reads it
	Version    string    // of calx
}

// Imported is the outcome of a firing from elsewhere.
const Imported = "imported"

// Records makes a firing of the table: its head, readings and events.
func (t *Table) Records(o Origin) (record.Firing, []record.Reading, []record.Event) {
	start := t.Start
	if start.IsZero() {
		start = o.Started
	}
	start = start.UTC().Truncate(time.Millisecond)
	units := "C"
	if o.Fahrenheit {
		units = "F"
	}
	last := t.Rows[len(t.Rows)-1].Since
	f := record.Firing{Name: o.Name, Started: start, Ended: start.Add(last), Outcome: Imported, Reason: "recorded elsewhere, read from " + o.File,
		Kiln: o.Kiln, Channels: []record.Channel{{Role: "chamber"}}, PeriodMS: uint32(t.usual().Milliseconds()), Units: units, Version: o.Version, Imported: o.File}
	p, at := t.Plan(o.Fahrenheit)
	if p != nil {
		f.Profile = p.String()
	}
	n := notice.For(notice.Started)
	events := []record.Event{{Wall: start, Code: n.Code, Severity: record.Severity(n.Severity), Text: f.Reason}}
	return f, t.readings(start, o.RatedW, p, at), events
}

// usual is the time from row to row that nine in ten do not pass: what is three
// times as long is a gap.
func (t *Table) usual() time.Duration {
	steps := make([]time.Duration, 0, len(t.Rows))
	for i := 1; i < len(t.Rows); i++ {
		steps = append(steps, t.Rows[i].Since-t.Rows[i-1].Since)
	}
	slices.Sort(steps)
	return max(steps[(len(steps)-1)*9/10], time.Millisecond)
}

func (t *Table) readings(start time.Time, ratedW float64, p *profile.Profile, at []time.Duration) []record.Reading {
	out := make([]record.Reading, 0, len(t.Rows))
	energyJ, step := 0.0, 0
	gap := 3 * t.usual()
	for i, r := range t.Rows {
		if i > 0 {
			// A duty holds until the next row, but through no gap.
			if d := r.Since - t.Rows[i-1].Since; d < gap && !math.IsNaN(t.Rows[i-1].Duty) {
				energyJ += t.Rows[i-1].Duty * ratedW * d.Seconds()
			}
		}
		for step+1 < len(at) && r.Since >= at[step+1] {
			step++
		}
		if math.IsNaN(r.TempC) {
			continue // a row without a temperature is none
		}
		rd := record.Reading{Seq: uint64(len(out)), Since: r.Since, Wall: start.Add(r.Since), SetpointC: r.SetC, Duty: r.Duty, EnergyJ: energyJ, Step: uint16(step), Phase: record.Ramping,
			Channels: []record.Sample{{HotC: r.TempC, ColdC: math.NaN()}}}
		if p != nil {
			switch s := p.Steps[step]; {
			case s.Kind == profile.Hold:
				rd.Phase = record.Holding
			case s.Pace == profile.Unpowered:
				rd.Phase = record.Cooling
			}
		}
		out = append(out, rd)
	}
	return out
}

// Gaps are the times without a row that are longer than usual.
func (t *Table) Gaps() (n int, most time.Duration) {
	limit, last := 3*t.usual(), time.Duration(-1)
	for _, r := range t.Rows {
		if math.IsNaN(r.TempC) {
			continue
		}
		if d := r.Since - last; last >= 0 && d >= limit {
			n, most = n+1, max(most, d)
		}
		last = r.Since
	}
	return n, most
}

// Lacks says in words what the table does not hold, and what that costs.
func (t *Table) Lacks(o Origin) []string {
	var out []string
	if !t.HasDuty {
		out = append(out, "no duty: energy and power cannot be told, and no kiln can be fitted to it")
	} else if o.RatedW == 0 {
		out = append(out, "no kiln: the energy cannot be told; name it with --kiln")
	}
	if !t.HasSet {
		out = append(out, "no setpoint: the plan was read off the chamber itself")
	}
	if t.Start.IsZero() {
		out = append(out, fmt.Sprintf("no date: it is listed as begun on %s; say otherwise with --started", o.Started.Format("2 Jan 2006 15:04")))
	}
	if t.Missing > 0 {
		out = append(out, fmt.Sprintf("%d rows without a temperature were left out", t.Missing))
	}
	if t.Repeated > 0 {
		out = append(out, fmt.Sprintf("%d rows with the time of the row before were left out", t.Repeated))
	}
	return out
}

package summary

import (
	"math"
	"strings"
	"time"

	"calx/sensor"
	"calx/storage/record"
)

const (
	fullDuty     = 0.98             // duty from which the kiln gives all it has
	arrival      = 30 * time.Minute // of a hold: judged by overshoot, not by scatter
	gapPeriods   = 3                // this many periods without a reading is a gap
	defaultEvery = time.Second      // between readings, when the head does not say
)

// chamberRole begins the role of every channel in the chamber itself.
const chamberRole = "chamber"

// GapAfter is the time between two readings from which at least two are
// missing between them.
func GapAfter(head record.Firing) time.Duration {
	every := time.Duration(head.PeriodMS) * time.Millisecond
	if every <= 0 {
		every = defaultEvery
	}
	return gapPeriods * every
}

// ChamberC is the chamber temperature of a reading, °C: the first channel
// whose role begins with "chamber" and which has no fault, or the first channel
// when no role says so. NaN when there is none to use.
func ChamberC(head record.Firing, r record.Reading) float64 {
	named := false
	for i, c := range head.Channels {
		if !strings.HasPrefix(c.Role, chamberRole) {
			continue
		}
		named = true
		if i < len(r.Channels) && good(r.Channels[i]) {
			return r.Channels[i].HotC
		}
	}
	if !named && len(r.Channels) > 0 && good(r.Channels[0]) {
		return r.Channels[0].HotC
	}
	return math.NaN()
}

func good(s record.Sample) bool {
	return s.Fault == 0 && !math.IsNaN(s.HotC) && !math.IsInf(s.HotC, 0)
}

// lasts is how long reading i stands: until the next one, or for nothing when
// it is the last or a gap follows.
func lasts(readings []record.Reading, i int, gapAfter time.Duration) time.Duration {
	if i+1 >= len(readings) {
		return 0
	}
	d := readings[i+1].Since - readings[i].Since
	if d < 0 || d >= gapAfter {
		return 0
	}
	return d
}

// tracking is the root mean square of setpoint less chamber temperature over
// the ramps the kiln can follow: duty strictly between 0 and fullDuty.
func tracking(head record.Firing, readings []record.Reading) Number {
	var sum float64
	n := 0
	for _, r := range readings {
		if r.Phase != record.Ramping || !(r.Duty > 0 && r.Duty < fullDuty) {
			continue
		}
		if e := r.SetpointC - ChamberC(head, r); !math.IsNaN(e) {
			sum += e * e
			n++
		}
	}
	if n == 0 {
		return Unknown()
	}
	return Number(math.Sqrt(sum / float64(n)))
}

// hold is one step of readings from where the hold's clock first runs. from
// includes the wait for the kiln right before it; waits later on are part of it,
// or a kiln that leaves the band would not be judged for it.
type hold struct {
	from, start, end int  // indices; end is one past the last
	heated           bool // a rising ramp came before
}

// holds finds every hold of a firing.
func holds(readings []record.Reading) []hold {
	var out []hold
	from, heated := 0, false
	for i := 0; i < len(readings); i++ {
		r := readings[i]
		switch r.Phase {
		case record.Ramping:
			if i > 0 && r.SetpointC != readings[i-1].SetpointC {
				heated = r.SetpointC > readings[i-1].SetpointC
			}
			from = i + 1
		case record.Holding:
			h := hold{from: min(from, i), start: i, heated: heated}
			for i < len(readings) && inHold(readings[i]) && readings[i].Step == r.Step {
				i++
			}
			h.end = i
			out = append(out, h)
			from, heated = i, false
			i--
		case record.Waiting:
		default:
			from, heated = i+1, false
		}
	}
	return out
}

func inHold(r record.Reading) bool { return r.Phase == record.Holding || r.Phase == record.Waiting }

// overshoot is the largest excess over the setpoint of a hold in its first
// half hour, over all holds that a heating ramp led to. 0 when no arrival went
// above, unknown when there was none.
func overshoot(head record.Firing, readings []record.Reading) Number {
	out := Unknown()
	for _, h := range holds(readings) {
		if !h.heated {
			continue
		}
		setC := readings[h.end-1].SetpointC // the corner is rounded; by the end it is there
		worst := 0.0
		for i := h.from; i < h.end && readings[i].Since-readings[h.start].Since <= arrival; i++ {
			if over := ChamberC(head, readings[i]) - setC; over > worst {
				worst = over
			}
		}
		if !out.Known() || Number(worst) > out {
			out = Number(worst)
		}
	}
	return out
}

// holdScatter is the standard deviation of the chamber about each hold's own
// mean, pooled over all holds. The first half hour of a hold, or its first half
// if it is shorter than an hour, is its arrival and does not count.
func holdScatter(head record.Firing, readings []record.Reading) Number {
	var squares float64
	n := 0
	for _, h := range holds(readings) {
		length := readings[h.end-1].Since - readings[h.start].Since
		settled := readings[h.start].Since + min(arrival, length/2)
		var mean, m2 float64
		k := 0
		for _, r := range readings[h.start:h.end] {
			c := ChamberC(head, r)
			if r.Since < settled || math.IsNaN(c) {
				continue
			}
			k++ // Welford, Technometrics 4(3), 1962: one pass, no cancellation
			delta := c - mean
			mean += delta / float64(k)
			m2 += delta * (c - mean)
		}
		squares += m2
		n += k
	}
	if n == 0 {
		return Unknown()
	}
	return Number(math.Sqrt(squares / float64(n)))
}

// faults counts channel readings by the name of their fault.
func faults(readings []record.Reading) map[string]int {
	out := map[string]int{}
	names := sensor.Names()
	for _, r := range readings {
		for _, s := range r.Channels {
			if s.Fault == 0 {
				continue
			}
			for bit, name := range names {
				if s.Fault&(1<<bit) != 0 {
					out[name]++
				}
			}
		}
	}
	return out
}

func findGaps(head record.Firing, readings []record.Reading) Gaps {
	var g Gaps
	after := GapAfter(head)
	for i := 1; i < len(readings); i++ {
		if d := readings[i].Since - readings[i-1].Since; d >= after {
			g.Count++
			g.LongestS = max(g.LongestS, d.Seconds())
		}
	}
	return g
}

// steps cuts the firing at every change of step.
func steps(head record.Firing, readings []record.Reading) []Step {
	out := []Step{}
	after := GapAfter(head)
	for i, r := range readings {
		if r.Phase == record.Done { // past the last step
			break
		}
		index := int(r.Step) + 1
		if n := len(out); n == 0 || out[n-1].Index != index {
			out = append(out, Step{Index: index, StartS: r.Since.Seconds(), PlannedS: Unknown()})
		}
		st := &out[len(out)-1]
		if i+1 < len(readings) { // time lost in a gap was spent in the step too
			st.ActualS += (readings[i+1].Since - r.Since).Seconds()
		}
		if r.Phase == record.Waiting {
			st.WaitingS += lasts(readings, i, after).Seconds()
		}
	}
	return out
}

// The shares from which a mould counts as dry and a piece as clear: those of
// package mould, which the observer follows.
const (
	dryShare   = 0.001
	clearShare = 0.995
)

// inside takes in what the observer made of the moulds.
func (s *Summary) inside(readings []record.Reading) {
	for i := range readings {
		r := &readings[i]
		n := r.Moulds()
		if n == 0 {
			continue
		}
		dry, clear := true, true
		for k := range n {
			m := r.Mould(k)
			dry, clear = dry && m.WaterLeft < dryShare, clear && m.Clear > clearShare
		}
		at := Number(r.Since.Seconds())
		if dry && !s.DryAtS.Known() {
			s.DryAtS = at
		}
		if clear && !s.ClearAtS.Known() {
			s.ClearAtS = at
		}
		s.ChanceClear = Number(r.ClearChance())
	}
}

// lastGood is the last usable chamber temperature up to a time.
func lastGood(head record.Firing, readings []record.Reading, upTo time.Duration) Number {
	out := Unknown()
	for _, r := range readings {
		if r.Since > upTo {
			break
		}
		if c := Number(ChamberC(head, r)); c.Known() {
			out = c
		}
	}
	return out
}

// trips lists the alarms that came with the end of the heat: the one raised in
// the tick whose phase became Tripped. Where that reading is missing, the last
// alarm of a firing that ended so.
func trips(head record.Firing, readings []record.Reading, events []record.Event) []Trip {
	out := []Trip{}
	add := func(near func(e record.Event) bool) {
		for i := len(events) - 1; i >= 0; i-- {
			if e := events[i]; e.Severity == record.Alarm && near(e) {
				out = append(out, Trip{e.Code, e.Wall, e.Since.Seconds(), lastGood(head, readings, e.Since), e.Text})
				return
			}
		}
	}
	after := GapAfter(head)
	for i, r := range readings {
		if r.Phase == record.Tripped && (i == 0 || readings[i-1].Phase != record.Tripped) {
			add(func(e record.Event) bool { return e.Since <= r.Since && r.Since-e.Since < after })
		}
	}
	if len(out) == 0 && head.Outcome == "tripped" {
		add(func(record.Event) bool { return true })
	}
	return out
}

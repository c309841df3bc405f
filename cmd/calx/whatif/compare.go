package whatif

import (
	"math"
	"time"

	"calx/cmd/calx/summary"
	"calx/storage/record"
)

// smoothS is the time over which a difference is averaged, s: longer than a
// cycle of a contactor, whose ripple never falls together in two firings and
// says nothing about the kiln.
const smoothS = 300

// Residual is simulated less recorded chamber temperature over a stretch, each
// a mean over five minutes.
type Residual struct {
	MeanC   summary.Number `json:"mean_c"`
	RMSEC   summary.Number `json:"rmse_c"`
	WorstC  summary.Number `json:"worst_c"`    // the largest either way, with its sign
	WorstAt summary.Number `json:"worst_at_s"` // since the start of the stretch
}

// Stage is one step of the profile, recorded and simulated. Temperatures are
// compared at equal times since the step began, so that a step that began late
// does not look wrong from end to end.
type Stage struct {
	Step    int            `json:"step"` // from 1
	Text    string         `json:"text"`
	StartS  summary.Number `json:"start_s"`  // recorded
	ShiftS  summary.Number `json:"shift_s"`  // by how much later it began in the simulation
	TookS   summary.Number `json:"took_s"`   // recorded
	LongerS summary.Number `json:"longer_s"` // by how much longer it took in the simulation
	EnergyJ summary.Number `json:"energy_j"` // recorded
	MoreJ   summary.Number `json:"more_j"`   // by how much more the simulation took
	Chamber Residual       `json:"chamber"`  // simulated less recorded
}

// Comparison is a simulation laid over a record.
type Comparison struct {
	Chamber Residual `json:"chamber"` // at equal times since the start, as long as both last
	Stages  []Stage  `json:"stages"`  // null where the profiles differ
}

// sums gathers a residual.
type sums struct {
	n             int
	sum, squares  float64
	worst, worstS float64
}

func (s *sums) add(d, atS float64) {
	if math.IsNaN(d) {
		return
	}
	s.n++
	s.sum += d
	s.squares += d * d
	if math.Abs(d) > math.Abs(s.worst) || s.n == 1 {
		s.worst, s.worstS = d, atS
	}
}

func (s *sums) residual() Residual {
	if s.n == 0 {
		return Residual{summary.Unknown(), summary.Unknown(), summary.Unknown(), summary.Unknown()}
	}
	n := float64(s.n)
	return Residual{summary.Number(s.sum / n), summary.Number(math.Sqrt(s.squares / n)), summary.Number(s.worst), summary.Number(s.worstS)}
}

// track reads one firing at rising times.
type track struct {
	head     record.Firing
	readings []record.Reading
	i        int
}

// at is the chamber at the reading nearest before t, °C; NaN where there is
// none within a gap's length.
func (k *track) at(t, gap time.Duration) float64 {
	for k.i+1 < len(k.readings) && k.readings[k.i+1].Since <= t {
		k.i++
	}
	if k.i >= len(k.readings) || k.readings[k.i].Since > t || t-k.readings[k.i].Since > gap {
		return math.NaN()
	}
	return summary.ChamberC(k.head, k.readings[k.i])
}

// Difference is simulated less recorded chamber at each recorded reading, °C,
// as a mean over the five minutes around it; NaN where either is missing.
func Difference(head record.Firing, recorded, simulated []record.Reading) []float64 {
	sim := track{head: simHead, readings: simulated}
	gap := summary.GapAfter(head)
	out := make([]float64, len(recorded))
	for i, r := range recorded {
		out[i] = sim.at(r.Since, gap) - summary.ChamberC(head, r)
	}
	return smooth(recorded, out)
}

// smooth is each value's mean with its neighbours within smoothS; a gap stays
// one. At an end the window is as short on both sides.
func smooth(readings []record.Reading, v []float64) []float64 {
	out := make([]float64, len(v))
	sum, n := make([]float64, len(v)+1), make([]int, len(v)+1)
	for i, d := range v {
		sum[i+1], n[i+1] = sum[i], n[i]
		if !math.IsNaN(d) {
			sum[i+1] += d
			n[i+1]++
		}
	}
	from, to := 0, 0
	for i := range v {
		at := readings[i].Since
		half := min(smoothS*time.Second/2, at-readings[0].Since, readings[len(readings)-1].Since-at)
		for readings[from].Since < at-half {
			from++
		}
		for to < len(v) && readings[to].Since <= at+half {
			to++
		}
		out[i] = math.NaN()
		if !math.IsNaN(v[i]) {
			out[i] = (sum[to] - sum[from]) / float64(n[to]-n[from])
		}
	}
	return out
}

// simHead describes the one channel of a simulation.
var simHead = record.Firing{Channels: []record.Channel{{Role: "chamber"}}}

// Compare lays a simulation over a record. Stages are compared where both ran
// the same profile, whose sentences are given; nil for another profile.
func Compare(head record.Firing, recorded, simulated []record.Reading, sentences []string) Comparison {
	var all sums
	for i, d := range Difference(head, recorded, simulated) {
		all.add(d, recorded[i].Since.Seconds())
	}
	c := Comparison{Chamber: all.residual()}
	if sentences == nil {
		return c
	}
	a, b := stretches(recorded), stretches(simulated)
	for step, text := range sentences {
		ra, okA := a[step]
		rb, okB := b[step]
		if !okA && !okB {
			continue
		}
		c.Stages = append(c.Stages, stage(head, step, text, recorded[ra.from:ra.to], simulated[rb.from:rb.to]))
	}
	return c
}

// stretch is where the readings of a step lie.
type stretch struct{ from, to int }

func stretches(readings []record.Reading) map[int]stretch {
	out := map[int]stretch{}
	for i, r := range readings {
		if r.Phase == record.Done || r.Phase == record.Idle {
			continue
		}
		s, ok := out[int(r.Step)]
		if !ok {
			s.from = i
		}
		s.to = i + 1
		out[int(r.Step)] = s
	}
	return out
}

func stage(head record.Firing, step int, text string, recorded, simulated []record.Reading) Stage {
	un := summary.Unknown()
	s := Stage{Step: step + 1, Text: text, StartS: un, ShiftS: un, TookS: un, LongerS: un, EnergyJ: un, MoreJ: un}
	var d sums
	if len(recorded) > 0 {
		first, last := recorded[0], recorded[len(recorded)-1]
		s.StartS, s.TookS = num(first.Since), num(last.Since-first.Since)
		s.EnergyJ = summary.Number(last.EnergyJ - first.EnergyJ)
	}
	if len(recorded) > 0 && len(simulated) > 0 {
		first, last := simulated[0], simulated[len(simulated)-1]
		s.ShiftS = num(first.Since) - s.StartS
		s.LongerS = num(last.Since-first.Since) - s.TookS
		s.MoreJ = summary.Number(last.EnergyJ-first.EnergyJ) - s.EnergyJ
		sim, gap := track{head: simHead, readings: simulated}, summary.GapAfter(head)
		diff := make([]float64, len(recorded))
		for i, r := range recorded {
			diff[i] = sim.at(first.Since+r.Since-recorded[0].Since, gap) - summary.ChamberC(head, r)
		}
		for i, v := range smooth(recorded, diff) {
			d.add(v, (recorded[i].Since - recorded[0].Since).Seconds())
		}
	}
	s.Chamber = d.residual()
	return s
}

func num(d time.Duration) summary.Number { return summary.Number(d.Seconds()) }

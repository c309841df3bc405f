package main

import (
	"fmt"

	"calx/cmd/calx/summary"
	"calx/controller/identify"
	"calx/controller/law"
	"calx/sim/kiln"
)

// kilnMargins is how far the control of a kiln is from swinging, at the least
// favourable of its temperatures.
type kilnMargins struct {
	GainUp   summary.Number `json:"gain_up"`   // times the power in the file; null: by any
	GainDown float64        `json:"gain_down"` // 0: as weak as it may be
	PhaseDeg float64        `json:"phase_deg"`
	DelayS   float64        `json:"delay_s"` // heat may arrive later than the file says by less than this
	Peak     float64        `json:"peak_sensitivity"`
	NearC    float64        `json:"near_c"` // where the sensitivity is highest
}

// A loop outside these is not calm any more (Åström and Hägglund, Advanced PID
// Control, 2006, section 4.6: sensitivity up to 2, gain margin of at least 2).
const (
	mostPeak  = 2.0
	leastGain = 2.0
)

// marginsOf works out the control of a kiln as a firing would.
func marginsOf(p kiln.Params) (kilnMargins, error) {
	l, err := law.New(identify.Plant(p, roomC), law.Options{})
	if err != nil {
		return kilnMargins{}, err
	}
	all := l.Margins()
	out := kilnMargins{GainUp: summary.Number(all[0].GainUp), PhaseDeg: all[0].PhaseDeg, DelayS: all[0].DelayS}
	for _, m := range all {
		out.GainUp = min(out.GainUp, summary.Number(m.GainUp))
		out.GainDown = max(out.GainDown, m.GainDown)
		out.PhaseDeg = min(out.PhaseDeg, m.PhaseDeg)
		out.DelayS = min(out.DelayS, m.DelayS)
		if m.Peak > out.Peak {
			out.Peak, out.NearC = m.Peak, m.TempC
		}
	}
	return out, nil
}

// calm reports whether the loop keeps the usual distance.
func (m kilnMargins) calm() bool { return m.Peak <= mostPeak && float64(m.GainUp) >= leastGain }

// sentence says it for people.
func (m kilnMargins) sentence() string {
	return fmt.Sprintf("it would swing on a kiln %.1f times as strong as this file says, or with heat %.0f s later; phase margin %.0f°, sensitivity %.1f",
		float64(m.GainUp), m.DelayS, m.PhaseDeg, m.Peak)
}

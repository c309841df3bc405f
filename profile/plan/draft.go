package plan

import (
	"math"
	"time"

	"calx/profile"
)

// draft is a profile as the search sees it.
type draft struct {
	soaked bool    // a washed-out mould: up to the pour temperature and no further
	hold   float64 // steam hold, °C
	toHold float64 // °C/h, as the following
	slow   float64 // to the first break, °C
	break1 float64
	mid    float64
	break2 float64
	last   float64 // to the top
	top    float64 // °C
	fall   float64 // to the second break of the way down, °C/h
	break3 float64 // °C
	cool   float64 // to the pour temperature
}

// Bounds written into the holds that an observation ends, as a share of what is
// planned: drying is known to 20 % (conductivity, water ratio), the core's lag
// likewise; of the hold until clear a sound chance is asked for anyway.
const (
	leastShare = 0.8
	mostShare  = 1.5
	clearLeast = 0.5
	clearMost  = 1.5
	spare      = 30 * time.Minute // on top of every most
	pourWait   = 4 * time.Hour    // at the pour temperature for somebody to come
	leastSoak  = 30 * time.Minute // at the top, however little there is to burn
	withinK    = 15               // core to setpoint before the pour
	soakK      = 25               // core to setpoint at the end of the top hold
	leastRampK = 40               // a shorter ramp is not worth a sentence
)

// drying is the part of a draft up to dry, burning from there to clear, cooling
// the rest.
func (d *draft) drying() []profile.Step {
	return []profile.Step{heat(d.hold, d.toHold), {Kind: profile.Hold, Until: profile.UntilDry}}
}

func (d *draft) burning(clear float64, air bool) []profile.Step {
	var out []profile.Step
	if air {
		out = append(out, profile.Step{Kind: profile.Air, On: true})
	}
	out = append(out, d.ramps()...)
	if d.soaked {
		return append(out, profile.Step{Kind: profile.Hold, Until: profile.UntilCore, WithinC: withinK})
	}
	return append(out, profile.Step{Kind: profile.Hold, Until: profile.UntilClear, Clear: clear})
}

// ramps are those from the steam hold to the top; neighbours of one rate become
// one.
func (d *draft) ramps() []profile.Step {
	var out []profile.Step
	fromC := d.hold
	for _, r := range []struct{ to, rate float64 }{{d.break1, d.slow}, {d.break2, d.mid}, {d.top, d.last}} {
		if r.to < d.top && (r.to < fromC+leastRampK || r.to > d.top-leastRampK) || r.to <= fromC {
			continue
		}
		fromC = r.to
		if n := len(out); n > 0 && out[n-1].RateCPerH == r.rate {
			out[n-1].TargetC = r.to
			continue
		}
		out = append(out, heat(r.to, r.rate))
	}
	return out
}

func (d *draft) cooling(pourC float64, air bool) []profile.Step {
	var out []profile.Step
	if air {
		out = append(out, profile.Step{Kind: profile.Air})
	}
	if pourC == 0 || d.soaked {
		return out
	}
	switch {
	case pourC >= d.top:
	case d.break3 > d.top-leastRampK || d.break3 < pourC+leastRampK || d.fall == d.cool:
		out = append(out, cool(pourC, min(d.fall, d.cool)))
	default:
		out = append(out, cool(d.break3, d.fall), cool(pourC, d.cool))
	}
	return append(out, profile.Step{Kind: profile.Hold, Until: profile.UntilCore, WithinC: withinK})
}

func heat(toC, rate float64) profile.Step {
	return profile.Step{Kind: profile.Heat, TargetC: toC, Pace: profile.ByRate, RateCPerH: rate}
}

func cool(toC, rate float64) profile.Step {
	return profile.Step{Kind: profile.Cool, TargetC: toC, Pace: profile.ByRate, RateCPerH: rate}
}

// grid is what a person would write: round rates and temperatures in their
// unit.
type grid struct{ fahrenheit bool }

// rate rounds a rate in °C/h down to 5 an hour below 200, to 10 above, in the
// unit shown.
func (g grid) rate(r float64) float64 {
	shown := r
	if g.fahrenheit {
		shown = r * 9 / 5
	}
	step := 5.0
	if shown >= 200 {
		step = 10
	}
	const slip = 1e-6
	shown = max(step, math.Floor(shown/step+slip)*step)
	if g.fahrenheit {
		return onGrid(shown * 5 / 9)
	}
	return shown
}

// temp rounds a temperature in °C down to 5 in the unit shown.
func (g grid) temp(c float64) float64 {
	const step, slip = 5, 1e-6
	if g.fahrenheit {
		return onGrid((math.Floor((c*9/5+32)/step+slip)*step - 32) * 5 / 9)
	}
	return math.Floor(c/step+slip) * step
}

// onGrid is the millionth of a degree that profiles are kept to.
func onGrid(x float64) float64 { return math.Round(x*1e6) / 1e6 }

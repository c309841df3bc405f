package plan

import (
	"fmt"
	"slices"
	"time"

	"calx/sim/kiln"
	"calx/sim/mould"
)

// judge adds what the plan comes to: energy, pour window, what binds, notes.
func (k *maker) judge(p *Plan, w *walk) {
	p.EnergyKWh, p.PeakDuty = k.energy(w)
	p.Cost = p.EnergyKWh * k.in.PricePerKWh
	if k.in.PourC > 0 {
		p.Window = k.window(w)
	}
	p.Binding = binding(p)
	k.notes(p, w)
}

// Controller of the energy run: its figures hardly move the energy.
const (
	energyStepS  = 10.0
	dutyPerK     = 1.0 / 40
	resetS       = 900.0
	peakS        = 600.0
	evaporationJ = 2.257e6 // per kg of water at 100 °C, steam tables
)

// energy drives the kiln's own model along a walk, the water boiling in it, and
// returns kWh and the most duty over 10 min. The load is that of the kiln file.
func (k *maker) energy(w *walk) (kWh, peak float64) {
	oven := kiln.New(k.in.Kiln, k.in.AmbientC)
	chamber := w.chamber()
	sum, at, recent := 0.0, 0, 0.0
	for tS := 0.0; tS < w.totalS(); tS += energyStepS {
		for at < len(w.samples)-2 && w.samples[at+1].Since.Seconds() <= tS {
			at++
		}
		a, b := &w.samples[at], &w.samples[min(at+1, len(w.samples)-1)]
		steamKgS := 0.0
		if gap := (b.Since - a.Since).Seconds(); gap > 0 {
			steamKgS = max(0, a.WaterKg-b.WaterKg) / gap
		}
		setC, air := chamber(tS)
		miss := setC - oven.JunctionC()
		duty := miss*dutyPerK + sum
		if duty > 0 && duty < 1 {
			sum += miss * dutyPerK * energyStepS / resetS
		}
		duty = max(0, min(duty, 1))
		recent += (duty - recent) * energyStepS / peakS
		peak = max(peak, recent)
		oven.Step(energyStepS, kiln.Input{On: duty, MainsRatio: 1, AirOn: air, AmbientC: k.in.AmbientC, LoadHeatW: -steamKgS * evaporationJ})
	}
	const joulesPerKWh = 3.6e6
	return oven.EnergyJ() / joulesPerKWh, peak
}

// window is the shortest pour window of all moulds.
func (k *maker) window(w *walk) mould.Window {
	const horizonS = 2 * 3600
	out := mould.Window{CoreS: horizonS, SurfaceS: horizonS, PatternS: horizonS}
	for i := range w.end.Flasks {
		v := k.fine.PourWindow(&w.end, i, k.in.AmbientC, k.in.LeastC, horizonS)
		out.CoreS, out.SurfaceS, out.PatternS = min(out.CoreS, v.CoreS), min(out.SurfaceS, v.SurfaceS), min(out.PatternS, v.PatternS)
	}
	return out
}

// bound lists the limits of a plan with the time each takes, the longest first.
func bound(p *Plan) (list []Limit, takes map[Limit]time.Duration) {
	takes = map[Limit]time.Duration{}
	for _, r := range p.Reasons {
		if r.Limit == ByNothing {
			continue
		}
		if _, seen := takes[r.Limit]; !seen {
			list = append(list, r.Limit)
		}
		takes[r.Limit] += r.To - r.From
	}
	slices.SortStableFunc(list, func(a, b Limit) int { return int(takes[b] - takes[a]) })
	return list, takes
}

// binding names what takes the most time, and what comes next.
func binding(p *Plan) string {
	list, takes := bound(p)
	if len(list) == 0 {
		return ""
	}
	out := fmt.Sprintf("%s (%s of %s)", list[0], took(takes[list[0]]), took(p.Total))
	if len(list) > 1 {
		out += fmt.Sprintf(", then %s (%s)", list[1], took(takes[list[1]]))
	}
	return out
}

// notes says what the reader must know besides.
func (k *maker) notes(p *Plan, w *walk) {
	u := words{k.in.Fahrenheit}
	say := func(format string, args ...any) { p.Notes = append(p.Notes, fmt.Sprintf(format, args...)) }
	for _, m := range k.in.Moulds {
		for _, n := range m.Notes() {
			say("%s: %s", m.Name, n)
		}
	}
	r := k.fine.Read(&w.end)
	var warned mould.Warnings
	for i := range r.Flasks {
		warned |= r.Flasks[i].Warnings
	}
	if k.soaked {
		warned &^= mould.Warnings(mould.AshStays)
	}
	for _, v := range warned.List() {
		say("%s", v.Text())
	}
	const full = 0.98
	if p.PeakDuty > full {
		say("the kiln needs full power for a while; on low mains or with old elements it will lag and the plan take longer")
	}
	if k.in.PourC > 0 && k.in.PourC < cristobalHighC+leastRampK {
		say("the pour temperature of %s lies in the cristobalite inversion (%s): the wall moves as it cools there", u.temp(k.in.PourC), u.span(cristobalLowC, cristobalHighC))
	}
	if k.in.PourC == 0 {
		say("no pour temperature was given: the profile ends at the top, clear; keep the mould above %s or cool it slowly", u.temp(cristobalHighC))
	}
	if k.soaked {
		say("a mould wetted a second time is weaker: half the steam is allowed, and the hold is at %s (common practice)", u.temp(k.lim.SteamHoldC))
		say("it is taken as soaked through; draining and a day of warm air make the hold shorter, and the profile finds that out by itself")
	}
	if n := k.fills(); n > crowdedShare {
		say("the flasks take about %s of the room on the shelves (an estimate from their diameters): air passes between them poorly", percent(n))
	}
	say("the holds end on the model run beside the kiln; without a mould file in the firing they cannot end before their most")
	say("calx is not the safety device: an independent limit controller and somebody in the house are")
}

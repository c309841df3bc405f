package plan

import (
	"math"

	"calx/sim/mould"
)

// marcher raises the chamber by the most after which it could still stop.
type marcher struct {
	k *maker
	m *mould.Model
	s mould.State
	// The way so far: time and chamber.
	way []marched
}

type marched struct{ tS, chamberC float64 }

const (
	marchS     = 600.0   // a step of the march
	lookaheadS = 10800.0 // how long after a stop a limit may still be passed
	trials     = 5       // halvings of the rate
	leastMarch = 2.0     // °C/h; less is a hold
)

// march goes from the start to ready, as no sentence could, and returns its
// way. It stops being a march where a hold waits for the core or for clear.
func (k *maker) march(m *mould.Model) *marcher {
	w := &marcher{k: k, m: m, s: k.begin(m)}
	w.way = []marched{{w.s.TimeS, w.s.ChamberC}}
	top := k.d.top
	w.on(func() (float64, bool) {
		r := m.Read(&w.s)
		if !dry(&r) {
			return k.d.hold, true
		}
		return top, !(w.s.ChamberC >= top && k.done(&r))
	})
	k.marchedTopS = w.s.TimeS
	if k.in.PourC > 0 && !k.soaked {
		w.on(func() (float64, bool) {
			r := m.Read(&w.s)
			return k.in.PourC, coreLag(&r) > withinK || w.s.ChamberC > k.in.PourC
		})
	}
	k.marchedS = w.s.TimeS
	return w
}

// done tells whether the top hold may end.
func (k *maker) done(r *mould.Reading) bool {
	if k.soaked {
		return coreLag(r) <= withinK
	}
	return clear(r) && coreLag(r) <= soakK
}

// on marches towards the goal for as long as there is one.
func (w *marcher) on(goal func() (toC float64, more bool)) {
	const most = longestHoldS / marchS
	for range int(most) {
		toC, more := goal()
		if !more {
			return
		}
		w.step(toC)
	}
}

// step goes as far towards toC as is safe.
func (w *marcher) step(toC float64) {
	fromC := w.s.ChamberC
	gap := toC - fromC
	rate := w.k.fastest(fromC, fromC+math.Copysign(math.Min(math.Abs(gap), 10), gap))
	if gap == 0 {
		rate = 0
	}
	low, high := 0.0, math.Min(rate, math.Abs(gap)/marchS*3600)
	at := high
	for range trials {
		if high < leastMarch {
			break
		}
		next, ok := w.try(fromC + math.Copysign(at*marchS/3600, gap))
		if ok {
			low = at
			if at == high {
				w.take(next)
				return
			}
		} else {
			high = at
		}
		at = (low + high) / 2
	}
	next, _ := w.try(fromC + math.Copysign(low*marchS/3600, gap))
	w.take(next)
}

func (w *marcher) take(next mould.State) {
	w.s = next
	w.way = append(w.way, marched{next.TimeS, next.ChamberC})
}

// try moves the chamber to toC in one step and tells whether no limit is passed,
// or passed any further, when it then stops there.
func (w *marcher) try(toC float64) (next mould.State, safe bool) {
	l := leg{fromS: w.s.TimeS, fromC: w.s.ChamberC, toC: toC}
	never := func(float64, *mould.Reading) bool { return true }
	next = w.m.Forecast(w.s, line(l, marchS, w.k.in.AirOn), marchS, marchS, never)
	if toC == l.fromC {
		return next, true
	}
	held := w.m.Forecast(next, line(l, marchS, w.k.in.AirOn), lookaheadS, lookaheadS, never)
	return next, w.k.over(&held) <= w.k.over(&w.s)
}

// passes is when the march first was at or beyond c on its way up, s.
func (w *marcher) passes(c float64) float64 {
	for _, p := range w.way {
		if p.chamberC >= c-1e-6 {
			return p.tS
		}
	}
	return w.way[len(w.way)-1].tS
}

// leaves is when the march was last at or below c on its way up, s.
func (w *marcher) leaves(c float64) float64 {
	last := 0.0
	for i, p := range w.way {
		if p.chamberC > c+1e-6 {
			break
		}
		last = w.way[i].tS
	}
	return last
}

// fit turns a march into the draft that the search starts from.
func (k *maker) fit(w *marcher) {
	d := &k.d
	between := func(fromC, toC float64) float64 {
		const shortest = marchS
		return k.grid.rate((toC - fromC) / max(shortest, w.passes(toC)-w.leaves(fromC)) * 3600)
	}
	d.slow, d.mid, d.last = between(d.hold, d.break1), between(d.break1, d.break2), between(d.break2, d.top)
}

// guess is the draft before any search.
func (k *maker) guess() {
	top := k.grid.temp(k.lim.CeilingC - k.lim.OvershootC)
	if k.soaked {
		top = k.in.PourC
	}
	hold := k.grid.temp(min(k.lim.SteamHoldC, top))
	k.d = draft{
		soaked: k.soaked, hold: hold, toHold: k.grid.rate(k.fastest(k.in.AmbientC, hold)),
		slow: k.grid.rate(50), break1: k.grid.temp(min(300, top)), mid: k.grid.rate(100), break2: k.grid.temp(min(520, top)), last: k.grid.rate(50),
		top: top, fall: k.grid.rate(60), break3: k.grid.temp(600), cool: k.grid.rate(60),
	}
}

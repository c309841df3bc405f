package plan

import (
	"calx/sim/mould"
)

// search finds the draft, part by part: each part starts in the state that the
// one before left, so that one run covers one part only.
func (k *maker) search(m *mould.Model) {
	d := &k.d
	start := k.begin(m)
	var dried, burnt *walk
	best := func(knobs []knob, rest func() *walk) *walk {
		seen := map[draft]float64{}
		descend(knobs, func() float64 {
			v, known := seen[*d]
			if !known {
				v = k.score(rest())
				seen[*d] = v
			}
			return v
		})
		return rest()
	}
	dried = best(k.dryingKnobs(), func() *walk {
		return k.walker(m, start).run(d.drying())
	})
	burn := func() *walk { return k.walker(m, dried.end).run(d.burning(k.in.Clear, k.in.AirOn)) }
	burnt = k.better(burn, func() *walk { return best(k.burningKnobs(), burn) })
	k.fittedS = burnt.totalS()
	if k.in.PourC > 0 && !k.soaked {
		cooled := best(k.coolingKnobs(), func() *walk {
			return k.walker(m, burnt.end).run(d.cooling(k.in.PourC, k.in.AirOn))
		})
		k.fittedS = cooled.totalS()
	}
}

// near is how much longer than the march a draft may be without a second
// search.
const near = 1.02

// better searches from the fit of the march. If that ends far from the march it
// searches again from one rate throughout that keeps the limits, and keeps the
// better draft: turning one knob at a time does not find out of every corner.
func (k *maker) better(run, search func() *walk) *walk {
	d := &k.d
	uniform := *d
	first := search()
	if k.excess(first) == 0 && first.totalS() < near*k.marchedTopS {
		return first
	}
	found := *d
	*d = uniform
	const slower = 0.8
	r := k.fastest(d.hold, d.top)
	for ; r > leastMarch; r *= slower {
		d.slow, d.mid, d.last = k.grid.rate(r), k.grid.rate(r), k.grid.rate(r)
		if k.excess(run()) == 0 {
			break
		}
	}
	second := search()
	if k.score(first) <= k.score(second) {
		*d = found
		return first
	}
	return second
}

// knob is one figure the search may turn.
type knob struct {
	at    *float64
	tries func(v float64) []float64
}

// descend turns one knob at a time to the best of its tries, again and again
// until none helps.
func descend(knobs []knob, score func() float64) {
	const turns = 8
	least := score()
	for range turns {
		before := least
		for _, n := range knobs {
			for _, v := range n.tries(*n.at) {
				was := *n.at
				if v == was {
					continue
				}
				*n.at = v
				if s := score(); s < least-worthS {
					least = s
				} else {
					*n.at = was
				}
			}
		}
		if before-least < worthS {
			return
		}
	}
}

const worthS = 30 // less is not worth another figure

// rateKnob tries faster and slower, as long as the kiln can.
func (k *maker) rateKnob(at *float64, most func() float64) knob {
	return knob{at, func(v float64) []float64 {
		var out []float64
		for _, f := range []float64{1.6, 1.25, 1.12, 1.06, 0.95, 0.88, 0.75} {
			out = append(out, k.grid.rate(max(1, min(v*f, most()))))
		}
		return out
	}}
}

func (k *maker) tempKnob(at *float64, low, high func() float64) knob {
	return knob{at, func(v float64) []float64 {
		var out []float64
		for _, add := range []float64{60, 25, 10, -10, -25, -60} {
			out = append(out, k.grid.temp(max(low(), min(v+add, high()))))
		}
		return out
	}}
}

// tempsOf tries temperatures from low to high; none if there is no choice.
func (k *maker) tempsOf(low, high float64) func(float64) []float64 {
	if low >= high {
		return func(float64) []float64 { return nil }
	}
	return k.tempKnob(nil, fixed(low), fixed(high)).tries
}

func fixed(v float64) func() float64 { return func() float64 { return v } }

func (k *maker) dryingKnobs() []knob {
	d := &k.d

	return []knob{
		k.rateKnob(&d.toHold, func() float64 { return k.fastest(k.in.AmbientC, d.hold) }),
		k.tempKnob(&d.hold, fixed(leastHoldC), fixed(k.lim.SteamHoldC)),
	}
}

func (k *maker) burningKnobs() []knob {
	d := &k.d
	leastTop, mostTop := k.lim.LeastTopC, k.lim.CeilingC-k.lim.OvershootC
	if k.soaked {
		leastTop, mostTop = d.top, d.top
	}
	return []knob{
		k.rateKnob(&d.slow, func() float64 { return k.fastest(d.hold, d.break1) }),
		k.rateKnob(&d.last, func() float64 { return k.fastest(d.break2, d.top) }),
		k.rateKnob(&d.mid, func() float64 { return k.fastest(d.break1, d.break2) }),
		k.tempKnob(&d.break1, func() float64 { return d.hold }, func() float64 { return d.break2 }),
		k.tempKnob(&d.break2, func() float64 { return d.break1 }, func() float64 { return d.top }),
		{&d.top, k.tempsOf(leastTop, mostTop)},
	}
}

func (k *maker) coolingKnobs() []knob {
	d := &k.d
	return []knob{
		k.rateKnob(&d.cool, func() float64 { return k.fastest(min(d.break3, d.top), k.in.PourC) }),
		k.rateKnob(&d.fall, func() float64 { return k.fastest(d.top, max(d.break3, k.in.PourC)) }),
		k.tempKnob(&d.break3, fixed(k.in.PourC), fixed(d.top)),
	}
}

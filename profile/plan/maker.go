package plan

import (
	"math"

	"calx/sim/kiln"
	"calx/sim/mould"
)

// Grids of the model: coarse to search on, as shipped to verify.
var (
	searchGrid = mould.Grid{Rings: 8, Layers: 12}
	verifyGrid = mould.DefaultGrid
)

// maker is a plan in the making.
type maker struct {
	in       Input
	lim      Limits
	can      kiln.Envelope
	grid     grid
	coarse   *mould.Model // with the figures of the searched quantile
	fine     *mould.Model
	soaked   bool // moulds that have been washed out
	d        draft
	marchedS float64
	slowest  map[int]Limit // what bound a band of the march
}

// airOf is the air around the moulds, as the kiln file has it.
func airOf(k kiln.Params, roomC float64) mould.KilnAir {
	perH := func(hz float64) float64 { return hz * 3600 }
	return mould.KilnAir{
		VolumeM3: k.Chamber.VolumeM3(), ChangesPerH: perH(float64(k.Air.Leakage)),
		ChangesOnPerH: perH(float64(k.Air.Leakage + k.Air.Vent)), RoomC: roomC,
	}
}

func newMaker(in Input) (*maker, error) {
	in = in.orDefault()
	k := &maker{in: in, lim: in.Limits, can: in.Kiln.Envelope(in.AmbientC), grid: grid{in.Fahrenheit}}
	if err := k.check(); err != nil {
		return nil, err
	}
	var err error
	air := airOf(in.Kiln, in.AmbientC)
	if k.coarse, err = mould.New(in.Moulds, mould.Env{Air: air, Grid: searchGrid}); err != nil {
		return nil, err
	}
	k.fine, err = mould.New(in.Moulds, mould.Env{Air: air, Grid: verifyGrid})
	return k, err
}

func (k *maker) begin(m *mould.Model) mould.State {
	if k.soaked {
		return m.StartSoaked(k.in.AmbientC, 1)
	}
	return m.Start(k.in.AmbientC)
}

func (k *maker) walker(m *mould.Model, from mould.State) *walker {
	return &walker{m: m, start: from, everyS: readEveryS, soakC: soakK}
}

// power is the fastest rate between two temperatures that leaves the margin of
// the kiln's power, or of its cooling on the way down, °C/h.
func (k *maker) power(fromC, toC float64) float64 {
	const stepC = 10
	rate, most := k.can.FullPowerRate, math.Inf(1)
	if toC < fromC {
		rate = k.can.CoolRate
	}
	low, high := min(fromC, toC), max(fromC, toC)
	for c := low; ; c += stepC {
		most = min(most, rate(min(c, high)))
		if c >= high {
			return most * (1 - k.lim.PowerMargin)
		}
	}
}

// excess is by how much the limits are passed, as a share; 0 if all are kept.
func (k *maker) excess(w *walk) float64 {
	sum := 0.0
	keep := 1 - k.lim.Margin
	for i := range w.end.Flasks {
		f := &w.end.Flasks[i]
		for _, v := range []struct{ got, limit float64 }{
			{f.MostSteam, k.lim.SteamIndex}, {f.MostCristobalK, k.lim.CristobaliteK}, {f.MostQuartzK, k.lim.QuartzK},
		} {
			sum += max(0, v.got/(v.limit*keep)-1)
		}
	}
	if w.never >= 0 {
		sum += 1e3
	}
	return sum
}

// score is what the search makes small: first the excess, then the time.
func (k *maker) score(w *walk) float64 {
	if e := k.excess(w); e > 0 {
		const penaltyS = 1e7
		return penaltyS * (1 + e)
	}
	return w.totalS()
}

// search finds the draft, part by part: each part starts in the state that the
// one before left, so that one run covers one part only.
func (k *maker) search(m *mould.Model) {
	d := &k.d
	start := k.begin(m)
	var dried, burnt *walk
	best := func(knobs []knob, rest func() *walk) *walk {
		return descend(knobs, func() (float64, *walk) { w := rest(); return k.score(w), w })
	}
	dried = best(k.dryingKnobs(), func() *walk {
		d.toHold = min(d.toHold, k.power(start.ChamberC, d.hold))
		return k.walker(m, start).run(d.drying())
	})
	burnt = best(k.burningKnobs(), func() *walk {
		return k.walker(m, dried.end).run(d.burning(k.in.Clear, k.in.AirOn))
	})
	if k.in.PourC > 0 {
		best(k.coolingKnobs(), func() *walk {
			return k.walker(m, burnt.end).run(d.cooling(k.in.PourC, k.in.AirOn))
		})
	}
}

// guess is the draft before any search.
func (k *maker) guess() {
	top := k.grid.temp(k.lim.CeilingC - k.lim.OvershootC)
	hold := k.grid.temp(min(k.lim.SteamHoldC, top))
	k.d = draft{
		hold: hold, toHold: k.grid.rate(k.power(k.in.AmbientC, hold)),
		slow: k.grid.rate(50), break1: k.grid.temp(300), mid: k.grid.rate(100), break2: k.grid.temp(520), last: k.grid.rate(50),
		top: top, fall: k.grid.rate(60), break3: k.grid.temp(600), cool: k.grid.rate(60),
	}
}

// knob is one figure the search may turn.
type knob struct {
	at    *float64
	tries func(v float64) []float64
}

// descend turns one knob at a time to the best of its tries, again and again
// until none helps.
func descend(knobs []knob, run func() (float64, *walk)) *walk {
	const turns = 8
	least, best := run()
	for range turns {
		before := least
		for _, n := range knobs {
			keep := *n.at
			for _, v := range n.tries(keep) {
				if v == keep {
					continue
				}
				was := *n.at
				*n.at = v
				if s, w := run(); s < least-worthS {
					least, best = s, w
				} else {
					*n.at = was
				}
			}
		}
		if before-least < worthS {
			break
		}
	}
	return best
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

func fixed(v float64) func() float64 { return func() float64 { return v } }

func (k *maker) dryingKnobs() []knob {
	d := &k.d
	const least = 110 // below it gypsum keeps its water and drying takes days
	return []knob{
		k.rateKnob(&d.toHold, func() float64 { return k.power(k.in.AmbientC, d.hold) }),
		k.tempKnob(&d.hold, fixed(least), fixed(k.lim.SteamHoldC)),
	}
}

func (k *maker) burningKnobs() []knob {
	d := &k.d
	return []knob{
		k.rateKnob(&d.slow, func() float64 { return k.power(d.hold, d.break1) }),
		k.rateKnob(&d.last, func() float64 { return k.power(d.break2, d.top) }),
		k.rateKnob(&d.mid, func() float64 { return k.power(d.break1, d.break2) }),
		k.tempKnob(&d.break1, func() float64 { return d.hold }, func() float64 { return d.break2 }),
		k.tempKnob(&d.break2, func() float64 { return d.break1 }, func() float64 { return d.top }),
		k.tempKnob(&d.top, fixed(k.lim.LeastTopC), fixed(k.lim.CeilingC-k.lim.OvershootC)),
	}
}

func (k *maker) coolingKnobs() []knob {
	d := &k.d
	return []knob{
		k.rateKnob(&d.cool, func() float64 { return k.power(min(d.break3, d.top), k.in.PourC) }),
		k.rateKnob(&d.fall, func() float64 { return k.power(d.top, max(d.break3, k.in.PourC)) }),
		k.tempKnob(&d.break3, fixed(k.in.PourC), fixed(d.top)),
	}
}

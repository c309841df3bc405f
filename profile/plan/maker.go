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
	in     Input
	lim    Limits
	can    kiln.Envelope
	grid   grid
	coarse *mould.Model // with the figures of the searched quantile
	fine   *mould.Model
	soaked bool // moulds that have been washed out
	d      draft

	// How long the march took, until the top hold ended and in all, and the
	// fitted draft in all, s.
	marchedTopS, marchedS, fittedS float64

	walked *walk // the plan's own, on the full grid
}

// airOf is the air around the moulds, as the kiln file has it.
func airOf(k kiln.Params, roomC float64) mould.KilnAir {
	perH := func(hz float64) float64 { return hz * 3600 }
	return mould.KilnAir{
		VolumeM3: k.Chamber.VolumeM3(), ChangesPerH: perH(float64(k.Air.Leakage)),
		ChangesOnPerH: perH(float64(k.Air.Leakage + k.Air.Vent)), RoomC: roomC,
	}
}

func newMaker(in Input, soaked bool) (*maker, error) {
	in = in.orDefault()
	if soaked {
		in.Limits = in.Limits.weakened()
	}
	k := &maker{in: in, lim: in.Limits, can: in.Kiln.Envelope(in.AmbientC), grid: grid{in.Fahrenheit}, soaked: soaked}
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

// fastest is the fastest ramp between two temperatures, °C/h: it leaves the
// margin of the kiln's power, or of its cooling on the way down.
func (k *maker) fastest(fromC, toC float64) float64 {
	const stepC = 10
	rate, most := k.can.FullPowerRate, math.Inf(1)
	if toC < fromC {
		rate = k.can.CoolRate
	}
	low, high := min(fromC, toC), max(fromC, toC)
	for c := low; ; c += stepC {
		most = min(most, rate(min(c, high)))
		if c >= high {
			return min(most*(1-k.lim.PowerMargin), k.lim.MostCPerH)
		}
	}
}

// excess is over, for a whole walk.
func (k *maker) excess(w *walk) float64 {
	sum := k.over(&w.end)
	for _, l := range w.legs {
		sum += k.outruns(l)
	}
	if w.never >= 0 {
		sum += 1e3
	}
	return sum
}

// outruns is by how much a ramp is faster than the kiln may be asked for, as a
// share.
func (k *maker) outruns(l leg) float64 {
	if l.toC == l.fromC || l.toS <= l.fromS {
		return 0
	}
	const slip = 1e-6
	rate := math.Abs(l.toC-l.fromC) / (l.toS - l.fromS) * 3600
	can := max(k.fastest(l.fromC, l.toC), k.grid.rate(0))
	return max(0, rate/can-1-slip)
}

// over is by how much the limits have been passed, as a share; 0 if all are
// kept with their margin.
func (k *maker) over(s *mould.State) float64 {
	sum := 0.0
	keep := 1 - k.lim.Margin
	for i := range s.Flasks {
		f := &s.Flasks[i]
		for _, v := range []struct{ got, limit float64 }{
			{f.MostSteam, k.lim.SteamIndex}, {f.MostCristobalK, k.lim.CristobaliteK}, {f.MostQuartzK, k.lim.QuartzK},
		} {
			sum += max(0, v.got/(v.limit*keep)-1)
		}
	}
	return sum
}

// score is what the search makes small: first the excess, then the time.
func (k *maker) score(w *walk) float64 {
	if e := k.excess(w); e > 0 {
		const penaltyS = 1e7
		return penaltyS * (1 + e)
	}
	return w.totalS() + sentenceS*float64(len(w.legs))
}

// sentenceS is what one more sentence must save, s: a person has to read it.
const sentenceS = 360

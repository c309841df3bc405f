package plan

import (
	"fmt"
	"math"
	"strconv"

	"calx/sim/mould"
)

// check refuses what cannot be planned, the first problem found.
func (k *maker) check() error {
	for _, f := range []func() error{k.checkNumbers, k.checkMoulds, k.checkHeat, k.checkPour, k.checkRoom, k.checkBeliefs} {
		if err := f(); err != nil {
			return err
		}
	}
	return nil
}

func (k *maker) checkNumbers() error {
	in, l, u := k.in, k.lim, words{k.in.Fahrenheit}
	plain := func(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
	for _, f := range []struct {
		field        string
		v, low, high float64
		write        func(float64) string
	}{
		{"room temperature", in.AmbientC, -30, 60, u.temp},
		{"clear", in.Clear, 0.01, 0.999, percent},
		{"samples", float64(in.Samples), 20, 5000, plain},
		{"price per kWh", in.PricePerKWh, 0, 1e6, plain},
		{"limits: steam index", l.SteamIndex, 0.001, 1, index},
		{"limits: steam hold", l.SteamHoldC, leastHoldC, 400, u.temp},
		{"limits: difference in the cristobalite inversion", l.CristobaliteK, 10, 1000, u.diff},
		{"limits: difference in the quartz inversion", l.QuartzK, 10, 1000, u.diff},
		{"limits: overshoot", l.OvershootC, 0, 100, u.diff},
		{"limits: fastest ramp", l.MostCPerH, 10, 2000, u.rate},
		{"limits: margin", l.Margin, 0, 0.9, percent},
		{"limits: power margin", l.PowerMargin, 0, 0.9, percent},
	} {
		if !(f.v >= f.low && f.v <= f.high) {
			return refuse(f.field, f.write(f.v), "is outside %s to %s", f.write(f.low), f.write(f.high))
		}
	}
	if in.AirOn && in.Kiln.Air.Vent == 0 {
		return refuse("air", "on", "kiln %s has no fresh-air relay: its file gives no air.vent", in.Kiln.Name)
	}
	return nil
}

func (k *maker) checkMoulds() error {
	if len(k.in.Moulds) == 0 {
		return refuse("moulds", "", "there is none; a plan needs at least one mould file")
	}
	for _, p := range k.in.Moulds {
		if problems := p.Check(); len(problems) > 0 {
			return refuse("mould "+p.Name+": "+problems[0].Path, "", "%s", problems[0].Text)
		}
	}
	return nil
}

// leastRise is how fast the kiln must still rise at the top, °C/h.
const leastRise = 10

// checkHeat refuses a ceiling that the chemistry or the kiln cannot do with.
func (k *maker) checkHeat() error {
	l, u := k.lim, words{k.in.Fahrenheit}
	ceiling := u.temp(l.CeilingC)
	if !(l.CeilingC > 0) {
		return refuse("ceiling", ceiling, "is no ceiling; 730 C is usual")
	}
	top := k.grid.temp(l.CeilingC - l.OvershootC)
	for _, p := range k.in.Moulds {
		if err := p.CheckCeiling(top); err != nil && !k.soaked {
			return refuse("ceiling", ceiling, "mould %s, with %s kept for overshoot: %v", p.Name, u.diff(l.OvershootC), err)
		}
	}
	if maxC := k.in.Kiln.MaxC(); l.CeilingC > maxC {
		return refuse("ceiling", ceiling, "the maker of kiln %s allows %s; lower the ceiling to that", k.in.Kiln.Name, u.temp(maxC))
	}
	if k.fastest(top-1, top) < leastRise {
		return &Refusal{Field: "kiln " + k.in.Kiln.Name, Limit: ByPower, Want: fmt.Sprintf(
			"at %s it still rises by %s on full power, and %s of that is kept back; a stronger kiln, new elements or a lower ceiling would do", u.temp(top), u.rate(k.can.FullPowerRate(top)), percent(l.PowerMargin))}
	}
	return nil
}

const (
	leastHoldC = 110 // below it gypsum keeps its water and drying takes days
	leastPourC = 120 // below it a mould may hold water (common practice)
)

func (k *maker) checkPour() error {
	in, u := k.in, words{k.in.Fahrenheit}
	if k.soaked && in.PourC == 0 {
		return refuse("pour temperature", "", "a washed-out mould is heated again to be poured; give the temperature, for example %s", u.temp(540))
	}
	if in.PourC == 0 {
		return nil
	}
	top := k.grid.temp(k.lim.CeilingC - k.lim.OvershootC)
	switch {
	case !(in.PourC >= leastPourC):
		return refuse("pour temperature", u.temp(in.PourC), "a mould below %s may hold water, which throws metal; give %s or more", u.temp(leastPourC), u.temp(leastPourC))
	case in.PourC > top:
		return refuse("pour temperature", u.temp(in.PourC), "is above the ceiling of %s less %s for overshoot; give at most %s", u.temp(k.lim.CeilingC), u.diff(k.lim.OvershootC), u.temp(top))
	case !(in.LeastC < in.PourC):
		return refuse("least temperature at the pour", u.temp(in.LeastC), "is not below the pour temperature of %s", u.temp(in.PourC))
	}
	return nil
}

// Room that a flask needs, m (common practice, no source).
const (
	aroundM = 0.010 // of air on each side
	aboveM  = 0.020 // over the mouth
)

// outsideM is the outer diameter of a flask.
func outsideM(p mould.Params) float64 {
	d := float64(p.Flask.Diameter)
	if p.Flask.Sleeve == mould.SleeveNone {
		return d
	}
	const usualWallM = 0.002
	wall := float64(p.Flask.Wall)
	if wall == 0 {
		wall = usualWallM
	}
	return d + 2*wall
}

// places is how many flasks like p the chamber takes, in rows on as many
// shelves as fit.
func (k *maker) places(p mould.Params) int {
	c := k.in.Kiln.Chamber
	cell := outsideM(p) + aroundM
	rows := func(m float64) int { return int(math.Floor((m-aroundM)/cell + 1e-9)) }
	levels := int(math.Floor(float64(c.Height)/(float64(p.Flask.Height)+aboveM) + 1e-9))
	return rows(float64(c.Width)) * rows(float64(c.Depth)) * levels
}

// fills is the share of the places that the flasks take, an estimate.
func (k *maker) fills() float64 {
	sum := 0.0
	for _, p := range k.in.Moulds {
		sum += float64(max(1, p.Count)) / float64(max(1, k.places(p)))
	}
	return sum
}

const crowdedShare = 0.75

// checkRoom refuses flasks that the kiln does not hold.
func (k *maker) checkRoom() error {
	c := k.in.Kiln.Chamber
	mm := func(m float64) string { return whole(m*1000) + " mm" }
	for _, p := range k.in.Moulds {
		across := math.Min(float64(c.Width), float64(c.Depth)) - 2*aroundM
		if d := outsideM(p); d > across {
			return refuse("mould "+p.Name+": flask.diameter", p.Flask.Diameter.String(), "with its sleeve it is %s across; kiln %s takes %s, with %s of air on each side", mm(d), k.in.Kiln.Name, mm(across), mm(aroundM))
		}
		if h := float64(c.Height) - aboveM; float64(p.Flask.Height) > h {
			return refuse("mould "+p.Name+": flask.height", p.Flask.Height.String(), "kiln %s takes %s, with %s of air above", k.in.Kiln.Name, mm(h), mm(aboveM))
		}
	}
	if n := k.fills(); n > 1 {
		one := k.in.Moulds[0]
		return refuse("moulds", "", "they need about %s of the room in kiln %s (an estimate: it takes %d like %s); fire some another time", percent(n), k.in.Kiln.Name, k.places(one), one.Name)
	}
	return nil
}

func (k *maker) checkBeliefs() error {
	for i, b := range k.in.Beliefs {
		at := fmt.Sprintf("belief %d", i+1)
		if b.Mould < 0 || b.Mould >= len(k.in.Moulds) || b.Pattern < 0 || b.Pattern >= len(k.in.Moulds[b.Mould].Patterns) {
			return refuse(at, fmt.Sprintf("mould %d, pattern %d", b.Mould, b.Pattern), "there is no such pattern; both count from 0")
		}
		if !(b.MedianFactor >= 0.01 && b.MedianFactor <= 100) {
			return refuse(at+": median factor", index(b.MedianFactor), "is outside 0.01 to 100")
		}
		if !(b.SigmaLn >= 0 && b.SigmaLn <= 3) {
			return refuse(at+": sigma", index(b.SigmaLn), "is outside 0 to 3")
		}
	}
	return nil
}

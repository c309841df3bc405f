package guard

import (
	"fmt"
	"math"

	"calx/controller/notice"
)

func aboveKilnMax(l *Limits, h *History) Finding {
	if !h.Seen || h.hottestC() <= l.MaxC {
		return Finding{}
	}
	v := Withhold
	if h.AboveMaxS >= overS {
		v = Trip
	}
	return Finding{v, notice.AboveKilnMax, fmt.Sprintf("the chamber is at %s, above the kiln's maximum of %s", l.temp(h.hottestC()), l.temp(l.MaxC))}
}

func aboveCeiling(l *Limits, h *History) Finding {
	if l.CeilingC == 0 || !h.Seen || h.hottestC() <= l.CeilingC+l.MarginC {
		return Finding{}
	}
	v := Withhold
	if h.AboveCeilingS >= overS {
		v = Trip
	}
	return Finding{v, notice.AboveCeiling, fmt.Sprintf("the chamber is at %s, more than %s above the ceiling of %s",
		l.temp(h.hottestC()), l.delta(l.MarginC), l.temp(l.CeilingC))}
}

// risingWhileOff finds a relay that is welded, or shorted. After it opens, the
// heat stored in elements and skin still comes, and a pattern may burn; beyond
// that a kiln without heat does not get hotter than it was.
//
// It may still rise after having fallen, when the door is shut again and the
// walls give their heat back. That dies away; a shorted relay does not.
func risingWhileOff(l *Limits, h *History) Finding {
	const leastOffS, againS = 60, 900
	if h.OffS < leastOffS || !h.Believed() || h.explained(l) {
		return Finding{}
	}
	if !h.climbs(l, againS) && (h.UnrestS > 0 || h.HotC-h.OffFromC <= l.coastC(h) || !h.rises(l)) {
		return Finding{}
	}
	return Finding{Trip, notice.RisingWhileOff, fmt.Sprintf("heat has been off for %.0f s, yet the chamber rose to %s", h.OffS, l.temp(h.HotC))}
}

// atPower is the share of the lasting rise at full power that a shorted relay
// makes at the least.
const atPower = 0.5

// climbs reports whether the chamber, without heat, has risen as with heat for
// twice s seconds on end.
func (h *History) climbs(l *Limits, s float64) bool {
	const leastC = 5
	least := math.Max(leastC, atPower*l.lastingCPerH(h.HotC)*s/3600)
	now, ok := h.rise(s)
	both, known := h.rise(2 * s)
	return ok && known && h.OffS > 2*s && now >= least && both-now >= least
}

// coastC is the most that the chamber may rise after the heat was cut, °C: half
// as much again as the kiln stores at the recent share of full power, a margin,
// and the heat of a burning pattern, which is a fraction of full power. In a
// cold kiln the junction is so slow that a pulse arrives when it is over: 26 °C
// were seen after a minute of full power at 120 °C.
func (l *Limits) coastC(h *History) float64 {
	const half, marginC, burning, coldC, warmC, pulseC = 1.5, 8, 0.25, 20, 300, 25
	cold := math.Min(math.Max((warmC-h.OffFromC)/(warmC-coldC), 0), 1)
	return half*l.at(h.OffFromC).CoastC*h.OnBefore + marginC + cold*pulseC + burning*l.lastingCPerH(h.OffFromC)*h.OffS/3600
}

// rises reports whether the last minute went up as with heat.
func (h *History) rises(l *Limits) bool {
	c, ok := h.rise(60)
	return ok && c > 0 && c >= atPower*l.lastingCPerH(h.HotC)/60
}

// notRising finds a probe that slipped out, a broken element, a relay that
// does not close: full power, and less than a tenth of the rise that even a
// cold kiln would make.
//
// With a twin it is silent: noHeat finds what is certain much sooner, and a wet
// load, half as heavy again as the file says, or a vent takes nearly all that
// full power brings. Where that lasts, cannotReach ends the firing.
func notRising(l *Limits, h *History) Finding {
	const leastRate, part = 30, 0.1
	r := l.at(h.HotC)
	windowS := math.Max(600, 300+3*r.LagS)
	if l.Twin != nil || h.FullS < windowS || !h.Believed() || r.FullCPerH < leastRate {
		return Finding{}
	}
	rise, ok := h.rise(windowS)
	want := r.FullCPerH * windowS / 3600
	if !ok || rise >= part*want {
		return Finding{}
	}
	return Finding{Trip, notice.NotRising, fmt.Sprintf("full power for %.0f min, and the chamber moved by %s to %s; %s were to be expected",
		h.FullS/60, l.delta(rise), l.temp(h.HotC), l.delta(want))}
}

// cannotReach ends a firing that can go no further by itself: nobody is there
// to see that the kiln is at its end.
func cannotReach(l *Limits, h *History) Finding {
	const windowS, leastC = 3600, 3
	if h.FullS < windowS || !h.Believed() {
		return Finding{}
	}
	rise, ok := h.rise(windowS)
	if !ok || rise >= leastC {
		return Finding{}
	}
	return Finding{Trip, notice.CannotReach, fmt.Sprintf("full power for %.0f min, and the chamber stays at %s", h.FullS/60, l.temp(h.HotC))}
}

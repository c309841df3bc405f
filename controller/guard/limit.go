package guard

import (
	"fmt"
	"math"

	"calx/controller/notice"
)

// Limit is what the guards remember of heat that is limited: the reading cannot
// be true of the kiln in the file, and by the heat it was given the chamber may
// be above its limit. Either the probe reads too low, or mains or elements are
// weak. Nobody has to know which: heat is given only while the hotter of the two
// kilns stays below the limit, and the plan waits.
type Limit struct {
	On     bool    // no heat for now
	ForS   float64 // time since it began, s; 0 = heat is not limited
	StuckS float64 // of which the chamber gained nothing, s
	AwayS  float64 // time since there was last a reason, s
}

const (
	// hystC is how far the kiln that may be too hot has to cool before it is
	// heated again, °C: some minutes, so that no contactor chatters.
	hystC = 5
	// Below nearC under the limit, °C, or awayS after heat and reading agree
	// again, nothing is limited any more.
	nearC, awayS = 25, 900
	// limitedS is how long a firing may go on so, s, in which the chamber gains
	// less than gainC in an hour. A heavy wet load gains.
	limitedS = 4 * 3600
	gainC    = 5
)

// Limited reports whether heat is limited.
func (h *History) Limited() bool { return h.Limit.ForS > 0 }

// limit notes whether there is a reason to limit the heat.
func (h *History) limit(l *Limits, dt float64) {
	if l.Twin == nil {
		return
	}
	m, limitC := h.Limit, l.limitC()
	r := l.at(h.HotC)
	mayC := h.Twin.MayBeC() + r.CoastC*h.OnShare
	if m.AwayS += dt; h.beyondDoubt(l) {
		m.AwayS = 0
	}
	begins := m.AwayS == 0 && mayC > limitC
	if !begins && (m.ForS == 0 || m.AwayS > awayS || !(mayC > limitC-nearC)) {
		h.Limit = Limit{}
		return
	}
	m.ForS = more(m.ForS, dt)
	if gained, known := h.rise(3600); !known || gained < gainC {
		m.StuckS += dt
	}
	m.On = mayC > limitC || m.On && mayC > limitC-hystC
	h.Limit = m
}

// maybeAbove keeps the heat off while the chamber would be too hot if the probe
// lied, and ends a firing that goes on so for long.
func maybeAbove(l *Limits, h *History) Finding {
	if !h.Limited() || !h.Believed() {
		return Finding{}
	}
	text := fmt.Sprintf("the chamber reads %s, but by the heat it was given it may be at %s, and the limit is %s: either the probe reads too low, or mains or elements are weak",
		l.temp(h.HotC), l.temp(math.Round(h.Twin.MayBeC())), l.temp(l.limitC()))
	switch {
	case h.Limit.StuckS >= limitedS:
		return Finding{Trip, notice.MaybeAbove, fmt.Sprintf("heat has been limited for %.0f h, and the chamber gains nothing: %s", h.Limit.ForS/3600, text)}
	case h.Limit.On:
		return Finding{Withhold, notice.HeatLimited, "heat is limited: " + text}
	}
	return Finding{Tell, notice.HeatLimited, "heat is limited: " + text}
}

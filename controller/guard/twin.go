package guard

import (
	"fmt"
	"math"

	"calx/controller/notice"
	"calx/sensor"
)

// What the twin says is heat, in shares of it.
const (
	// A relay that is welded brings all the heat that a closed one brings: 1.0
	// in every shipped kiln, 0.8 where the elements are worn. The heat of a
	// burning pattern is up to 0.3 of full power (a pattern that gives 300 W in
	// a kiln of 1.2 kW), and a wall gives back less.
	surplusShare = 0.75
	// ofGiven is the least that a relay which never opens must add to what was
	// given, as a share of it: what a file that is off by a quarter would add, and
	// a fifth more. At 0.6 a weak kiln near full power took 135 s, at 0.4 120 s.
	ofGiven = 0.4
	// doubtfulC is the least answer of this kiln, °C, on which heat is withheld,
	// sureC the one on which the firing ends.
	doubtfulC, sureC = 3, 8
	noneC            = 14
	// Without heat nothing of it comes: 1.0, and 0.5 where one of two elements
	// is dead, which ends no firing. Above leastLoss it is a door.
	missingShare, mostMissing = 0.8, 1.3
)

// unasked finds heat that nobody commanded: the readings leave the kiln as
// commanded towards the one that is always on. The physics is the kiln's own:
// how far full power moves the reading of a kiln as hot as this one, in the time
// since the window began. In the shipped kilns that takes 20 to 60 s.
//
// It is silent for a while after a lack of heat, when walls and elements give
// back what they kept.
func unasked(l *Limits, h *History) Finding {
	w := h.Twin.Older
	extraC := w.FullC - w.GivenC
	if extraC < ofGiven*w.GivenC {
		return Finding{}
	}
	if l.Twin == nil || !h.Believed() || h.Twin.LackS > 0 || h.UnrestS > 0 || extraC < doubtfulC || w.SurplusShare() < surplusShare {
		return Finding{}
	}
	// Heat that was learned to be missing, and is back, is none that nobody asked for.
	a := h.Twin.Arrives.Share
	if h.Twin.Arrives.LowS > 0 {
		a = math.Min(a, h.Twin.Arrives.Least)
	}
	if a > 0 && a < 1 && w.SeenC*a <= 4*w.GivenC*(1-a) {
		return Finding{}
	}
	v := Withhold
	if extraC >= sureC {
		v = Trip
	}
	return Finding{v, notice.RisingWhileOff, fmt.Sprintf("the chamber rose %s further in %.0f s than the heat explains that was asked for, to %s; a relay that never opens makes it %s",
		l.delta(w.SeenC), w.S, l.temp(h.HotC), l.delta(extraC))}
}

// explained reports whether the twin says that a rise without heat is nothing:
// what the kiln had stored, or a pattern that burns.
func (h *History) explained(l *Limits) bool {
	const part = 0.45
	w := h.Twin.Older
	return l.Twin != nil && h.Twin.LackS == 0 && w.FullC-w.GivenC >= doubtfulC && w.SurplusShare() < part
}

// missing reports whether the readings go with the kiln that gets no heat.
func (h *History) missing() bool {
	w := h.Twin.Older
	return h.Twin.LossS == 0 && w.GivenC >= noneC && w.MissingShare() >= missingShare && w.MissingShare() <= mostMissing
}

// miss notes for how long no heat has come. A new window needs a while to say
// so again.
func (h *History) miss(dt float64) {
	const windowS = 150
	if h.missing() {
		h.MissS, h.MissAgoS = more(h.MissS, dt), 0
	} else if h.MissS > 0 {
		h.MissS += dt
		if h.MissAgoS += dt; h.MissAgoS > windowS {
			h.MissS = 0
		}
	}
}

// noHeat finds a relay that does not close, a fuse, a broken element, or a
// probe that no longer feels the heat: the readings go with the kiln that gets
// none. A door that stands open by the right amount looks the same; so the
// firing ends soon only where a switch says that the door is shut. There is no
// more heat at once where what was given, were it in the chamber after all, would
// have brought it above its limit.
func noHeat(l *Limits, h *History) Finding {
	const patienceS, shutS = 300, 60
	if l.Twin == nil || !h.Believed() || !h.missing() {
		return Finding{}
	}
	v := Tell
	switch {
	case h.Door == sensor.DoorShut && h.MissS >= shutS || h.MissS >= patienceS:
		v = Trip
	case h.Twin.MayBeC() > l.limitC():
		v = Withhold
	}
	w := h.Twin.Older
	return Finding{v, notice.NotRising, fmt.Sprintf("of the heat asked for in the last %.0f s nothing arrives: the chamber is at %s, and would be %s hotter",
		math.Max(w.S, h.MissS), l.temp(h.HotC), l.delta(-w.SeenC))}
}

// limitC is the temperature that the chamber may not pass, with its margin, °C.
func (l *Limits) limitC() float64 {
	if l.CeilingC != 0 {
		return math.Min(l.CeilingC+l.MarginC, l.MaxC)
	}
	return l.MaxC
}

// StillHeated reports whether the chamber rises as with heat though everything
// has been open for s seconds: by the twin, in a window that began since, or as
// half of full power would in the last s of them.
func (h *History) StillHeated(l *Limits, s float64) bool {
	w := h.Twin.Older
	if !h.Believed() || h.UnrestS > 0 {
		return false
	}
	if l.Twin != nil {
		return w.S <= s && w.FullC >= sureC && w.SurplusShare() >= surplusShare
	}
	rise, ok := h.rise(s)
	const leastC = 5
	return ok && rise >= math.Max(leastC, atPower*l.lastingCPerH(h.HotC)*s/3600)
}

// heatShort tells of a lack of heat, once it is sure that it is one: of weaker
// elements or mains when it came at once and stays, and otherwise of either
// those or a probe that reads too low. Nothing can tell them apart from outside.
func heatShort(l *Limits, h *History) Finding {
	const deadElement, aboveC = 0.78, 200
	t := h.Twin
	switch {
	case l.Twin == nil || !h.Believed():
	case t.Power > 0 && t.Power < deadElement:
		return Finding{Tell, notice.ElementWeak, fmt.Sprintf("since some minutes only %.0f %% of the heat arrives; the firing goes on with it", t.Power*100)}
	case t.Power > 0 && t.Power < 1:
		return Finding{Tell, notice.SupplySag, fmt.Sprintf("since some minutes only %.0f %% of the heat arrives; the firing goes on with it", t.Power*100)}
	case h.HotC > aboveC && h.beyondDoubt(l) && !h.Limited():
		return Finding{Tell, notice.ReadsLow, fmt.Sprintf("the chamber reads %s, and by the heat it was given it may be at %s; heat is limited when that passes %s",
			l.temp(h.HotC), l.temp(t.MayBeC()), l.temp(l.limitC()))}
	}
	return Finding{}
}

// beyondDoubt reports whether the heat given and the reading disagree by more
// than is in doubt: for long in what arrives, or so far that no load and no
// water explains it.
func (h *History) beyondDoubt(l *Limits) bool {
	const least = 0.1
	return h.BelowColdS >= belowColdS || h.Twin.LowFor(math.Max(l.Doubt, least)) > 0
}

// belowColdS is how long a reading must be colder than all doubts allow.
const belowColdS = 600

// belowCold reports whether the reading is colder than the kiln of the file
// can be, with all that is in doubt at its coldest.
func (h *History) belowCold() bool {
	const leastC, part = 8, 0.02
	coldC := h.Twin.Cold.JunctionC()
	return coldC-h.HotC > leastC+part*coldC
}

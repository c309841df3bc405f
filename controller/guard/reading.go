package guard

import (
	"fmt"
	"math"

	"calx/controller/notice"
)

// noReading: unknown means off, at once; for good after NoReadingS.
func noReading(l *Limits, h *History) Finding {
	if h.Seen && h.BadS == 0 {
		return Finding{}
	}
	last := "never a good one"
	if h.Seen {
		last = "last good " + l.temp(h.HotC)
	}
	what := h.Fault.String()
	switch {
	case h.BadS == 0:
		what = "waiting for readings that agree"
	case h.Fault == 0:
		what = "not a temperature"
	}
	v := l.doubt(h)
	return Finding{v, notice.NoReading, fmt.Sprintf("no valid temperature for %.0f s: %s (%s)", h.DoubtS, what, last)}
}

// doubt is the verdict on a temperature that nobody knows.
func (l *Limits) doubt(h *History) Verdict {
	if h.DoubtS >= l.NoReadingS {
		return Trip
	}
	return Withhold
}

// jumped finds a probe that slipped, was swapped or touches itself short of the
// tip: the reading leaps, further than any kiln can, and does not come back. A
// corrupted frame does, and costs one tick of heat.
func jumped(l *Limits, h *History) Finding {
	if h.JumpS == 0 {
		return Finding{}
	}
	return Finding{l.doubt(h), notice.ReadingJumped, fmt.Sprintf("the reading leapt from %s to %s, and no kiln does that", l.temp(h.HotC), l.temp(h.JumpC))}
}

// frozen finds a chip that sends its last conversion for ever. A living one
// does not give the same two codes for minutes on end while the setpoint moves
// on or at full power; and for its noise alone not for a quarter of an hour, or
// twice that where only the hot code can move.
func frozen(l *Limits, h *History) Finding {
	const (
		movedC           = 3
		movingS, mostS   = 60, 110
		coldC, lags      = 10, 2
		fullS, rateCPerH = 120, 60
		anywayS, aloneS  = 900, 1800
	)
	r := l.at(h.HotC)
	longS := math.Min(math.Max(movingS, r.LagS), mostS)
	if math.Abs(h.HotC-h.FirstC) < coldC {
		longS = math.Max(movingS, lags*r.LagS) // nothing has reached the probe yet
	}
	moves := h.SetKnown && math.Abs(h.SetC-h.SameSetC) >= movedC && h.SameS >= longS
	full := math.Min(h.FullS, h.SameS) >= math.Max(fullS, 2*r.LagS) && r.FullCPerH >= rateCPerH
	still := float64(anywayS)
	if !h.ColdKnown {
		still = aloneS
	}
	if !h.Believed() || !moves && !full && h.SameS < still {
		return Finding{}
	}
	return Finding{Trip, notice.ReadingFrozen, fmt.Sprintf("the reading has stood at exactly %s for %.0f s", l.temp(h.HotC), h.SameS)}
}

// overS is how long a reading must stay above a limit before it trips: long
// enough for a corrupted frame to pass. Heat is withheld from the first.
const overS = 3

// tooCold reports what a kiln that was heated cannot be: colder than it was at
// first and than the terminals beside it; or very much colder than those.
func (h *History) tooCold() bool {
	const noiseC, everC, heated = 5, 40, 0.05
	if !h.ColdKnown {
		return h.OnShare > heated && h.HotC < h.FirstC-2*noiseC && h.FirstC < 60
	}
	return h.OnShare > heated && h.HotC < math.Min(h.FirstC, h.ColdC)-noiseC || h.HotC < h.ColdC-everC
}

// reversed finds a probe whose wires are swapped: it reads the colder the
// hotter the chamber gets.
func reversed(l *Limits, h *History) Finding {
	if h.BelowS < overS || !h.Believed() {
		return Finding{}
	}
	return Finding{Trip, notice.ReversedProbe, fmt.Sprintf("the reading fell from %s to %s, colder than a heated kiln can be", l.temp(h.FirstC), l.temp(h.HotC))}
}

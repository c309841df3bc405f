// Package guard distrusts the heat. Each guard is a pure function from the
// recent history of one kiln to a verdict, and all of them stand in one table.
// They know setpoint, reading and relay, and nothing of the control law they
// watch. They lower the number of times an independent limit controller must
// act; they do not replace it.
package guard

import (
	"fmt"
	"math"

	"calx/controller/notice"
)

// Verdict is what a guard asks for.
type Verdict uint8

// From nothing to the end of heat in this firing.
const (
	Fine     Verdict = iota
	Withhold         // no heat in this tick; the firing goes on
	Trip             // no heat until a person clears it
)

// Finding is a verdict with its reason.
type Finding struct {
	Verdict Verdict
	Code    string // of the notice catalogue
	Text    string // what happened, with values; for a person
}

// Limits are the figures the guards hold a kiln to.
type Limits struct {
	CeilingC   float64 // of the profile, °C; 0 = none
	MarginC    float64 // how far above CeilingC trips, °C
	MaxC       float64 // of the kiln, °C
	NoReadingS float64 // time without a valid reading that trips, s
	Response   []Response
	Fahrenheit bool // how temperatures are worded
}

// Response is how the kiln answers at one temperature; rising in TempC, the
// nearest holds outside.
type Response struct {
	TempC        float64 // °C
	LagS         float64 // element and probe together, s
	FullCPerH    float64 // rise at full power of a soaked kiln, °C/h; 0 where it can go no higher
	QuickCPerMin float64 // rise at full power of the chamber alone, °C/min
}

// DefaultLimits suit a kiln of which only the maximum is known.
func DefaultLimits(maxC float64) Limits {
	return Limits{MarginC: 10, MaxC: maxC, NoReadingS: 10,
		Response: []Response{{TempC: 20, LagS: 300, FullCPerH: 100, QuickCPerMin: 10}}}
}

// at interpolates the response.
func (l Limits) at(tC float64) Response {
	r := l.Response
	if len(r) == 0 {
		return DefaultLimits(l.MaxC).Response[0]
	}
	if tC <= r[0].TempC {
		return r[0]
	}
	for i := 1; i < len(r); i++ {
		if tC < r[i].TempC {
			a, b := r[i-1], r[i]
			f := (tC - a.TempC) / (b.TempC - a.TempC)
			return Response{tC, a.LagS + f*(b.LagS-a.LagS), a.FullCPerH + f*(b.FullCPerH-a.FullCPerH),
				a.QuickCPerMin + f*(b.QuickCPerMin-a.QuickCPerMin)}
		}
	}
	return r[len(r)-1]
}

// temp words a temperature, delta a difference.
func (l Limits) temp(c float64) string {
	if l.Fahrenheit {
		return fmt.Sprintf("%.0f °F", c*9/5+32)
	}
	return fmt.Sprintf("%.0f °C", c)
}

func (l Limits) delta(c float64) string {
	if l.Fahrenheit {
		return fmt.Sprintf("%.0f °F", c*9/5)
	}
	return fmt.Sprintf("%.0f °C", c)
}

// table holds every guard, in the order in which they are asked. The gravest
// verdict wins, and among equals the first.
var table = []func(Limits, History) Finding{
	noReading, aboveKilnMax, aboveCeiling, risingWhileOff, notRising, cannotReach,
}

// Judge asks every guard.
func Judge(l Limits, h History) Finding {
	var worst Finding
	for _, g := range table {
		if f := g(l, h); f.Verdict > worst.Verdict {
			worst = f
		}
	}
	return worst
}

// noReading: unknown means off, at once; for good after NoReadingS.
func noReading(l Limits, h History) Finding {
	if h.BadS == 0 && h.Seen {
		return Finding{}
	}
	v := Withhold
	if h.BadS >= l.NoReadingS {
		v = Trip
	}
	last := "never a good one"
	if h.Seen {
		last = "last good " + l.temp(h.HotC)
	}
	what := h.Fault.String()
	if h.Fault == 0 {
		what = "not a number"
	}
	return Finding{v, notice.NoReading, fmt.Sprintf("no valid temperature for %.0f s: %s (%s)", h.BadS, what, last)}
}

// overS is how long a reading must stay above a limit before it trips: long
// enough for a corrupted frame to pass. Heat is withheld from the first.
const overS = 3

func aboveKilnMax(l Limits, h History) Finding {
	if !h.Seen || h.HotC <= l.MaxC {
		return Finding{}
	}
	v := Withhold
	if h.AboveMaxS >= overS {
		v = Trip
	}
	return Finding{v, notice.AboveKilnMax, fmt.Sprintf("the chamber is at %s, above the kiln's maximum of %s", l.temp(h.HotC), l.temp(l.MaxC))}
}

func aboveCeiling(l Limits, h History) Finding {
	if l.CeilingC == 0 || !h.Seen || h.HotC <= l.CeilingC+l.MarginC {
		return Finding{}
	}
	v := Withhold
	if h.AboveCeilingS >= overS {
		v = Trip
	}
	return Finding{v, notice.AboveCeiling, fmt.Sprintf("the chamber is at %s, more than %s above the ceiling of %s",
		l.temp(h.HotC), l.delta(l.MarginC), l.temp(l.CeilingC))}
}

// risingWhileOff finds a welded relay. After the relay opens, the heat stored
// in the elements still comes: at most the rise of the chamber at the recent
// duty over one lag. Half as much again, and a margin for a pattern that burns,
// is allowed; more than that comes from the mains.
func risingWhileOff(l Limits, h History) Finding {
	const leastOffS, burningC = 60, 20
	if h.OffS < leastOffS || h.BadS > 0 {
		return Finding{}
	}
	r := l.at(h.OffFromC)
	stored := 1.5 * r.QuickCPerMin / 60 * r.LagS * h.OnBefore
	rise := h.HotC - h.OffFromC
	if rise <= stored+burningC || h.slopeCPerS() <= 0 {
		return Finding{}
	}
	return Finding{Trip, notice.RisingWhileOff, fmt.Sprintf("heat has been off for %.0f s, yet the chamber rose by %s to %s", h.OffS, l.delta(rise), l.temp(h.HotC))}
}

// notRising finds a probe that slipped out, a broken element, a relay that
// does not close, a frozen reading: full power, and less than a tenth of the
// rise that even a soaked kiln would make.
func notRising(l Limits, h History) Finding {
	r := l.at(h.HotC)
	windowS := math.Max(600, 300+3*r.LagS)
	const leastRate, part = 30, 0.1
	if h.FullS < windowS || h.BadS > 0 || r.FullCPerH < leastRate {
		return Finding{}
	}
	from, ok := h.ago(windowS)
	if !ok {
		return Finding{}
	}
	rise, want := h.HotC-from, r.FullCPerH*windowS/3600
	if rise >= part*want {
		return Finding{}
	}
	return Finding{Trip, notice.NotRising, fmt.Sprintf("full power for %.0f min, and the chamber moved by %s to %s; %s were to be expected",
		h.FullS/60, l.delta(rise), l.temp(h.HotC), l.delta(want))}
}

// cannotReach ends a firing that can go no further by itself: nobody is there
// to see that the kiln is at its end.
func cannotReach(l Limits, h History) Finding {
	const windowS, leastC = 3600, 3
	if h.FullS < windowS || h.BadS > 0 {
		return Finding{}
	}
	from, ok := h.ago(windowS)
	if !ok || h.HotC-from >= leastC {
		return Finding{}
	}
	return Finding{Trip, notice.CannotReach, fmt.Sprintf("full power for %.0f min, and the chamber stays at %s", h.FullS/60, l.temp(h.HotC))}
}

// Package guard distrusts the heat. Each guard is a pure function from the
// recent history of one kiln to a verdict, and all of them stand in one table.
// They know setpoint, reading and relay, and nothing of the control law they
// watch. They lower the number of times an independent limit controller must
// act; they do not replace it.
//
// What one thermocouple cannot tell, they cannot either. But they know what heat
// was given: where that and the reading disagree beyond doubt, heat is limited to
// what is safe whichever of them is right. A probe that reads too low by less
// than that doubt, or drifts slowly, leaves the kiln too hot by as much.
package guard

import (
	"fmt"
	"math"

	"calx/controller/twin"
)

// Verdict is what a guard asks for.
type Verdict uint8

// From nothing to the end of heat in this firing.
const (
	Fine     Verdict = iota
	Tell             // heat goes on; a person should know
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
	// Twin is the kiln of the kiln file, run beside the firing; nil: there is
	// none, and the guards that need it are silent.
	Twin *twin.Twin
	// Doubt is how far the heat that the kiln file says a firing needs may be
	// off, as a share of it, the voltage of the mains included; 0..0.6.
	Doubt   float64
	PeriodS float64 // between looks, s
}

// Response is how the kiln answers at one temperature; rising in TempC, the
// nearest holds outside.
type Response struct {
	TempC     float64 // °C
	LagS      float64 // element and probe together, s
	FullCPerH float64 // rise at full power when a cold kiln passes TempC, °C/h; 0 where it can go no higher
	CoastC    float64 // further rise of the reading when full power is cut then, °C
}

// DefaultLimits suit a kiln of which only the maximum is known.
func DefaultLimits(maxC float64) Limits {
	return Limits{MarginC: 10, MaxC: maxC, NoReadingS: 10,
		Response: []Response{{TempC: 20, LagS: 300, FullCPerH: 100, CoastC: 50}}}
}

// at interpolates the response.
func (l *Limits) at(tC float64) Response {
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
			mix := func(x, y float64) float64 { return x + f*(y-x) }
			return Response{tC, mix(a.LagS, b.LagS), mix(a.FullCPerH, b.FullCPerH), mix(a.CoastC, b.CoastC)}
		}
	}
	return r[len(r)-1]
}

// lastingCPerH is the rise at full power that lasts, °C/h. A cold kiln leaps up
// at first, while only the skin of its wall takes part; how it rises 300 °C
// further up is what it can keep up.
func (l *Limits) lastingCPerH(tC float64) float64 {
	const furtherC = 300
	return math.Min(l.at(tC).FullCPerH, l.at(tC+furtherC).FullCPerH)
}

// temp words a temperature, delta a difference.
func (l *Limits) temp(c float64) string {
	if l.Fahrenheit {
		return fmt.Sprintf("%.0f °F", c*9/5+32)
	}
	return fmt.Sprintf("%.0f °C", c)
}

func (l *Limits) delta(c float64) string {
	if l.Fahrenheit {
		return fmt.Sprintf("%.0f °F", c*9/5)
	}
	return fmt.Sprintf("%.0f °C", c)
}

// table asks every guard. The gravest verdict wins, and among equals the first.
func table(l *Limits, h *History) [22]Finding {
	return [...]Finding{
		noReading(l, h), jumped(l, h), frozen(l, h), reversed(l, h), coldOut(l, h), slipped(l, h), noisy(l, h), apart(l, h),
		aboveKilnMax(l, h), aboveCeiling(l, h), aboveChar(l, h), maybeAbove(l, h), heatShort(l, h),
		unasked(l, h), risingWhileOff(l, h), noHeat(l, h), notRising(l, h), cannotReach(l, h),
		doorOpen(l, h), doorLong(l, h), doorGuess(l, h), tooFast(l, h),
	}
}

// Judge asks every guard, and gives the gravest verdict. What is only to be told
// is not in its answer.
func Judge(l *Limits, h *History) Finding {
	worst, _ := Ask(l, h)
	return worst
}

// Ask asks every guard: for the gravest verdict, as Judge, and for what a person
// should know though the heat goes on, in the order of the table.
func Ask(l *Limits, h *History) (worst Finding, tells []Finding) {
	for _, f := range table(l, h) {
		switch {
		case f.Verdict == Tell:
			tells = append(tells, f)
		case f.Verdict > worst.Verdict:
			worst = f
		}
	}
	return worst, tells
}

package kiln

import (
	"math"
	"slices"
)

// normalRoomC is the room the shorthand methods assume, °C.
const normalRoomC = 20

// BalanceDuty is the duty that holds the soaked kiln, its load in it and the
// door shut, at tC in °C in a room at 20 °C on nominal mains. Above 1 the kiln
// cannot hold tC; at or below the room it is 0. It builds and settles the whole
// model, which takes some tenths of a millisecond.
func (p Params) BalanceDuty(tC float64) float64 {
	return p.Balance(tC, normalRoomC).Duty
}

// Balance is the steady state in which a kiln holds a temperature.
type Balance struct {
	// Duty on nominal mains; above 1 it is out of reach.
	Duty float64
	// PowerW is the electrical power, W.
	PowerW float64
	// ElementC is the temperature of the wire, the mean over the switching, °C.
	ElementC float64
	// State is the whole kiln, its energies zero; [Kiln.Restore] takes it.
	State State
}

// Balance settles the kiln with the junction at tC in a room at ambientC, both
// °C.
func (p Params) Balance(tC, ambientC float64) Balance {
	k := New(p, ambientC)
	powerW := 0.0
	if tC > ambientC {
		powerW = k.settle(tC, ambientC)
	}
	return Balance{Duty: powerW / k.fullW(), PowerW: powerW, ElementC: k.ElementC(), State: k.State()}
}

// Steps of settle: each is so long that heat capacity hardly matters.
const (
	settleStepS = 1e8
	// settleGuessC is a lift that takes about full power; the first guess.
	settleGuessC = 2000
	settleMost   = 500
	settleMove   = 0.3 // most that the power changes between steps
	settleK      = 1e-7
)

// settle brings the kiln to its steady state with the junction at tC and
// returns the power that holds it there. As a step uses the conductances of its
// start, long steps repeat until they agree, while the power is moved by what
// the junction is off. Energies are zero afterwards.
func (k *Kiln) settle(tC, ambientC float64) float64 {
	k.setAll(tC)
	powerW := float64(k.p.Elements.Rated) * (tC - ambientC) / settleGuessC
	for range settleMost {
		k.step(settleStepS, powerW, Input{AmbientC: ambientC})
		if !finite(k.junctionC) || k.junctionC <= ambientC {
			// The guess was so far off that conductances a step old mean nothing.
			k.setAll(tC)
			powerW /= 2
			continue
		}
		miss := (tC - k.junctionC) / (k.junctionC - ambientC)
		powerW *= 1 + math.Max(-settleMove, math.Min(miss, settleMove))
		if math.Abs(miss)*tC < settleK {
			break
		}
	}
	k.energyJ, k.lostJ = 0, 0
	return powerW
}

// Envelope is what a kiln can do at the ends of its duty: how fast it heats at
// full power and how fast it cools without. Rates are of the junction.
type Envelope struct {
	// TopC is where full power ended: at the kiln's maximum, or where it still
	// gained only a few degrees an hour, °C.
	TopC float64

	heat, cool []ratePoint
}

// ratePoint is a rate at one temperature, °C/h and °C; lists rise with tC.
type ratePoint struct{ tC, cPerH float64 }

const (
	envelopeStepS  = 5
	envelopeGridC  = 20
	stalledCPerH   = 5
	envelopeLimitH = 72
)

// Envelope runs the kiln once from cold at full power on nominal mains, then
// soaks it at the top and lets it cool, in a room at ambientC. It takes some
// tens of milliseconds; keep the result.
func (p Params) Envelope(ambientC float64) Envelope {
	k := New(p, ambientC)
	e := Envelope{heat: k.track(p.MaxC(), Input{On: 1, MainsRatio: 1, AmbientC: ambientC})}
	e.TopC = k.junctionC
	k.settle(e.TopC, ambientC)
	e.cool = k.track(ambientC, Input{AmbientC: ambientC})
	slices.Reverse(e.cool)
	return e
}

// track steps the kiln towards goalC and lists the mean rate, as a size, over
// each piece of the grid that the junction passes, until it is there or stalls.
func (k *Kiln) track(goalC float64, in Input) []ratePoint {
	var out []ratePoint
	sign := math.Copysign(1, goalC-k.junctionC)
	fromC, fromS := k.junctionC, 0.0
	for s := 0.0; s < envelopeLimitH*3600 && (goalC-k.junctionC)*sign > 0; s += envelopeStepS {
		k.Step(envelopeStepS, in)
		gone, hours := (k.junctionC-fromC)*sign, (s-fromS)/3600
		if gone < envelopeGridC && hours < 1 {
			continue
		}
		if rate := gone / hours; rate > stalledCPerH && hours > 0 {
			out = append(out, ratePoint{(fromC + k.junctionC) / 2, rate})
		} else if hours > 0 {
			break
		}
		fromC, fromS = k.junctionC, s
	}
	return out
}

// FullPowerRate is how fast the junction rises in °C/h when a cold kiln on full
// power passes tC in °C; 0 where it cannot get. A kiln that comes to tC slowly,
// its wall soaked, rises faster than this.
func (e Envelope) FullPowerRate(tC float64) float64 {
	if tC > e.TopC {
		return 0
	}
	return rateAt(e.heat, tC)
}

// CoolRate is how fast the junction falls in °C/h, as a positive number, when
// the kiln, soaked at TopC and then left without heat, passes tC in °C. A kiln
// soaked at a lower temperature or less long falls faster. Near the room it is
// 0.
func (e Envelope) CoolRate(tC float64) float64 {
	if len(e.cool) == 0 || tC < e.cool[0].tC {
		return 0
	}
	return rateAt(e.cool, tC)
}

// FullPowerRate is [Envelope.FullPowerRate] in a room at 20 °C.
func (p Params) FullPowerRate(tC float64) float64 {
	return p.Envelope(normalRoomC).FullPowerRate(tC)
}

// CoolRate is [Envelope.CoolRate] in a room at 20 °C.
func (p Params) CoolRate(tC float64) float64 { return p.Envelope(normalRoomC).CoolRate(tC) }

func rateAt(list []ratePoint, tC float64) float64 {
	if len(list) == 0 {
		return 0
	}
	i := slices.IndexFunc(list, func(r ratePoint) bool { return r.tC >= tC })
	switch i {
	case -1:
		return list[len(list)-1].cPerH
	case 0:
		return list[0].cPerH
	}
	a, b := list[i-1], list[i]
	return a.cPerH + (b.cPerH-a.cPerH)*(tC-a.tC)/(b.tC-a.tC)
}

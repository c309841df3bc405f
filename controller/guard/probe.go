package guard

import (
	"fmt"
	"math"

	"calx/controller/notice"
	"calx/sensor"
)

// Probe is what the guards remember of how the reading behaves.
type Probe struct {
	Last     [4]float64 // the last readings, the newest first, °C
	N        int        // how many of them there are
	SlipC    float64    // what the reading lost at once, and never came back, °C
	Lost     float64    // as a share of how far it was above its terminals
	NoiseSq  float64    // mean square of one reading's noise, °C²
	NoisyS   float64    // time that it has been too much, s
	ColdOutS float64    // time that the cold junction has been where no controller box is, s
	ApartS   float64    // time that a second thermocouple has disagreed, s
	CheckC   float64    // what it reads, °C
	Checked  bool       // there is one, and it reads
	OpenS    float64    // time that the door has been open, s
}

// after takes in a reading that is believed.
func (p Probe) after(k Look, dt float64) Probe {
	copy(p.Last[1:], p.Last[:3])
	p.Last[0] = k.Reading.HotC
	c := k.Reading.ColdC
	if p.N = min(p.N+1, len(p.Last)); p.N == len(p.Last) {
		p.step(c)
		p.noise(dt)
	}
	p.ColdOutS = over(p.ColdOutS, dt, !math.IsNaN(c) && (c < coldLowC || c > coldHighC))
	if p.Checked = k.Checked && k.Check.OK(); p.Checked {
		p.CheckC = k.Check.HotC
	}
	p.ApartS = over(p.ApartS, dt, p.Checked && math.Abs(p.CheckC-k.Reading.HotC) > apartC+apartPart*math.Abs(k.Reading.HotC))
	return p
}

// step looks for a reading that is lower at once than the one before, and stays
// so. The junction in its sheath follows over tens of seconds and cannot do
// that: what can is a wire that touches another short of the tip, or a probe
// that is pulled. The steepest fall of a junction that was seen, with the door
// thrown open at top heat, goes on from second to second.
//
// What is lost grows with the heat: such a probe reads part of the way down to
// its terminals, which are at coldC.
func (p *Probe) step(coldC float64) {
	const leastC, still, sigmas, warmC = 4, 0.34, 8, 30
	d := p.Last[1] - p.Last[2]
	before, after := p.Last[2]-p.Last[3], p.Last[0]-p.Last[1]
	if math.Abs(d) < math.Max(leastC, sigmas*math.Sqrt(p.NoiseSq)) || math.Abs(before) > still*math.Abs(d) || math.Abs(after) > still*math.Abs(d) {
		return
	}
	p.SlipC -= d
	if math.IsNaN(coldC) {
		coldC = roomC
	}
	if above := p.Last[2] - coldC; above > warmC {
		p.Lost = 1 - (1-p.Lost)*(above+d)/above
	}
}

// noise follows what is left of four readings when their slope and bend are
// taken out: the third difference of pure noise has twenty times its variance
// (1+9+9+1).
func (p *Probe) noise(dt float64) {
	const binomial, overS, mostC = 20, 120, 20
	d := math.Min(math.Abs(p.Last[0]-3*p.Last[1]+3*p.Last[2]-p.Last[3]), mostC)
	p.NoiseSq += (d*d/binomial - p.NoiseSq) * (1 - math.Exp(-dt/overS))
	p.NoisyS = over(p.NoisyS, dt, p.NoiseSq > noisyC*noisyC)
}

const (
	// noisyC is ten times the noise of a good amplifier, °C: beside mains wires,
	// or with a screw loose.
	noisyC, noisyForS = 1.5, 60
	// A controller box is between these, °C. The chips themselves give up at
	// sensor.MinColdC and sensor.MaxColdC, and are not believed beyond.
	coldLowC, coldHighC, coldForS = 0, 55, 60
	// Two thermocouples in one small chamber differ by their tolerances, 1.5 %
	// together (IEC 60584-1, class 2), by where they sit and by how fast they
	// follow.
	apartC, apartPart, apartForS, apartMostS = 15, 0.04, 20, 180
	// leastSlipC is what a probe may lose before it is told and counts, °C.
	leastSlipC = 4
	// roomC is where the terminals are taken to be when no chip says it, °C.
	roomC = 25.0
)

// slipped tells that the probe reads less than it did, at once. The ceiling is
// then that much lower: see hottestC.
func slipped(l *Limits, h *History) Finding {
	if h.Probe.SlipC < leastSlipC || !h.Believed() {
		return Finding{}
	}
	return Finding{Tell, notice.ProbeSlipped, fmt.Sprintf("the reading fell by %s at once, as no chamber does; the kiln may be at %s, and is taken to be",
		l.delta(h.Probe.SlipC), l.temp(h.HotC+h.slipC()))}
}

// hottestC is the highest that the chamber is known to be able to be, °C: what
// the probe has lost at once is added, and a second thermocouple believed.
func (h *History) hottestC() float64 {
	c := h.HotC + h.slipC()
	if h.Probe.Checked {
		c = math.Max(c, h.Probe.CheckC)
	}
	return c
}

// slipC is what the probe is known to read too low, °C.
func (h *History) slipC() float64 {
	const most = 0.8
	if h.Probe.SlipC < leastSlipC {
		return 0
	}
	coldC := roomC
	if h.ColdKnown {
		coldC = h.ColdC
	}
	share := math.Min(math.Max(h.Probe.Lost, 0), most)
	return math.Max(h.Probe.SlipC, (h.HotC-coldC)*share/(1-share))
}

// noisy tells of a reading that jitters.
func noisy(l *Limits, h *History) Finding {
	if h.Probe.NoisyS < noisyForS {
		return Finding{}
	}
	jitter, unit := math.Sqrt(h.Probe.NoiseSq), "°C"
	if l.Fahrenheit {
		jitter, unit = jitter*9/5, "°F"
	}
	return Finding{Tell, notice.NoisyReading, fmt.Sprintf("the reading jitters by %.1f %s from one second to the next", jitter, unit)}
}

// coldOut tells of a controller box that is too hot or too cold. Every degree
// of error of the cold junction is one of the reading.
func coldOut(l *Limits, h *History) Finding {
	switch {
	case h.ColdKnown && !sensor.ColdPlausible(h.ColdC) && h.Probe.ColdOutS >= l.NoReadingS:
		return Finding{Trip, notice.ColdJunction, fmt.Sprintf("the cold junction reads %s; no controller box is at that", l.temp(h.ColdC))}
	case h.Probe.ColdOutS >= coldForS:
		return Finding{Tell, notice.ColdJunction, fmt.Sprintf("the cold junction is at %s; it should be between %s and %s", l.temp(h.ColdC), l.temp(coldLowC), l.temp(coldHighC))}
	}
	return Finding{}
}

// apart finds two thermocouples that disagree: one of them lies, and nobody
// knows which.
func apart(l *Limits, h *History) Finding {
	if h.Probe.ApartS < apartForS {
		return Finding{}
	}
	v := Withhold
	if h.Probe.ApartS >= apartMostS {
		v = Trip
	}
	return Finding{v, notice.ProbesApart, fmt.Sprintf("one thermocouple reads %s and the other %s in the same chamber", l.temp(h.HotC), l.temp(h.Probe.CheckC))}
}

// doorOpen keeps the heat off while the switch says that the door is open:
// hands are at the opening, and all heat would go into the room.
func doorOpen(l *Limits, h *History) Finding {
	if h.Door != sensor.DoorOpen {
		return Finding{}
	}
	return Finding{Withhold, notice.DoorOpen, fmt.Sprintf("the door is open; the chamber is at %s", l.temp(h.HotC))}
}

// doorLong tells of a door that is forgotten.
func doorLong(l *Limits, h *History) Finding {
	const longS = 600
	if h.Probe.OpenS < longS {
		return Finding{}
	}
	return Finding{Tell, notice.DoorLong, fmt.Sprintf("the door has been open for %.0f min; moulds and pattern cool", h.Probe.OpenS/60)}
}

// doorGuess tells that heat was lost as through a door, where no switch says
// so.
func doorGuess(l *Limits, h *History) Finding {
	if h.Twin.LossS == 0 || h.Door != sensor.DoorUnknown {
		return Finding{}
	}
	return Finding{Tell, notice.HeatLost, fmt.Sprintf("heat was lost faster than a shut kiln loses it, down to %s: a door, a lid or a vent", l.temp(h.HotC))}
}

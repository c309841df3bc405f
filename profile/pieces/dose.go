package pieces

import (
	"math"
	"time"
)

const (
	gasConstant = 8.314462618 // J/(mol K), CODATA 2018
	zeroC       = 273.15      // K
	refK        = 700 + zeroC // at which a minute counts as one
	airOxygen   = 0.2095      // mole fraction in dry air
	charJ       = 125000      // J/mol, char burning where chemistry limits it: Combust. Sci. Technol. (2000) 251, 116 to 125 kJ/mol
	gateK       = 350 + zeroC // K: where chemistry and air supply limit alike; fitted to the burnout physics of sim/mould, uncertain by 20 K
)

// Sample is one point of a temperature history; between samples temperature
// and oxygen run straight.
type Sample struct {
	Since  time.Duration // since the firing began; rising
	TempC  float64       // of the pattern, not of the chamber; -50 to 1300 °C
	Oxygen float64       // mole fraction in the kiln, 0 to 1; 0 is not known, taken as air
}

// Soak is the history of a pattern that is at tempC for d from the start.
func Soak(tempC float64, d time.Duration) []Sample {
	return []Sample{{TempC: tempC}, {Since: d, TempC: tempC}}
}

// Equivalent is how long at 700 °C would do what history does, for an apparent
// activation energy in kJ/mol (4 to 15 is usual). A minute at T counts
//
//	w = exp(-(E/R)(1/T - 1/973.15 K)) g(T)/g(973.15 K)
//	g = 1/(1 + exp(((125000 J/mol - E)/R)(1/T - 1/623.15 K)))
//
// times oxygen over that of air, where known. E is small because above 500 °C
// air supply limits the burning; the gate g keeps the hours before that from
// counting as if it always did. For 12 kJ/mol w is 0.043 at 300 °C, 0.431 at
// 400 °C, 0.842 at 600 °C.
func Equivalent(history []Sample, energyKJ float64) time.Duration {
	one := energies{first: energyKJ, step: 1}.tabulate(history)
	return time.Duration(math.Exp(one[0]) * float64(time.Minute))
}

// nodes is how many activation energies a history is reduced at beforehand.
const nodes = 27

// leastMin stands for no equivalent minutes at all: its logarithm is finite.
const leastMin = 1e-9

// energies are the activation energies, kJ/mol, at which doses are tabulated.
type energies struct{ first, step float64 }

// over covers a normal distribution out to 5.2 standard deviations; what lies
// beyond is counted at the end.
func over(p Normal) energies {
	const reach = 5.2
	return energies{p.Mean - reach*p.SD, 2 * reach * p.SD / (nodes - 1)}
}

// dose holds the logarithm of the equivalent minutes of one history, by energy.
type dose [nodes]float64

// tabulate integrates history at every energy, midpoint by midpoint, in pieces
// of at most 4 K (an error under 0.1 % where the gate is steepest). From one
// energy to the next the exponentials change by a constant factor.
func (e energies) tabulate(history []Sample) (d dose) {
	const pieceK = 4.0
	for i := 1; i < len(history); i++ {
		a, b := history[i-1], history[i]
		n := math.Max(1, math.Ceil(math.Abs(b.TempC-a.TempC)/pieceK))
		minutes := (b.Since - a.Since).Minutes() / n
		for k := 0.5; k < n; k++ {
			x := k / n
			e.add(&d, a.TempC+x*(b.TempC-a.TempC), minutes*(share(a)*(1-x)+share(b)*x))
		}
	}
	for i := range d {
		full := (charJ - e.joule(i)) / gasConstant * (1/refK - 1.0/gateK)
		d[i] = math.Log(math.Max(leastMin, d[i]*(1+math.Exp(full))))
	}
	return d
}

func (e energies) joule(i int) float64 { return 1000 * (e.first + float64(i)*e.step) }

// add counts minutes at tempC, but for the constant g(973.15 K).
func (e energies) add(d *dose, tempC, minutes float64) {
	kelvin := tempC + zeroC
	fromRef, fromGate := (1/kelvin-1/refK)/gasConstant, (1/kelvin-1.0/gateK)/gasConstant
	w, grow := math.Exp(-e.joule(0)*fromRef), math.Exp(-1000*e.step*fromRef)
	shut, open := math.Exp((charJ-e.joule(0))*fromGate), math.Exp(-1000*e.step*fromGate)
	for i := range d {
		d[i] += minutes * w / (1 + shut)
		w, shut = w*grow, shut*open
	}
}

func share(s Sample) float64 {
	if s.Oxygen == 0 {
		return 1
	}
	return s.Oxygen / airOxygen
}

// place is where an energy lies among the nodes: four of them, with weights.
type place struct {
	from int
	w    [4]float64
}

// at gives the cubic through the four nodes around energyKJ. The logarithm of a
// dose is so smooth in the energy that the error stays under 1e-5.
func (e energies) at(energyKJ float64) place {
	x := min(max((energyKJ-e.first)/e.step, 0), nodes-1)
	from := min(max(int(x)-1, 0), nodes-4)
	t := x - float64(from)
	return place{from, [4]float64{
		-(t - 1) * (t - 2) * (t - 3) / 6,
		t * (t - 2) * (t - 3) / 2,
		-t * (t - 1) * (t - 3) / 2,
		t * (t - 1) * (t - 2) / 6,
	}}
}

// log is the logarithm of the equivalent minutes at that place.
func (d *dose) log(p place) float64 {
	s := d[p.from : p.from+4]
	return p.w[0]*s[0] + p.w[1]*s[1] + p.w[2]*s[2] + p.w[3]*s[3]
}

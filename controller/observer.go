package controller

import (
	"fmt"
	"math"
	"time"

	"calx/profile"
	"calx/sim/mould"
	"calx/storage/record"
)

// Mould tells the controller what stands in the kiln.
type Mould struct {
	Model *mould.Model
	Clear []Belief // of every piece, flask by flask; what the chance of being clear rests on
	// Witness says for each of Input.Others which kind of flask its probe sits
	// in the core of; -1 for none. It may be shorter than Others.
	Witness []int
}

// Belief is what is held of one piece: the time it needs to be clear, in
// equivalent minutes at 700 °C, is lognormal. It comes from the physics or from
// test pieces, and Basis says which.
type Belief struct {
	MedianMin     float64 // > 0
	SigmaLn       float64 // standard deviation of its logarithm, > 0
	EnergyJPerMol float64 // how the time depends on temperature, see Weight
	Basis         string  // for people: "physics alone", "7 test pieces"
}

// Weight is how much a minute at tC counts against a minute at 700 °C: hardly
// any below 300 °C, where char does not burn, and little more above 600 °C,
// where air and not heat is short. The gate was fitted to the model of package
// mould; its figures: 0.070835 at 300 °C and 0.91754 at 600 °C for 6 kJ/mol.
func Weight(tC, energyJPerMol float64) float64 {
	const (
		gas      = 8.314462618
		refK     = 973.15
		gateK    = 623.15
		kineticJ = 125000.0
	)
	k := tC + 273.15
	if k < 300 {
		return 0
	}
	gate := func(k float64) float64 {
		return 1 / (1 + math.Exp((kineticJ-energyJPerMol)/gas*(1/k-1/gateK)))
	}
	return math.Exp(-energyJPerMol/gas*(1/k-1/refK)) * gate(k) / gate(refK)
}

// Chance is the probability that a piece is clear after doseMin equivalent
// minutes, 0..1.
func (b Belief) Chance(doseMin float64) float64 {
	if !(doseMin > 0) {
		return 0
	}
	return 0.5 * math.Erfc(-math.Log(doseMin/b.MedianMin)/b.SigmaLn/math.Sqrt2)
}

// Observed is the inside of the moulds, as far as a firing has followed it.
// The zero value has seen nothing.
type Observed struct {
	State   mould.State
	DoseMin []float64 // of every piece, equivalent minutes at 700 °C
	WaitS   float64   // time not yet followed, s
	Begun   bool
	// What was read last. These slices are never changed, only replaced.
	CoreC, SurfaceC, WaterLeft, CharLeft, Clear []float64 // by kind of flask; shares 0..1
	Dry                                         bool      // no free water in any flask
	Chance                                      float64   // that every piece by itself is clear: the least of them
}

// observeS is the step of the observer, s: a flask changes over minutes.
const observeS = 20

// check refuses beliefs that do not fit the model.
func (m *Mould) check() error {
	pieces := 0
	for _, p := range m.Model.Params() {
		pieces += len(p.Patterns)
	}
	if len(m.Clear) != pieces {
		return fmt.Errorf("controller: %d beliefs about %d pieces; there must be one for each", len(m.Clear), pieces)
	}
	for i, b := range m.Clear {
		if !(b.MedianMin > 0) || !(b.SigmaLn > 0) || math.IsInf(b.MedianMin, 0) || math.IsInf(b.SigmaLn, 0) {
			return fmt.Errorf("controller: belief %d has median %g min and spread %g; both must be above 0", i+1, b.MedianMin, b.SigmaLn)
		}
	}
	return nil
}

// follow carries the observer on by dtS with the chamber at chamberC. The
// state handed in is left as it was: a step of the model works on a copy.
func (m *Mould) follow(o Observed, dtS, chamberC float64, air bool, witnessC []float64) Observed {
	if !o.Begun {
		o.State = m.Model.Start(chamberC)
		o.DoseMin = make([]float64, len(m.Clear))
		o.Begun = true
		return m.read(o)
	}
	if o.WaitS += dtS; o.WaitS < observeS {
		return o
	}
	step := o.WaitS
	o.WaitS = 0
	o.State = o.State.Clone()
	m.Model.Step(&o.State, step, chamberC, air)
	for i, flask := range m.Witness {
		if i < len(witnessC) && flask >= 0 {
			m.Model.Correct(&o.State, flask, witnessC[i])
		}
	}
	return m.readAfter(o, step)
}

// read fills in what the state shows.
func (m *Mould) read(o Observed) Observed { return m.readAfter(o, 0) }

func (m *Mould) readAfter(o Observed, stepS float64) Observed {
	r := m.Model.Read(&o.State)
	n := len(r.Flasks)
	all := make([]float64, 5*n)
	o.CoreC, o.SurfaceC, o.WaterLeft, o.CharLeft, o.Clear = all[:n:n], all[n:2*n:2*n], all[2*n:3*n:3*n], all[3*n:4*n:4*n], all[4*n:]
	dose := make([]float64, len(o.DoseMin))
	copy(dose, o.DoseMin)
	o.DoseMin = dose
	o.Dry, o.Chance = true, 1
	k := 0
	for i, f := range r.Flasks {
		o.CoreC[i], o.SurfaceC[i], o.WaterLeft[i], o.Clear[i] = f.CoreC, f.SurfaceC, f.FreeWaterLeft, f.ClearFraction
		o.Dry = o.Dry && f.Dry
		for _, p := range f.Pieces {
			o.CharLeft[i] = math.Max(o.CharLeft[i], p.CharFraction)
			b := m.Clear[k]
			dose[k] += Weight(p.TemperatureC, b.EnergyJPerMol) * stepS / 60
			o.Chance = math.Min(o.Chance, b.Chance(dose[k]))
			k++
		}
	}
	return o
}

// met reports whether what a hold waits for has come, and words it.
func (o Observed) met(s profile.Step, setC float64, temp func(float64) string) (bool, string) {
	switch s.Until {
	case profile.UntilDry:
		most := 0.0
		for _, w := range o.WaterLeft {
			most = math.Max(most, w)
		}
		return o.Dry, fmt.Sprintf("%.1f %% of the free water is left", most*100)
	case profile.UntilCore:
		worst := setC
		for _, c := range o.CoreC {
			if math.Abs(c-setC) > math.Abs(worst-setC) {
				worst = c
			}
		}
		return math.Abs(worst-setC) <= s.WithinC, "the core is at " + temp(worst)
	case profile.UntilDoor:
		return false, "" // the cursor knows
	case profile.UntilClear:
		return o.Chance >= s.Clear, fmt.Sprintf("the chance of being clear is %.0f %%", o.Chance*100)
	}
	return false, ""
}

// vector is the observer as every record carries it: for each kind of flask
// core °C, surface °C, free water left, char left, clear share, and last the
// chance of being clear; shares 0..1. It is nil before anything was seen.
func (o Observed) vector() []float64 {
	if !o.Begun {
		return nil
	}
	v := make([]float64, 0, 5*len(o.CoreC)+1)
	for i := range o.CoreC {
		v = append(v, o.CoreC[i], o.SurfaceC[i], o.WaterLeft[i], o.CharLeft[i], o.Clear[i])
	}
	return append(v, o.Chance)
}

// Prediction is how the rest of a firing looks from now, all since its start;
// -1 for what does not come within the horizon.
type Prediction struct {
	Dry, Clear, Chance, End time.Duration // Clear: by the model; Chance: when the hold until clear would end
}

// Predict runs the rest of the profile over the moulds, taking it that the
// kiln follows the plan. It costs some milliseconds. Without a mould, or with
// nothing left to do, everything is -1.
func (c *Controller) Predict(s State) Prediction {
	out := Prediction{-1, -1, -1, -1}
	m := c.cfg.Mould
	if m == nil || !s.Inside.Begun || s.Phase >= record.Done {
		return out
	}
	const stepS, horizonS = 60.0, 72 * 3600.0
	want := 0.95
	for _, st := range c.cfg.Profile.Steps {
		if st.Kind == profile.Hold && st.Until == profile.UntilClear {
			want = st.Clear
		}
	}
	o, p, air := s.Inside, s.Plan, s.Air
	setC := c.law.MeanC(s.Law)
	nowS := s.Now.Seconds()
	at := func(t float64) time.Duration { return time.Duration(t * float64(time.Second)) }
	for t := 0.0; t < horizonS; t += stepS {
		if out.Dry < 0 && o.Dry {
			out.Dry = at(nowS + t)
		}
		if clear := least(o.Clear); out.Clear < 0 && clear >= 0.995 {
			out.Clear = at(nowS + t)
		}
		if out.Chance < 0 && o.Chance >= want {
			out.Chance = at(nowS + t)
		}
		var ended bool
		p, setC, air, ended = c.imagine(p, o, setC, air, stepS)
		if ended {
			out.End = at(nowS + t)
			return out
		}
		o.WaitS = observeS
		o = m.follow(o, stepS-observeS, setC, air, nil)
	}
	return out
}

func least(v []float64) float64 {
	out := 1.0
	for _, x := range v {
		out = math.Min(out, x)
	}
	return out
}

// coolCPerS is how fast a kiln without heat is imagined to cool.
const coolCPerS = 100.0 / 3600

// imagine moves the plan on by dtS as if the kiln followed it, and returns
// where it then stands, the chamber, the air relay and whether all is done.
func (c *Controller) imagine(p Cursor, o Observed, chamberC float64, air bool, dtS float64) (Cursor, float64, bool, bool) {
	steps := c.cfg.Profile.Steps
	for p.Step < len(steps) {
		s := steps[p.Step]
		if !p.Entered {
			p = c.enter(p, chamberC, time.Time{})
			p.Arrived = true
		}
		yC := p.SetC
		switch {
		case s.Kind == profile.Air:
			air = s.On
		case p.Unheated:
			chamberC -= coolCPerS * dtS
			yC = chamberC
		case s.Kind == profile.Heat || s.Kind == profile.Cool:
			yC = s.TargetC // so that nothing is held back
		}
		var over bool
		p, _, over = c.move(p, dtS, yC, time.Time{}, o)
		if !p.Unheated {
			chamberC = p.SetC
		}
		if !over {
			return p, chamberC, air, false
		}
		p.Step, p.Entered = p.Step+1, false
		if s.Kind != profile.Air && s.Kind != profile.Tell {
			dtS = 0
		}
	}
	return p, chamberC, air, true
}

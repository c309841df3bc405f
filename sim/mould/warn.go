package mould

import (
	"fmt"
	"math"
)

// Warnings is a set of [Warning].
type Warnings uint16

// Warning is one thing to look out for, seen at some time of the firing.
type Warning uint16

// What a reading may warn of.
const (
	CarbonHot   Warning = 1 << iota // carbon left above 730 °C
	OxygenLow                       // kiln air below 5 % oxygen
	AshStays                        // ash will lie in the mould
	AshSoft                         // hotter than the ash bears
	CrackRisk                       // cracking index from 0.6
	CrackStop                       // cracking index from 1
	SteamRisk                       // steam index above 1
	BeyondModel                     // hotter than the model is good for
)

var warningTexts = map[Warning]string{
	CarbonHot:   "carbon was left above 730 C: gypsum gives off sulfur dioxide then, and silver and copper alloys take harm; finish the char below 730 C",
	OxygenLow:   "the kiln's air fell below 5 % oxygen: nothing burns clear in it; let in more air, or fire fewer moulds at once",
	AshStays:    "ash will lie in the mould: blow or wash it out before pouring",
	AshSoft:     "the piece was hotter than its ash bears: ash may stick to the mould face",
	CrackRisk:   "large difference through the wall at a silica inversion: the mould may crack; it was heated before it was dry, or too fast",
	CrackStop:   "the difference through the wall at a silica inversion is past the limit: stop the ramp until the core has followed",
	SteamRisk:   "steam is made faster than it can leave: the wall may spall; hold near 150 C until dry",
	BeyondModel: "hotter than 900 C: gypsum breaks down by itself there, which is not modelled",
}

// Text says what it means and what to do.
func (w Warning) Text() string { return warningTexts[w] }

// Has reports whether w is among them.
func (s Warnings) Has(w Warning) bool { return s&Warnings(w) != 0 }

// List gives the warnings in order.
func (s Warnings) List() []Warning {
	var out []Warning
	for w := CarbonHot; w <= BeyondModel; w <<= 1 {
		if s.Has(w) {
			out = append(out, w)
		}
	}
	return out
}

const (
	carbonLimitC = 730
	lowOxygen    = 0.05
	muchAsh      = 0.01
	gypsumC      = 900 // decomposes without carbon
)

func (s *Warnings) set(w Warning, on bool) {
	if on {
		*s |= Warnings(w)
	}
}

func (e *piece) warn(p *PieceState) (out Warnings) {
	out.set(CarbonHot, p.CarbonC > carbonLimitC)
	out.set(AshStays, e.ashKg > muchAsh*e.dryKg || e.material.Silica)
	out.set(AshSoft, e.material.Softens > 0 && p.HighC > float64(e.material.Softens))
	return out
}

func (f *flask) warn(r *FlaskReading, s *State) (out Warnings) {
	out.set(OxygenLow, s.LeastO2 < lowOxygen)
	out.set(CrackRisk, r.CrackingIndex >= crackWarning)
	out.set(CrackStop, r.CrackingIndex >= 1)
	out.set(SteamRisk, r.MostSteamIndex > 1)
	out.set(BeyondModel, r.SurfaceC > gypsumC)
	return out
}

// Ranges inside which the model was held against other figures.
const (
	thinM, thickM   = 0.004, 0.040
	smallM, largeM  = 0.050, 0.200
	leastK, mostK   = 0.2, 5.0
	leastWP, mostWP = 0.35, 0.50
)

// Notes says where these moulds lie outside what the model was checked for, one
// sentence each; nil if nowhere.
func (p Params) Notes() []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if d := float64(p.Flask.Diameter); d < smallM || d > largeM {
		say("flask of %v: checked from 50 mm to 200 mm", p.Flask.Diameter)
	}
	if a := orElse(p.Access, 1); a < leastK || a > mostK {
		say("access %g: outside 0.2 to 5 something else is wrong", a)
	}
	if w := orElse(p.Investment.Water, usualWater); w < leastWP || w > mostWP {
		say("water %.0f %%: the conductivity is that of mixes from 35 %% to 50 %%", w*100)
	}
	if orElse(p.Investment.Binder, usualBinder) > 0.5 {
		say("mostly plaster: it shrinks and cracks above 300 C, and its heat properties are those of investment here")
	}
	for _, o := range p.Patterns {
		m, ok := p.find(o.Material)
		if !ok {
			continue
		}
		d := float64(o.Section)
		switch {
		case m.Other > 0.5:
			say("%s: what melts and runs out is not modelled, so it is gone sooner", m.Name)
		case o.Shape == ShapeSheet:
			say("%s of %v: thin pieces burn as fast as chemistry lets them, which is known to a factor of a few", m.Name, o.Section)
		case d < thinM:
			say("%s of %v: below 4 mm chemistry, not air, sets the time, and it is known to a factor of a few", m.Name, o.Section)
		case d > thickM:
			say("%s of %v: checked up to 40 mm", m.Name, o.Section)
		}
	}
	return out
}

// freeAirLimitS is the longest that a char may take in fresh air at a ceiling
// that is called high enough; in a mould it takes longer still.
const freeAirLimitS = 12 * 3600

// CheckCeiling refuses a ceiling in °C that the chemistry of the patterns
// cannot do with, however much air there is, and one above which gypsum gives
// off sulfur dioxide while carbon is left, or breaks down.
func (p Params) CheckCeiling(ceilingC float64) error {
	if ceilingC > gypsumC {
		return fmt.Errorf("ceiling %.0f C: gypsum-bonded investment breaks down near %d C; at most %d C, and 730 C while char is left", ceilingC, gypsumC, gypsumC)
	}
	for _, o := range p.Patterns {
		m, ok := p.find(o.Material)
		if !ok {
			continue
		}
		if need := m.leastC(); ceilingC < need {
			return fmt.Errorf("ceiling %.0f C: %s would take over 12 h to burn there even in fresh air; it needs at least %.0f C", ceilingC, m.Name, math.Ceil(need))
		}
	}
	return nil
}

// leastC is where a material burns to clear in fresh air within the limit, °C.
func (m Material) leastC() float64 {
	turns := math.Log(1 / clearShare)
	need := func(r arrhenius) float64 { return r.eOverR/math.Log(r.a*freeAirLimitS/turns) - zeroK }
	out := 0.0
	if m.Char > 0 {
		out = need(arrhenius{charring.a * m.catalysis() * math.Pow(roomOxygen, charOrder), charring.eOverR})
	}
	if m.Other > 0 {
		out = max(out, need(rate(m.OtherLogA, m.OtherKJ)))
	}
	return out
}

package plan

import (
	"time"

	"calx/profile"
	"calx/sim/kiln"
	"calx/sim/mould"
)

// Input is what a plan is made from.
type Input struct {
	Kiln   kiln.Params
	Moulds []mould.Params
	Limits Limits // zero fields mean those of DefaultLimits

	AmbientC float64   // of the room, °C, -30 to 60; 0 is taken as written
	Now      time.Time // no plan starts before; zero: any time will do
	PourAt   time.Time // the mould is wanted at PourC then; zero: as soon as can be
	PourC    float64   // flask temperature at the pour, °C; 0: end at the top, clear
	// LeastC is the temperature the cavity may fall to before the metal is in,
	// °C; 0: 50 below PourC.
	LeastC float64

	AirOn       bool    // the fresh-air relay is on from the steam hold until clear
	PricePerKWh float64 // in the founder's money; 0: no cost is given

	Clear   float64  // chance that all is clear when the top hold ends; 0: 0.95
	Samples int      // of the Monte Carlo; 0: 200
	Seed    uint64   // of the Monte Carlo; the same seed gives the same plan
	Beliefs []Belief // what test pieces say; none: the physics alone

	Fahrenheit bool // write °F; everything inside stays °C
}

// Belief replaces the prior of one kind of pattern by what test pieces say: its
// burning from 350 °C to clear takes MedianFactor times what the model says,
// with a scatter of SigmaLn in the logarithm.
type Belief struct {
	Mould, Pattern int     // indexes into Moulds and its Patterns
	MedianFactor   float64 // above 0
	SigmaLn        float64 // 0 or more
}

// Limits are what a plan keeps. Zero fields mean those of [DefaultLimits].
type Limits struct {
	// SteamIndex is the most steam index, see mould.FlaskReading.
	SteamIndex float64
	// SteamHoldC is the most the chamber may have while free water is left.
	SteamHoldC float64
	// CristobaliteK and QuartzK are the most between surface and core while any
	// part is inside the inversion, K.
	CristobaliteK, QuartzK float64
	// CeilingC is the most the chamber may reach while char is left: the
	// profile's "never above".
	CeilingC float64
	// OvershootC is how far below the ceiling the top hold stays, K.
	OvershootC float64
	// LeastTopC is the least top hold, °C.
	LeastTopC float64
	// MostCPerH is the fastest ramp, up or down, °C/h.
	MostCPerH float64
	// Margin is the share of SteamIndex, CristobaliteK and QuartzK kept back,
	// 0 to 0.9; PowerMargin that of what the kiln can do, up or down.
	Margin, PowerMargin float64
}

// DefaultLimits are careful ones. Sources, limit by limit:
//
// Steam index 0.1: at 1 the pressure is the strength of the wall at the nominal
// permeability, which is known to a factor of ten either way.
//
// Steam hold 180 °C: the upper end of the 150 to 180 °C of a casting-equipment
// manual of 2011, and below the cristobalite inversion, so that no part moves
// while another is wet.
//
// 150 K in 200 to 280 °C and 100 K in 550 to 600 °C: common practice, no
// source; the mould model warns from there.
//
// Ramps at most 180 °C/h, 3 °C a minute: common practice, no source.
//
// Ceiling 730 °C: with carbon, gypsum gives off sulfur dioxide from 700 to
// 750 °C (common practice; dental materials texts). Top at least 700 °C: soot
// in the pores, which the model does not know (common practice, no source).
var DefaultLimits = Limits{
	SteamIndex: 0.1, SteamHoldC: 180, CristobaliteK: 150, QuartzK: 100,
	CeilingC: 730, OvershootC: 10, LeastTopC: 700, MostCPerH: 180, Margin: 0.1, PowerMargin: 0.2,
}

// orDefault fills in what is zero.
func (l Limits) orDefault() Limits {
	d := DefaultLimits
	for _, f := range []struct {
		v     *float64
		usual float64
	}{
		{&l.SteamIndex, d.SteamIndex}, {&l.SteamHoldC, d.SteamHoldC}, {&l.CristobaliteK, d.CristobaliteK},
		{&l.QuartzK, d.QuartzK}, {&l.CeilingC, d.CeilingC}, {&l.OvershootC, d.OvershootC},
		{&l.LeastTopC, d.LeastTopC}, {&l.MostCPerH, d.MostCPerH},
		{&l.Margin, d.Margin}, {&l.PowerMargin, d.PowerMargin},
	} {
		if *f.v == 0 {
			*f.v = f.usual
		}
	}
	return l
}

// What a second wetting costs: fired plaster takes up water but not its
// strength, so steam may press half as much and the hold is at the lower end of
// 150 to 180 °C (common practice, no source).
const (
	weakSteam = 0.5
	weakHoldC = 150
)

func (l Limits) weakened() Limits {
	l.SteamIndex *= weakSteam
	l.SteamHoldC = min(l.SteamHoldC, weakHoldC)
	return l
}

const (
	usualClear   = 0.95
	usualSamples = 200
	usualCoolK   = 50 // from PourC to LeastC, common practice, no source
)

func (in Input) orDefault() Input {
	in.Limits = in.Limits.orDefault()
	l := &in.Limits // the top is no lower than the pour, and below the ceiling anyway
	l.LeastTopC = min(max(l.LeastTopC, in.PourC), l.CeilingC-l.OvershootC)
	if in.Clear == 0 {
		in.Clear = usualClear
	}
	if in.Samples == 0 {
		in.Samples = usualSamples
	}
	if in.LeastC == 0 {
		in.LeastC = in.PourC - usualCoolK
	}
	return in
}

// Plan is a profile and what it comes to. Durations count from the start.
type Plan struct {
	Profile *profile.Profile
	Reasons []Reason // one per step of the profile

	Total        time.Duration // until ready: at the pour temperature, or clear
	DryAt        time.Duration
	ClearAt      Interval
	ClearBy      time.Duration // by then the chance asked for is reached
	Start, Ready time.Time     // zero if neither Now nor PourAt was given

	EnergyKWh float64 // electrical
	Cost      float64 // 0 without a price
	PeakDuty  float64 // most the kiln needed over 10 min, 0 to 1

	Curve  []Sample
	Window mould.Window // of the coolest flask, zero without a pour temperature
	Common Common
	// Marched is how long the march took, which no sentence can write, and
	// Fitted the sentences, both on the search's grid: what the fit gave away.
	Marched, Fitted time.Duration
	// Cooldown comes before, of a wash-out: how the burnt-out mould cools.
	Cooldown *Plan

	Notes   []string
	Binding string // what takes the most time, in words
}

// Reason tells why a step is as it is.
type Reason struct {
	Text     string
	Limit    Limit         // what binds the step
	From, To time.Duration // since the start, as planned
}

// Interval is when the last piece will be clear, with the chance Level that it
// is from Low to High; Level is 0.9.
type Interval struct {
	Low, Median, High time.Duration
	Level             float64
}

// Sample is one moment of a plan; of several moulds the worst.
type Sample struct {
	Since                  time.Duration
	Step                   int     // of the profile, from 0
	ChamberC               float64 // °C
	CoreC                  float64 // of the mould whose core is coolest, °C
	SurfaceC               float64 // of that mould, °C
	WaterKg                float64 // free water in all moulds
	BoundKg                float64 // water of gypsum in all moulds
	CharShare              float64 // char present over all that can form, largest
	ClearShare             float64 // 1 less what is left to burn, smallest
	SteamIndex             float64
	CristobaliteK, QuartzK float64 // surface to core while in the inversion, else 0
	Oxygen                 float64 // mole fraction in the kiln
	Starved                float64 // 1 where char waits for air, 0 where for heat; largest
}

// Limit names what a step runs against.
type Limit string

// The limits that can bind.
const (
	ByNothing      Limit = ""
	BySteam        Limit = "steam"
	ByWater        Limit = "water"
	ByCristobalite Limit = "cristobalite inversion"
	ByQuartz       Limit = "quartz inversion"
	ByCeiling      Limit = "ceiling"
	ByRate         Limit = "fastest ramp"
	ByPower        Limit = "kiln power"
	ByCooling      Limit = "kiln cooling"
	ByAir          Limit = "air"
	ByLag          Limit = "core lag"
)

// Help is what one change would save.
type Help struct {
	Name  string // "sprue left open"
	Saves time.Duration
	Total time.Duration // of the changed plan
	Note  string
	Err   error // the changed plan is refused
}

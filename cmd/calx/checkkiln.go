package main

import (
	"fmt"
	"math"
)

// checkedKiln is what a kiln can do, from its file.
type checkedKiln struct {
	Name      string      `json:"name"`
	About     string      `json:"about"`
	MaxC      float64     `json:"max_c"`    // what the maker allows
	TopC      float64     `json:"top_c"`    // what full power reaches, at most max_c
	VolumeL   float64     `json:"volume_l"` // of the chamber
	RatedW    float64     `json:"rated_w"`  // as the elements are, at nominal mains
	Relay     string      `json:"relay"`    // "ssr" or "contactor"
	Probe     string      `json:"probe"`    // letter of the thermocouple
	ColdToS   *float64    `json:"cold_to_top_s"`
	Abilities []kilnPoint `json:"at"` // over temperature
	Margins   kilnMargins `json:"margins"`
	oven      *oven
}

// kilnPoint is what a kiln can do at one temperature, in a room at 20 °C.
type kilnPoint struct {
	C         float64 `json:"c"`
	HoldDuty  float64 `json:"hold_duty"`          // 0..1 holds it, soaked; above 1 it cannot
	HoldW     float64 `json:"hold_w"`             // power that takes, W
	FullCPerH float64 `json:"full_power_c_per_h"` // heating from cold at full power
	CoolCPerH float64 `json:"cool_c_per_h"`       // falling without heat, from its top
	ProbeLagS float64 `json:"probe_lag_s"`        // by how much the probe is late in a ramp
}

// table are the temperatures of the table, °C: round ones in the unit shown,
// at most eight or so, and the kiln's maximum.
func table(maxC float64, inF bool) []float64 {
	step := 100.0
	back := func(v float64) float64 { return v }
	if inF {
		step = 200
		back = func(v float64) float64 { return (v - 32) * 5 / 9 }
	}
	top := inUnit(maxC, inF)
	if top/step > mostRows {
		step *= 2
	}
	var out []float64
	for v := step; v < top-step/4; v += step {
		out = append(out, back(v))
	}
	return append(out, maxC)
}

// mostRows is how many lines of table still read at a glance.
const mostRows = 14

func checkKiln(f *checkedFile, inF bool) error {
	k, err := openOven(f.File)
	if err != nil {
		return err
	}
	p := k.p
	out := &checkedKiln{
		Name: p.Name, About: p.About, MaxC: p.MaxC(), TopC: k.env.TopC, VolumeL: p.Chamber.VolumeM3() * 1000,
		RatedW: p.RatedW(), Relay: p.Relay.Kind, Probe: p.Probe.Type, oven: k,
	}
	for _, c := range table(p.MaxC(), false) {
		out.Abilities = append(out.Abilities, k.at(c))
	}
	if out.Margins, err = marginsOf(p); err != nil {
		return err
	}
	f.Kiln = out
	if !out.Margins.calm() {
		f.warn("control would be nervous on this kiln: %s; check probe.sheath, probe.inner_lag and elements.wire, which make its lags", out.Margins.sentence())
	}
	if out.TopC < out.MaxC-1 {
		f.warn("full power ends at %s, below the maximum of %s: the kiln is too weak for its own plate", wholeTemperature(out.TopC, inF), wholeTemperature(out.MaxC, inF))
	}
	return nil
}

func (k *oven) at(c float64) kilnPoint {
	b := k.p.Balance(c, roomC)
	return kilnPoint{C: c, HoldDuty: b.Duty, HoldW: b.PowerW, FullCPerH: k.env.FullPowerRate(c), CoolCPerH: k.env.CoolRate(c), ProbeLagS: k.p.ProbeLagS(c)}
}

func printKiln(e *env, f checkedFile, inF bool) {
	k := f.Kiln
	e.printf("%s  kiln, %s\n", e.paint(bold, f.File), k.Name)
	if k.About != "" {
		e.printf("  %s\n", wrap(k.About, e.width, 2))
	}
	e.printf("  maximum %s · %.3g L · %.2f kW · %s · type %s probe\n\n", wholeTemperature(k.MaxC, inF), k.VolumeL, k.RatedW/1000, relayName(k.Relay), k.Probe)
	head := fmt.Sprintf("  %9s  %9s  %8s  %13s  %13s  %9s", "at", "hold duty", "power", "at full power", "without heat", "probe lag")
	e.printf("%s\n", e.paint(faint, head))
	for _, c := range table(k.MaxC, inF) {
		a := k.oven.at(c)
		duty, power := fmt.Sprintf("%.0f %%", a.HoldDuty*100), fmt.Sprintf("%.0f W", a.HoldW)
		if a.HoldDuty > 1 {
			duty, power, a.CoolCPerH = "cannot", "–", 0
		}
		e.printf("  %9s  %9s  %8s  %13s  %13s  %7.0f s\n", wholeTemperature(a.C, inF), duty, power, rate(a.FullCPerH, "+", inF), rate(a.CoolCPerH, "-", inF), a.ProbeLagS)
	}
	e.printf("\n  %s\n", wrap("control: "+k.Margins.sentence(), e.width, 2))
	printFindings(e, f)
}

// rate words a heating rate, roughly: it is an estimate.
func rate(cPerH float64, sign string, inF bool) string {
	if cPerH < 1 {
		return "–"
	}
	if inF {
		cPerH *= 9.0 / 5
	}
	digits := math.Pow(10, math.Floor(math.Log10(cPerH))-1)
	return fmt.Sprintf("%s%.0f %s/h", sign, math.Round(cPerH/digits)*digits, degree(inF))
}

func relayName(kind string) string {
	if kind == "ssr" {
		return "solid-state relay"
	}
	return kind
}

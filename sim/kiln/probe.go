package kiln

import "math"

const (
	// probeHeatJM3K is the heat capacity of a sheathed probe per volume of its
	// outside at 20 °C, J/m³/K: metal sheath and packed magnesia are near 3e6
	// (Incropera & DeWitt, table A.1 and A.2, from memory); a tube with air
	// between wire and wall has less.
	probeHeatJM3K = 2.6e6
	// probeHeatGrowth per °C: nickel alloys and oxides gain about a third up to
	// 1000 °C (same tables).
	probeHeatGrowth = 0.35e-3
	// junctionShare of that heat capacity lies inside, with the junction.
	junctionShare = 0.35
	// weldedS stands for the lag of a junction welded to its sheath, s.
	weldedS = 0.1
	// filmDifferenceK is the difference between gas and a thin body at which
	// its free convection is worked out, K. The coefficient goes with its
	// fifth root or less, so one value does.
	filmDifferenceK = 50
	// wireDifferenceK is the same for a working heating wire.
	wireDifferenceK = 200
)

// areaM2 is the side of the sheath in the chamber.
func (p Probe) areaM2() float64 { return math.Pi * float64(p.Sheath) * float64(p.Immersion) }

// heatCapacity of the immersed length with its inside at tC in °C, J/K.
func (p Probe) heatCapacity(tC float64) float64 {
	volume := math.Pi / 4 * float64(p.Sheath) * float64(p.Sheath) * float64(p.Immersion)
	return probeHeatJM3K * volume * (1 + probeHeatGrowth*(tC-20))
}

// filmW is free convection to the sheath at tC in °C, W/m²/K.
func (p Probe) filmW(tC float64) float64 { return cylinderW(float64(p.Sheath), tC, filmDifferenceK) }

func wireFilmW(e Elements, tC float64) float64 {
	return cylinderW(float64(e.Wire), tC, wireDifferenceK)
}

// ProbeW is the heat transfer coefficient of the sheath in W/m²/K when sheath
// and chamber are near tC in °C: free convection and 4εσT³.
func (p Params) ProbeW(tC float64) float64 {
	tK := tC + zeroK
	return p.Probe.filmW(tC) + float64(p.Probe.Emissivity)*4*stefan*tK*tK*tK
}

// ProbeLagS is by how many seconds the junction follows the chamber in a slow
// ramp near tC in °C: heat capacity over film, and the inner lag. Worked value:
// a 6 mm sheath of emissivity 0.85 lags about 200 s cold and 25 s at 750 °C.
func (p Params) ProbeLagS(tC float64) float64 {
	return p.Probe.heatCapacity(tC)/(p.ProbeW(tC)*p.Probe.areaM2()) + math.Max(float64(p.Probe.InnerLag), weldedS)
}

// ElementLagS is the time constant in seconds of the heating wire at elementC
// in a chamber at chamberC, both °C: its heat capacity over film and radiation.
func (p Params) ElementLagS(chamberC, elementC float64) float64 {
	tK := elementC + zeroK
	emitting := p.emitting()
	sum := 0.0
	for _, a := range emitting {
		sum += a
	}
	seen := emitting[element] * (1 - emitting[element]/sum)
	g := 4*stefan*tK*tK*tK*seen + wireFilmW(p.Elements, (chamberC+elementC)/2)*p.ElementAreaM2()
	return p.ElementMassKg() * p.ElementCP(elementC) / g
}

package mould

import "math"

// diffusivity of oxygen in nitrogen, m²/s: 2.05e-5 at 20 °C and ∝ T^1.75,
// Fuller, Schettler & Giddings, Ind. Eng. Chem. 58 (1966) no. 5, 18, from
// memory. At 700 °C it is 1.67e-4.
func diffusivity(tK float64) float64 {
	x := tK / 293.15
	root := math.Sqrt(x)
	return 2.05e-5 * x * root * math.Sqrt(root)
}

// through is the effective diffusivity in the pores: molecular and Knudsen
// diffusion in series, the latter 97 r √(T/M), r in m, M in g/mol.
func (p pore) through(molecular, tK float64) float64 {
	const oxygenG = 32
	knudsen := 97 * p.radiusM * math.Sqrt(tK/oxygenG)
	return p.factor / (1/molecular + 1/knudsen)
}

// Shares of the molecular diffusivity in ash and in char, uncertain.
const (
	inAsh  = 0.5
	inChar = 0.2
	least  = 1e-6 // relative; keeps denominators from 0
)

// blocked is how much of a conductance stays when gas streams out against it:
// Pe/(e^Pe−1), exact for one-dimensional diffusion against a flow.
func blocked(peclet float64) float64 {
	switch {
	case peclet < 1e-6:
		return 1
	case peclet > 500:
		return 0
	}
	return peclet / math.Expm1(peclet)
}

// ashPath is the conductance from the skin of the piece to the char left in
// it, phi 1 to 0, as m: multiply by the diffusivity in ash. coreM is the radius
// of the char.
func (e *piece) ashPath(phi float64) (conductanceM, coreM float64) {
	r := e.radiusM
	switch e.shape {
	case 1:
		coreM = r * phi
		conductanceM = 2 * e.lengthM * e.lengthM / math.Max(r-coreM, least*r)
	case 2:
		coreM = r * math.Sqrt(phi)
		conductanceM = 2 * math.Pi * e.lengthM / math.Max(math.Log(r/math.Max(coreM, least*r)), least)
	default:
		coreM = r * math.Cbrt(phi)
		conductanceM = 4 * math.Pi / math.Max(1/math.Max(coreM, least*r)-1/r, least/r)
	}
	return conductanceM, coreM
}

// kinetics is the oxygen in mol/s that the char could burn at the mole
// fraction xs = e^y at its surface: order 0.6, slowed by diffusion within the
// char (effectiveness factor tanh φ/φ, Thiele; the length is volume over
// surface). It returns the logarithm and its slope in y.
type kinetics struct {
	full  float64 // mol/s at xs 1 without pore diffusion
	thiel float64 // φ at xs 1
}

func (k kinetics) log(y float64) (value, slope float64) {
	const half = (charOrder - 1) / 2
	phi := k.thiel * math.Exp(half*y)
	eta, dEta := 1.0, 0.0
	switch {
	case phi > 20:
		eta, dEta = 1/phi, -1
	case phi > 1e-4:
		th := math.Tanh(phi)
		eta = th / phi
		dEta = phi*(1-th*th)/th - 1 // d ln η / d ln φ
	}
	return math.Log(k.full*eta) + charOrder*y, charOrder + half*dEta
}

// meet finds the mole fraction at the char where kinetics take what the path
// of conductance g (mol/s per mole fraction) brings from x, and that flow.
// Newton in the logarithm, kept within a bracket; there is one root. guess is
// where to begin, 0 if unknown.
func meet(k kinetics, g, x, guess float64) (flow, xs float64) {
	const lowest, turns, near = 1e-14, 60, 1e-10
	if x <= lowest || g <= 0 || k.full <= 0 {
		return 0, 0
	}
	low, high := math.Log(lowest), math.Log(x)
	y := high - 1e-3
	if guess > lowest && guess < x {
		y = math.Log(guess)
	}
	for range turns {
		value, slope := k.log(y)
		at := math.Exp(y)
		over := value - math.Log(g*(x-at))
		if over > 0 {
			high = y
		} else {
			low = y
		}
		next := y - over/(slope+at/(x-at))
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		done := math.Abs(next-y) < near
		y = next
		if done || high-low < near {
			break
		}
	}
	xs = math.Exp(y)
	if x-xs < 1e-9 {
		value, _ := k.log(math.Log(x))
		return math.Min(math.Exp(value), g*x), xs
	}
	return g * (x - xs), xs
}

// breath is what one piece took and gave during a step.
type breath struct{ volatilesKg, oxygenMol float64 }

// Temperatures below which a reaction is too slow to matter in a month, K:
// they only save time.
const (
	charCold = 250 + zeroK
	coldK    = 60 + zeroK
)

// step moves a piece on by dt seconds at tK, in gas with the mole fraction x
// of oxygen, in investment whose pores are filled to the saturation given.
func (e *piece) step(s *PieceState, dt, tK, x, saturation float64) breath {
	var out breath
	inverse := 1 / tK
	dried := 0.0
	if s.WaterKg > 0 && tK > 273 {
		left := s.WaterKg * math.Exp(-drying.perS(inverse)*(1-saturation)*dt)
		if left < 1e-12*e.wetKg {
			left = 0
		}
		dried, s.WaterKg = s.WaterKg-left, left
		s.SteamKg += dried
	}
	if tK > coldK {
		out.volatilesKg = e.pyrolyse(s, dt, inverse)
	}
	if s.CharKg > 0 && tK > charCold {
		out.oxygenMol = e.burn(s, dt, tK, x, saturation, (dried/waterKg+out.volatilesKg/volatileKg)/dt)
	}
	return out
}

// pyrolyse is exact for a step at one temperature.
func (e *piece) pyrolyse(s *PieceState, dt, inverseK float64) float64 {
	gone := 0.0
	for i := range s.VolatileKg {
		v := s.VolatileKg[i]
		if v == 0 {
			continue
		}
		left := v * math.Exp(-e.rates[i].perS(inverseK)*dt)
		if left < 1e-12*e.startKg[i] {
			left = 0
		}
		gone += v - left
		s.VolatileKg[i] = left
	}
	s.GasKg += gone
	if gone > 0 && e.charKg > 0 {
		formed := e.charKg * gone / e.volumeKg
		s.CharKg += formed
		s.UnformedKg -= formed
		if s.volatiles() == 0 { // the last rest goes over whole
			s.CharKg += s.UnformedKg
			s.UnformedKg = 0
		}
	}
	return gone
}

// burn takes char away as oxygen comes to it, and returns the oxygen taken.
// streamMol is the gas that streams out, mol/s.
func (e *piece) burn(s *PieceState, dt, tK, x, saturation, streamMol float64) float64 {
	concentration := pressurePa / (gasR * tK) // mol/m³
	d := diffusivity(tK)
	open := e.pore.access*e.pore.through(d, tK)*e.wallM*(1-saturation) + d*e.sprueM
	if open > 0 {
		open *= blocked(streamMol / concentration / open)
	}
	if open <= 0 {
		s.SurfaceX = 0
		return 0
	}
	phi := math.Min(s.CharKg/e.charKg, 1)
	ash, coreM := e.ashPath(phi)
	g := concentration / (1/open + 1/(ash*inAsh*d))

	k := e.burning.perS(1 / tK)
	size := coreM / float64(e.shape)
	demand := kinetics{
		full:  k * s.CharKg * charCarbon / carbonKg,
		thiel: size * math.Sqrt(k*e.carbonM3/(concentration*inChar*d)),
	}
	flow, xs := meet(demand, g, x, s.SurfaceX)
	s.SurfaceX = xs
	burnt := math.Min(flow*dt*carbonKg/charCarbon, s.CharKg)
	s.CharKg -= burnt
	s.BurntKg += burnt
	return burnt * charCarbon / carbonKg
}

package kiln

import "math"

const (
	stefan  = 5.670374419e-8 // W/m²/K⁴, CODATA
	zeroK   = 273.15
	gravity = 9.80665 // m/s²
	// airDensityK is density times absolute temperature of air at one standard
	// atmosphere, kg·K/m³: 101325 Pa · 0.028965 kg/mol / 8.314463 J/mol/K.
	airDensityK = 352.99
)

// radiant is the exact conductance per area of grey exchange between bodies at
// a and b kelvin: σ(a²+b²)(a+b), W/m²/K. It tends to 4σT³.
func radiant(a, b float64) float64 { return stefan * (a*a + b*b) * (a + b) }

// cylinderW is the heat transfer coefficient in W/m²/K of free convection in
// air round a horizontal cylinder of the diameter given in m, at a film
// temperature in °C and a difference in K: Churchill and Chu, Int. J. Heat Mass
// Transfer 18 (1975) 1049; Incropera & DeWitt, equation 9.34.
func cylinderW(diameterM, filmC, differenceK float64) float64 {
	const prandtl = 0.70
	tK := filmC + zeroK
	nu := airViscosity(tK)
	k := airConductivity(tK)
	rayleigh := gravity / tK * differenceK * math.Pow(diameterM, 3) / (nu * nu) * prandtl
	nusselt := 0.60 + 0.387*math.Pow(rayleigh, 1.0/6)/math.Pow(1+math.Pow(0.559/prandtl, 9.0/16), 8.0/27)
	return nusselt * nusselt * k / diameterM
}

// airConductivity in W/m/K and airViscosity (kinematic) in m²/s at tK kelvin:
// power laws through Incropera & DeWitt, table A.4, 300 K (0.0263, 15.89e-6)
// and 1000 K (0.0667, 121.9e-6); within 3 % between.
func airConductivity(tK float64) float64 { return 0.0263 * math.Pow(tK/300, 0.773) }
func airViscosity(tK float64) float64    { return 15.89e-6 * math.Pow(tK/300, 1.692) }

// airCP is the mean specific heat of air in J/kg/K between the room and tC:
// Incropera & DeWitt, table A.4, 1007 at 300 K and 1141 at 1000 K.
func airCP(tC float64) float64 { return 1005 + 0.096*tC }

// chimney is the mass flow through gaps low and high in a hot chamber, relative
// to that at 700 °C inside and 20 °C outside. Bernoulli through two equal
// openings in series, driven by the weight of the cooler column, gives a flow
// in proportion to √((ρa−ρg)/(1/ρa+1/ρg)).
func chimney(gasK, roomK float64) float64 {
	const at700 = 1.371991e-3 // √((1/293.15 − 1/973.15)/(293.15 + 973.15)), 1/K
	if gasK <= roomK {
		return 0
	}
	return math.Sqrt((1/roomK-1/gasK)/(roomK+gasK)) / at700
}

// doorwayKgS is the air exchanged through an open door in kg/s: a third of
// width·√(g'·height³) each way, with a discharge coefficient of 0.6 (Brown and
// Solvason, Int. J. Heat Mass Transfer 5 (1962) 859).
func doorwayKgS(widthM, heightM, gasK, roomK float64) float64 {
	const discharge = 0.6
	cold, hot := airDensityK/roomK, airDensityK/gasK
	if cold <= hot {
		return 0
	}
	mean := (cold + hot) / 2
	return discharge / 3 * widthM * math.Sqrt(gravity*heightM*heightM*heightM*(cold-hot)*mean)
}

// caseW is the coefficient of free convection from the case to the room,
// W/m²/K: 1.31 ΔT^(1/3), turbulent, vertical plane, air (Holman, Heat Transfer,
// table 7-2).
func caseW(differenceK float64) float64 { return 1.31 * math.Cbrt(math.Abs(differenceK)) }

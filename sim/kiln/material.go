package kiln

import (
	"math"
	"slices"
)

// Material is one wall material: a density and its conductivity and specific
// heat over temperature.
type Material struct {
	// Name as a kiln file gives it.
	Name string
	// Source says where the figures come from.
	Source string
	// DensityKgM3 is the bulk density in kg/m³, taken as constant.
	DensityKgM3 float64

	knots []knot
}

// knot is one temperature of a property table.
type knot struct {
	tC float64 // °C
	k  float64 // conductivity, W/m/K
	cp float64 // specific heat capacity, J/kg/K
}

// The figures below are typical of their class, rounded, and lie inside the
// spread of makers' data: conductivity of the same grade differs by ±20 %
// between makers and rises with ageing. Bulk densities of the firebricks are
// below the limits of ASTM C155 for their group.
const (
	fromClass = "typical of the class, from memory of refractory handbooks (Routschka and Wuthnow, Handbook of Refractory Materials; Schulle, Feuerfeste Werkstoffe); density limit ASTM C155"
	fromFibre = "typical of aluminosilicate fibre products tested by ASTM C201, from memory of refractory handbooks (Routschka and Wuthnow, Handbook of Refractory Materials)"
	fromBoard = "typical of the class, from memory of thermal insulation handbooks (VDI Heat Atlas, part D6)"
)

var materials = []Material{
	{"firebrick 20", fromClass, 500, []knot{{20, 0.11, 820}, {200, 0.12, 900}, {400, 0.14, 970}, {600, 0.16, 1030}, {800, 0.19, 1080}, {1100, 0.23, 1120}}},
	{"firebrick 23", fromClass, 600, []knot{{20, 0.15, 820}, {200, 0.16, 900}, {400, 0.18, 970}, {600, 0.21, 1030}, {800, 0.24, 1080}, {1260, 0.31, 1140}}},
	{"firebrick 26", fromClass, 800, []knot{{20, 0.22, 820}, {200, 0.23, 900}, {400, 0.25, 970}, {600, 0.27, 1030}, {800, 0.30, 1080}, {1430, 0.40, 1160}}},
	{"firebrick 28", fromClass, 900, []knot{{20, 0.26, 820}, {200, 0.27, 900}, {400, 0.29, 970}, {600, 0.32, 1030}, {800, 0.35, 1080}, {1430, 0.46, 1160}}},
	{"fireclay brick", "Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, table A.3, fire clay brick burnt at 1600 K (conductivity, density, mean specific heat), from memory", 2050, []knot{{20, 1.0, 960}, {227, 1.0, 960}, {527, 1.1, 960}, {827, 1.1, 960}}},
	{"fibre blanket 96", fromFibre, 96, []knot{{20, 0.035, 800}, {200, 0.06, 900}, {400, 0.10, 990}, {600, 0.15, 1060}, {800, 0.21, 1100}, {1000, 0.29, 1130}, {1200, 0.38, 1150}}},
	{"fibre blanket 128", fromFibre, 128, []knot{{20, 0.035, 800}, {200, 0.055, 900}, {400, 0.09, 990}, {600, 0.13, 1060}, {800, 0.18, 1100}, {1000, 0.24, 1130}, {1200, 0.32, 1150}}},
	{"fibre board 300", fromFibre, 300, []knot{{20, 0.06, 800}, {200, 0.075, 900}, {400, 0.09, 990}, {600, 0.11, 1060}, {800, 0.14, 1100}, {1000, 0.18, 1130}, {1200, 0.23, 1150}}},
	{"calcium silicate 250", fromBoard, 250, []knot{{20, 0.055, 840}, {200, 0.07, 900}, {400, 0.09, 970}, {600, 0.11, 1030}, {800, 0.14, 1080}}},
	{"microporous board", fromBoard, 300, []knot{{20, 0.020, 780}, {200, 0.022, 860}, {400, 0.026, 940}, {600, 0.031, 1000}, {800, 0.037, 1050}}},
	{"mineral wool 100", fromBoard, 100, []knot{{20, 0.035, 820}, {100, 0.043, 850}, {300, 0.08, 930}, {500, 0.14, 1000}}},
}

// Materials lists the names a kiln file may give as a wall material.
func Materials() []string {
	out := make([]string, len(materials))
	for i, m := range materials {
		out[i] = m.Name
	}
	return out
}

// FindMaterial returns the material of that name.
func FindMaterial(name string) (Material, bool) {
	i := slices.IndexFunc(materials, func(m Material) bool { return m.Name == name })
	if i < 0 {
		return Material{}, false
	}
	return materials[i], true
}

// K is the thermal conductivity in W/m/K at tC in °C, linear between the
// table's temperatures and constant outside them.
func (m Material) K(tC float64) float64 {
	return interpolate(m.knots, tC, func(k knot) float64 { return k.k })
}

// CP is the specific heat capacity in J/kg/K at tC in °C, as K interpolates.
func (m Material) CP(tC float64) float64 {
	return interpolate(m.knots, tC, func(k knot) float64 { return k.cp })
}

// RhoCp is the heat capacity per volume in J/m³/K at tC in °C.
func (m Material) RhoCp(tC float64) float64 { return m.DensityKgM3 * m.CP(tC) }

// Between these temperatures what a layer conducts over its material changes
// from one ratio to the other, °C.
const ratioColdC, ratioHotC = 20, 1000

// times is the material with its conductivity multiplied, cold and hot, and its
// heat capacity.
func (m Material) times(cold, hot, cp float64) Material {
	if cold == 1 && hot == 1 && cp == 1 {
		return m
	}
	of := m
	m.knots = nil
	temps := []float64{ratioColdC, ratioHotC}
	for _, k := range of.knots {
		temps = append(temps, k.tC)
	}
	slices.Sort(temps)
	for _, t := range slices.Compact(temps) {
		way := math.Max(0, math.Min((t-ratioColdC)/(ratioHotC-ratioColdC), 1))
		m.knots = append(m.knots, knot{t, of.K(t) * (cold + (hot-cold)*way), of.CP(t) * cp})
	}
	return m
}

// constant is a material whose properties do not change with temperature.
func constant(k, density, cp float64) Material {
	return Material{Name: "given", Source: "given in the kiln file", DensityKgM3: density, knots: []knot{{20, k, cp}}}
}

func interpolate(knots []knot, tC float64, of func(knot) float64) float64 {
	i, exact := slices.BinarySearchFunc(knots, tC, func(k knot, t float64) int {
		switch {
		case k.tC < t:
			return -1
		case k.tC > t:
			return 1
		}
		return 0
	})
	switch {
	case exact:
		return of(knots[i])
	case i == 0:
		return of(knots[0])
	case i == len(knots):
		return of(knots[i-1])
	}
	a, b := knots[i-1], knots[i]
	return of(a) + (of(b)-of(a))*(tC-a.tC)/(b.tC-a.tC)
}

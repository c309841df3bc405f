package kiln

import (
	"math"

	"calx/sim/quantity"
)

// VolumeM3 is the volume of the chamber in m³.
func (c Chamber) VolumeM3() float64 { return float64(c.Width) * float64(c.Depth) * float64(c.Height) }

// AreaM2 is the area of the six hot faces in m².
func (c Chamber) AreaM2() float64 {
	w, d, h := float64(c.Width), float64(c.Depth), float64(c.Height)
	return 2 * (w*d + w*h + d*h)
}

func (c Chamber) edgesM() float64 { return 4 * float64(c.Width+c.Depth+c.Height) }

// Shape factors for heat conducted through an edge (per length) and a corner
// (per wall thickness) between two walls: Langmuir, Adams and Meikle, Trans.
// American Electrochemical Society 24 (1913) 53; also Incropera & DeWitt,
// Fundamentals of Heat and Mass Transfer, table 4.1, cases 8 and 9.
const (
	edgeShape   = 0.54
	cornerShape = 0.15
	corners     = 8
)

// wallAreaM2 is the area in m² that carries the heat at depth x in m behind
// the hot face, A0 + b·x + c·x². The coefficients make the resistance of a wall
// of constant conductivity, ∫dx/(kA), agree to second order in thickness with
// Langmuir's A0/L + 0.54 ΣE + 8·0.15 L; being smaller than the true area, they
// leave out the cold far corners of the brickwork.
func (c Chamber) wallAreaM2(x float64) float64 {
	a0 := c.AreaM2()
	b := 2 * edgeShape * c.edgesM()
	return a0 + b*x + (3*corners*cornerShape+b*b/(4*a0))*x*x
}

// outsideM2 is the area of the case in m².
func (p Params) outsideM2() float64 {
	t := quantity.Length(2 * p.WallM())
	return Chamber{Width: p.Chamber.Width + t, Depth: p.Chamber.Depth + t, Height: p.Chamber.Height + t}.AreaM2()
}

// WallM is the thickness of the whole wall in m.
func (p Params) WallM() float64 { return thickness(p.Walls) }

func thickness(layers []Layer) float64 {
	sum := 0.0
	for _, l := range layers {
		sum += float64(l.Thickness)
	}
	return sum
}

// Made is the material of the layer: the named one, or the constants given;
// with what the layer conducts and holds in comparison.
func (l Layer) Made() Material {
	m, known := FindMaterial(l.Material)
	if !known {
		if l.Conductivity == nil || l.Density == nil || l.HeatCapacity == nil {
			return Material{}
		}
		m = constant(float64(*l.Conductivity), float64(*l.Density), float64(*l.HeatCapacity))
	}
	return m.times(l.conducts(), l.conductsHot(), l.holds())
}

func (l Layer) conducts() float64    { return ratioOr(l.Conducts, 1) }
func (l Layer) conductsHot() float64 { return ratioOr(l.ConductsHot, l.conducts()) }
func (l Layer) holds() float64       { return ratioOr(l.Holds, 1) }

func ratioOr(r *quantity.Ratio, otherwise float64) float64 {
	if r == nil {
		return otherwise
	}
	return float64(*r)
}

// WallAreaM2 is the area in m² that carries the heat at the given depth in m
// behind the hot face; at depth 0 it is the area of the hot face.
func (p Params) WallAreaM2(depthM float64) float64 { return p.Chamber.wallAreaM2(depthM) }

// MaxC is the highest chamber temperature the maker allows, °C.
func (p Params) MaxC() float64 { return float64(p.Max) }

// RatedW is the power of the elements in W as they are: the nameplate less
// what ageing has taken, at nominal mains and working temperature.
func (p Params) RatedW() float64 {
	return float64(p.Elements.Rated) / (1 + float64(p.Elements.Ageing))
}

// alloy is the stuff of a heating wire.
type alloy struct {
	name        string
	densityKgM3 float64
	resistivity float64 // Ω·m at 20 °C
	factor      []knot  // k holds resistance over that at 20 °C, cp the specific heat
}

// Properties of the resistance alloys, from memory of DIN 17470 and of makers'
// handbooks: FeCrAl 22-5 (1.4765) and NiCr 80-20 (2.4869).
var alloys = []alloy{
	{"FeCrAl", 7150, 1.44e-6, []knot{{20, 1.00, 460}, {200, 1.005, 560}, {400, 1.01, 630}, {600, 1.02, 750}, {800, 1.03, 710}, {1000, 1.04, 720}, {1200, 1.04, 740}, {1400, 1.05, 800}}},
	{"NiCr", 8300, 1.09e-6, []knot{{20, 1.00, 460}, {200, 1.025, 480}, {400, 1.045, 510}, {600, 1.045, 580}, {800, 1.035, 600}, {1000, 1.045, 640}, {1200, 1.06, 690}}},
}

func alloyNames() []string {
	out := make([]string, len(alloys))
	for i, a := range alloys {
		out[i] = a.name
	}
	return out
}

// workingC is the wire temperature at which the nameplate power holds.
const workingC = 1000

func (e Elements) made() alloy {
	for _, a := range alloys {
		if a.name == e.Alloy {
			return a
		}
	}
	return alloys[0]
}

// ResistanceOhm is the resistance of all circuits in parallel at the wire
// temperature tC in °C, ageing included.
func (e Elements) ResistanceOhm(tC float64) float64 {
	hot := float64(e.Supply) * float64(e.Supply) / float64(e.Rated)
	return hot * e.factor(tC) / e.factor(workingC) * (1 + float64(e.Ageing))
}

func (e Elements) factor(tC float64) float64 {
	return interpolate(e.made().factor, tC, func(k knot) float64 { return k.k })
}

// wireLengthM is the length of all wire together: n circuits of n times the
// resistance each, by the resistivity of the new wire.
func (e Elements) wireLengthM() float64 {
	cold := float64(e.Supply) * float64(e.Supply) / float64(e.Rated) / e.factor(workingC)
	n := float64(e.Circuits)
	return n * n * cold * e.sectionM2() / e.made().resistivity
}

func (e Elements) sectionM2() float64 { return math.Pi / 4 * float64(e.Wire) * float64(e.Wire) }

// ElementAreaM2 is the whole surface of the heating wire in m².
func (p Params) ElementAreaM2() float64 {
	return math.Pi * float64(p.Elements.Wire) * p.Elements.wireLengthM()
}

// ElementMassKg is the mass of the heating wire in kg.
func (p Params) ElementMassKg() float64 {
	return p.Elements.made().densityKgM3 * p.Elements.sectionM2() * p.Elements.wireLengthM()
}

// ElementCP is the specific heat capacity of the wire in J/kg/K at tC in °C.
func (p Params) ElementCP(tC float64) float64 {
	return interpolate(p.Elements.made().factor, tC, func(k knot) float64 { return k.cp })
}

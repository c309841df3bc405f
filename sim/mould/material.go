package mould

import (
	"math"
	"slices"

	"calx/sim/quantity"
)

// Material is what a pattern is made of. The five shares are of the dry mass
// and add up to 1: what becomes volatile in the three parallel pyrolysis
// reactions of wood, what becomes volatile in one reaction of its own, char and
// ash.
type Material struct {
	Name string `yaml:"name" jsonschema_description:"the name a pattern uses"`
	// Source says where the figures come from.
	Source     string               `yaml:"source,omitempty" jsonschema_description:"where the figures come from"`
	Hemicell   quantity.Fraction    `yaml:"hemicellulose,omitempty" jsonschema_description:"share of dry mass that leaves like hemicellulose, about 270 C"`
	Cellulose  quantity.Fraction    `yaml:"cellulose,omitempty" jsonschema_description:"share of dry mass that leaves like cellulose, about 340 C"`
	Lignin     quantity.Fraction    `yaml:"lignin,omitempty" jsonschema_description:"share of dry mass that leaves like lignin, 200 to 600 C"`
	Other      quantity.Fraction    `yaml:"other,omitempty" jsonschema_description:"share of dry mass that leaves in one reaction of its own: wax, plastic"`
	Char       quantity.Fraction    `yaml:"char" jsonschema_description:"char left of the dry mass in a closed mould"`
	Ash        quantity.Fraction    `yaml:"ash" jsonschema_description:"ash left of the dry mass"`
	Density    quantity.Density     `yaml:"density" jsonschema_description:"dry mass over the volume of the shape; for a cone or head with its gaps"`
	Moisture   Moisture             `yaml:"moisture,omitempty" jsonschema_description:"usual water over dry mass"`
	Catalysis  float64              `yaml:"catalysis,omitempty" jsonschema:"minimum=0.1,maximum=20" jsonschema_description:"how much faster its char burns than that of wood, by the salts in it; 1 if left out"`
	Softens    quantity.Temperature `yaml:"ash_softens,omitempty" jsonschema_description:"temperature at which its ash begins to stick; left out if not known"`
	Silica     bool                 `yaml:"silica,omitempty" jsonschema_description:"true if the ash keeps its shape: grasses, husks"`
	OtherLogA  float64              `yaml:"other_log_a,omitempty" jsonschema_description:"log10 of the pre-exponential factor in 1/s of the reaction of its own"`
	OtherKJ    float64              `yaml:"other_kj_mol,omitempty" jsonschema_description:"activation energy in kJ/mol of the reaction of its own"`
	VolatileO2 float64              `yaml:"volatile_oxygen,omitempty" jsonschema_description:"kg of oxygen that burns 1 kg of volatiles; from the composition of wood if left out"`
}

// woodOxygen is the oxygen that burns 1 kg of dry ash-free wood, kg: C 50, H 6,
// O 44 parts (computed: 1.332 + 0.476 − 0.44).
const woodOxygen = 1.37

// Sources of the figures. Composition is rounded, with char at the high end
// because vapours stay long in a closed mould (Antal & Grønli, Ind. Eng. Chem.
// Res. 42 (2003) 1619, from memory); ±0.05 of each share is normal.
const (
	fromGronli = "volatile shares after Grønli, Várhegyi & Di Blasi, Ind. Eng. Chem. Res. 41 (2002) 4201, from memory; "
	fromBark   = "ash of juvenile bark 6.9 %, Dzurenda & Pňakovič, BioResources 11 (2016) 6464, read; rest from memory"
	fromPine   = fromGronli + "ash of pine branches, median 1.0 %, Energies 15 (2022) 1442, read"
	fromRav    = "composition after Raveendran, Ganesh & Khilar, Fuel 74 (1995) 1812, read; "
)

// materials is the built-in table. Softening of ash: tree prunings 770 °C
// (Osman & Goss 1983, Phyllis database no. 308) and wheat straw 870 °C
// (Phyllis no. 1303), both read; the rest of the column is by likeness.
var materials = []Material{
	{Name: "woody stem", Hemicell: .280, Cellulose: .360, Lignin: .095, Char: .255, Ash: .010, Density: 600, Moisture: .12, Catalysis: 1, Softens: 770, Source: fromPine},
	{Name: "herb stem", Hemicell: .300, Cellulose: .330, Lignin: .100, Char: .220, Ash: .050, Density: 300, Moisture: .10, Catalysis: 3, Softens: 770, Source: fromRav + "corn stalk as the likeness; density from memory, 100 to 350"},
	{Name: "twig", Hemicell: .265, Cellulose: .335, Lignin: .105, Char: .275, Ash: .020, Density: 580, Moisture: .12, Catalysis: 1.5, Softens: 720, Source: fromPine + "; more bark than a stem; twig ash melts 100 to 200 C below stem ash, study of spruce parts, read"},
	{Name: "bark", Hemicell: .200, Cellulose: .250, Lignin: .150, Char: .340, Ash: .060, Density: 450, Moisture: .12, Catalysis: 1.5, Softens: 770, Source: fromBark},
	{Name: "leaf", Hemicell: .280, Cellulose: .260, Lignin: .120, Char: .270, Ash: .070, Density: 350, Moisture: .10, Catalysis: 1, Softens: 770, Source: "fallen chestnut leaves, Cortez et al., Soil Biol. Biochem. 28 (1996) 443, read; ash 4 to 10 %, density from memory"},
	{Name: "flower head", Hemicell: .310, Cellulose: .280, Lignin: .100, Char: .240, Ash: .070, Density: 120, Moisture: .10, Catalysis: 3, Softens: 770, Source: "ash 5 to 10 %, all from memory, very variable"},
	{Name: "seed head", Hemicell: .290, Cellulose: .290, Lignin: .110, Char: .240, Ash: .070, Density: 100, Moisture: .10, Catalysis: 3, Softens: 770, Source: "ash 5 to 10 %, all from memory, very variable"},
	{Name: "seed pod", Hemicell: .260, Cellulose: .330, Lignin: .120, Char: .270, Ash: .020, Density: 500, Moisture: .12, Catalysis: 1.5, Softens: 770, Source: fromRav + "between coconut and groundnut shell; density from memory"},
	{Name: "cone", Hemicell: .250, Cellulose: .310, Lignin: .125, Char: .300, Ash: .015, Density: 240, Moisture: .12, Catalysis: 1, Softens: 770, Source: "extractives 23 to 30 %, Gönültaş & Balaban Uçar, stone-pine cones, read; shares and density of the envelope from memory"},
	{Name: "straw", Hemicell: .270, Cellulose: .320, Lignin: .090, Char: .240, Ash: .080, Density: 220, Moisture: .10, Catalysis: 3, Softens: 870, Silica: true, Source: fromRav + "wheat straw 11.2 % ash there, 3.3 % weathered in Phyllis no. 1303, read"},
	{Name: "paper", Hemicell: .110, Cellulose: .640, Lignin: .030, Char: .170, Ash: .050, Density: 700, Moisture: .06, Catalysis: 1, Source: "from memory; writing paper holds 10 to 25 % filler, filter paper next to none"},
	{Name: "card", Hemicell: .150, Cellulose: .540, Lignin: .060, Char: .170, Ash: .080, Density: 650, Moisture: .07, Catalysis: 1, Source: "from memory, between paper and pulp of wood"},
	{Name: "cotton", Hemicell: .060, Cellulose: .795, Lignin: .000, Char: .130, Ash: .015, Density: 300, Moisture: .07, Catalysis: 1, Source: "clean cotton: ash 1 to 1.5 % from memory; cotton waste 77.8 % cellulose, 5.4 % ash in Raveendran et al. 1995, read"},
	{Name: "sprue wax", Other: .9995, Char: 0, Ash: .0005, Density: 950, Catalysis: 1, OtherLogA: 5.94, OtherKJ: 90, VolatileO2: 3.46, Source: "paraffin: evaporation peak near 300 C at 10 K/min, oxygen as C25H52, ash below 0.05 %, all from memory; what melts and runs out is not modelled"},
	{Name: "pla", Other: .985, Char: .012, Ash: .003, Density: 1240, Catalysis: 1, OtherLogA: 12.68, OtherKJ: 180, VolatileO2: 1.33, Source: "lactide unit C3H4O2; peak near 365 C at 10 K/min, char 1 %, ash below 0.5 %, all from memory; pigments change it, and it swells"},
}

// Materials lists the built-in materials in a copy; figures and sources are
// for showing to people.
func Materials() []Material { return slices.Clone(materials) }

// find returns the material of that name, the file's own first.
func (p Params) find(name string) (Material, bool) {
	for _, list := range [][]Material{p.Materials, materials} {
		for _, m := range list {
			if m.Name == name {
				return m, true
			}
		}
	}
	return Material{}, false
}

func (p Params) materialNames() []string {
	var out []string
	for _, list := range [][]Material{p.Materials, materials} {
		for _, m := range list {
			out = append(out, m.Name)
		}
	}
	return out
}

// shareTolerance allows for shares written with three digits.
const shareTolerance = 0.005

func (m Material) check(c *checks, at string) {
	sum := float64(m.Hemicell + m.Cellulose + m.Lignin + m.Other + m.Char + m.Ash)
	if math.Abs(sum-1) > shareTolerance {
		c.add(at, "the shares of %s add up to %.3f; hemicellulose, cellulose, lignin, other, char and ash together make 1", m.Name, sum)
	}
	if !namePattern.MatchString(m.Name) {
		c.add(at+".name", "%q is not a name; use small letters, digits, spaces and hyphens, at most 40", m.Name)
	}
	within(c, at+".density", m.Density, 20, 3000)
	number(c, at+".catalysis", m.catalysis(), 0.1, 20)
	number(c, at+".volatile_oxygen", m.VolatileO2, 0, mostOxygen)
	if m.Softens != 0 {
		within(c, at+".ash_softens", m.Softens, 500, 1700)
	}
	if m.Other > 0 {
		number(c, at+".other_log_a", m.OtherLogA, -5, 40)
		number(c, at+".other_kj_mol", m.OtherKJ, 10, 500)
	}
}

func (m Material) catalysis() float64 {
	if m.Catalysis == 0 {
		return 1
	}
	return m.Catalysis
}

// mostOxygen is more than any vapour needs: methane takes 4 kg to the kg.
const mostOxygen = 5

// volatileOxygen is the oxygen that burns 1 kg of its volatiles, kg: what the
// whole needs less what its char needs, which says nothing any more where the
// volatiles are less than the slack in the shares.
func (m Material) volatileOxygen() float64 {
	if m.VolatileO2 != 0 {
		return m.VolatileO2
	}
	volatile := float64(m.Hemicell + m.Cellulose + m.Lignin + m.Other)
	if volatile == 0 {
		return 0
	}
	need := (woodOxygen*(1-float64(m.Ash)) - carbonOxygen*charCarbon*float64(m.Char)) / volatile
	return math.Max(0, math.Min(need, mostOxygen))
}

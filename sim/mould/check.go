package mould

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"calx/sim/quantity"
)

var namePattern = regexp.MustCompile(`^[a-z0-9][a-z0-9 -]{0,39}$`)

// checks collects the problems of one mould.
type checks []quantity.Problem

func (c *checks) add(path, format string, args ...any) {
	*c = append(*c, quantity.Problem{Path: path, Text: fmt.Sprintf(format, args...)})
}

// within reports v outside low to high, both in v's own unit.
func within[Q interface {
	~float64
	String() string
}](c *checks, path string, v, low, high Q) {
	if !(v >= low && v <= high) {
		c.add(path, "%v is outside %v to %v", v, low, high)
	}
}

// number is within for a plain number.
func number(c *checks, path string, v, low, high float64) {
	if !(v >= low && v <= high) {
		c.add(path, "%g is outside %g to %g", v, low, high)
	}
}

// given is within for a field that may be left out.
func given[Q interface {
	~float64
	String() string
}](c *checks, path string, v *Q, low, high Q) {
	if v != nil {
		within(c, path, *v, low, high)
	}
}

func (c *checks) count(path string, v, low, high int) {
	if v != 0 && (v < low || v > high) {
		c.add(path, "%d is outside %d to %d", v, low, high)
	}
}

func (c *checks) oneOf(path, v string, allowed ...string) {
	if !slices.Contains(allowed, v) {
		c.add(path, "%q is not known; use %s", v, strings.Join(allowed, ", "))
	}
}

var _ quantity.Checker = Params{}

// Bounds of what is looked at: they stop slips of unit and decimal point, not
// unusual moulds.
const (
	mostPatterns  = 24
	mostMaterials = 24
)

// Check reports every value outside its range and every pattern that does not
// fit its flask. Whether the flask fits the kiln is for whoever knows the kiln.
func (p Params) Check() []quantity.Problem {
	var c checks
	if !namePattern.MatchString(p.Name) {
		c.add("name", "%q is not a short name; use small letters, digits and hyphens, at most 40", p.Name)
	}
	c.count("count", p.Count, 1, 200)
	within(&c, "flask.diameter", p.Flask.Diameter, 0.02, 0.6)
	within(&c, "flask.height", p.Flask.Height, 0.02, 0.9)
	c.oneOf("flask.sleeve", p.Flask.Sleeve, SleeveSteel, SleeveNone, SleevePerforated)
	c.oneOf("flask.stands", p.Flask.Stands, OnShelf, OnGrate)
	within(&c, "flask.wall", p.Flask.Wall, 0, 0.012)
	p.Investment.check(&c)
	p.checkSprue(&c)
	if p.Access != nil {
		number(&c, "access", *p.Access, 0.02, 50)
	}
	c.count("patterns", len(p.Patterns), 1, mostPatterns)
	c.count("materials", len(p.Materials), 1, mostMaterials)
	for i, m := range p.Materials {
		m.check(&c, fmt.Sprintf("materials[%d]", i))
	}
	for i, o := range p.Patterns {
		p.checkPattern(&c, o, fmt.Sprintf("patterns[%d]", i))
	}
	return c
}

func (i Investment) check(c *checks) {
	const at = "investment."
	given(c, at+"water", i.Water, 0.25, 0.95)
	given(c, at+"binder", i.Binder, 0, 1)
	given(c, at+"free_water", i.FreeWater, 0, 900)
	given(c, at+"density", i.Density, 300, 4000)
	given(c, at+"conductivity", i.Conductivity, 0.02, 20)
	given(c, at+"wet_conductivity", i.WetConductivity, 0, 5)
	given(c, at+"heat_capacity", i.HeatCapacity, 200, 4500)
	given(c, at+"convection", i.Convection, 1, 1e6)
	given(c, at+"emissivity", i.Emissivity, 0, 1)
	given(c, at+"base", i.Base, 0, 1)
	given(c, at+"pore_radius", i.PoreRadius, 1e-8, 1e-4)
	if i.Tortuosity != nil {
		number(c, at+"tortuosity", *i.Tortuosity, 1, 20)
	}
	if i.Water != nil && i.FreeWater == nil {
		binder := orElse(i.Binder, usualBinder)
		if need := binder * hemiWater; float64(*i.Water) < need {
			c.add(at+"water", "%v is less than the %.0f %% that the binder takes up in setting", *i.Water, need*100)
		}
	}
}

func (p Params) checkSprue(c *checks) {
	if !p.Sprue.Open && p.Sprue.Diameter == 0 {
		return
	}
	within(c, "sprue.diameter", p.Sprue.Diameter, 0.0005, 0.1)
	within(c, "sprue.length", p.Sprue.Length, 0.001, 0.5)
	if p.Sprue.Diameter >= p.Flask.Diameter {
		c.add("sprue.diameter", "%v is not less than the %v of the flask", p.Sprue.Diameter, p.Flask.Diameter)
	}
	if p.Sprue.Length >= p.Flask.Height {
		c.add("sprue.length", "%v is not less than the height of the flask, %v", p.Sprue.Length, p.Flask.Height)
	}
}

func (p Params) checkPattern(c *checks, o Pattern, at string) {
	material, known := p.find(o.Material)
	if !known {
		c.oneOf(at+".material", o.Material, p.materialNames()...)
	}
	c.oneOf(at+".shape", o.Shape, ShapeStem, ShapeBall, ShapeSheet)
	within(c, at+".section", o.Section, 0.00005, 0.5)
	c.count(at+".count", o.Count, 1, 500)
	if o.Shape != ShapeBall && o.Length == 0 {
		c.add(at, "length is missing; a %s needs one, for example 60 mm", o.Shape)
		return
	}
	if o.Shape == ShapeBall && o.Length != 0 && o.Length != o.Section {
		c.add(at+".length", "%v is given for a ball, which has a section only; use shape: stem for a long piece", o.Length)
	}
	if o.Shape != ShapeBall {
		within(c, at+".length", o.Length, 0.0005, 0.9)
	}
	given(c, at+".mass", o.Mass, 1e-7, 20)
	if o.Mass != nil && known && *o.Mass > 0 {
		p.checkMass(c, o, material, at)
	}
	p.checkFit(c, o, at)
}

// checkMass stops a slip of unit: a piece whose mass and size contradict each
// other by more than any wood, cone or wax can.
func (p Params) checkMass(c *checks, o Pattern, m Material, at string) {
	const lightest, densest = 15, 1700 // kg/m³, down and solid cell wall with ash
	density := float64(*o.Mass) / o.volumeM3()
	if density < lightest || density > densest {
		c.add(at+".mass", "%v in this shape would be %.3g kg/m3; %s is about %v, and nothing that burns is outside %d to %d",
			*o.Mass, density, m.Name, m.Density, lightest, densest)
	}
}

// checkFit refuses a piece that leaves no investment around it.
func (p Params) checkFit(c *checks, o Pattern, at string) {
	flask := p.Flask
	across, along := o.Section, o.Length
	switch o.Shape {
	case ShapeBall:
		along = o.Section
	case ShapeSheet:
		if o.Section > o.Length {
			c.add(at+".section", "%v is more than the length %v; the section of a sheet is its thickness", o.Section, o.Length)
			return
		}
	}
	if across >= flask.Diameter {
		c.add(at+".section", "%v does not fit a flask of %v; at most %v leaves 5 mm of investment on each side", across, flask.Diameter, max(0, flask.Diameter-0.010))
		return
	}
	if along >= flask.Height {
		field := at + ".length"
		if o.Shape == ShapeBall {
			field = at + ".section"
		}
		c.add(field, "%v does not fit a flask %v high; give the length that stands in the investment", along, flask.Height)
		return
	}
	if o.AboveBase != 0 {
		if low, high := along/2, flask.Height-along/2; o.AboveBase < low || o.AboveBase > high {
			c.add(at+".above_base", "%v would let the piece stick out; its middle is at %v to %v", o.AboveBase, low, high)
		}
	}
}

// volumeM3 is the volume of the shape.
func (o Pattern) volumeM3() float64 {
	d, l := float64(o.Section), float64(o.Length)
	switch o.Shape {
	case ShapeBall:
		return math.Pi / 6 * d * d * d
	case ShapeSheet:
		return d * l * l
	}
	return math.Pi / 4 * d * d * l
}

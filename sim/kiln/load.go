package kiln

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/invopop/jsonschema"

	"calx/sim/quantity"
)

//go:embed kilns/*.yaml
var shipped embed.FS

// Shipped lists the names of the kilns that come with calx, sorted.
func Shipped() []string {
	entries, err := shipped.ReadDir("kilns")
	if err != nil {
		panic("BUG: the embedded kilns are gone: " + err.Error())
	}
	var out []string
	for _, e := range entries {
		out = append(out, strings.TrimSuffix(e.Name(), ".yaml"))
	}
	slices.Sort(out)
	return out
}

// ShippedFile returns the YAML text of a shipped kiln, fit for [Load]. The
// error names the kilns there are.
func ShippedFile(name string) ([]byte, error) {
	if !slices.Contains(Shipped(), name) {
		return nil, fmt.Errorf("kiln %q does not come with calx; there are %s", name, strings.Join(Shipped(), ", "))
	}
	return shipped.ReadFile("kilns/" + name + ".yaml")
}

// Load reads and checks one kiln. file only names the place in errors, which
// are of type [quantity.Errors]: file, line, column, the value read and the
// range allowed, all problems at once.
func Load(file string, data []byte) (Params, error) {
	var p Params
	if err := quantity.Decode(file, data, &p); err != nil {
		return Params{}, err
	}
	return p, nil
}

// Schema is the JSON Schema (draft 2020-12) of a kiln file, for editors.
func Schema() []byte {
	r := jsonschema.Reflector{DoNotReference: true, Anonymous: true, FieldNameTag: "yaml"}
	s := r.Reflect(&Params{})
	s.Title = "calx kiln"
	s.Description = "An electric kiln. Every value carries its unit, such as 90 mm, 2.4 kW or 1100 C."
	if walls, ok := s.Properties.Get("walls"); ok {
		if m, ok := walls.Items.Properties.Get("material"); ok {
			for _, name := range Materials() {
				m.Enum = append(m.Enum, name)
			}
		}
	}
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(s); err != nil {
		panic("BUG: the kiln schema cannot be written: " + err.Error())
	}
	return out.Bytes()
}

var namePattern = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,39}$`)

// checks collects the problems of one kiln.
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

// Day is how a kiln file writes a day.
const Day = time.DateOnly

// day reports what is no day; "" is none given.
func (c *checks) day(path, v string) {
	if _, err := time.Parse(Day, v); v != "" && err != nil {
		c.add(path, "%q is no day; write it as 2026-01-31", v)
	}
}

func (c *checks) count(path string, v, low, high int) {
	if v < low || v > high {
		c.add(path, "%d is outside %d to %d", v, low, high)
	}
}

func (c *checks) oneOf(path, v string, allowed ...string) {
	if !slices.Contains(allowed, v) {
		c.add(path, "%q is not known; use %s", v, strings.Join(allowed, ", "))
	}
}

// Check reports every value outside its range. The ranges are wide: they stop
// slips of unit and decimal point, not unusual kilns.
func (p Params) Check() []quantity.Problem {
	var c checks
	if !namePattern.MatchString(p.Name) {
		c.add("name", "%q is not a short name; use small letters, digits and hyphens, at most 40", p.Name)
	}
	within(&c, "max", p.Max, 200, 1400)
	p.checkBody(&c)
	p.checkElements(&c)
	within(&c, "air.leakage", p.Air.Leakage, 0, 200.0/3600)
	within(&c, "air.vent", p.Air.Vent, 0, 1000.0/3600)
	within(&c, "air.opening", p.Air.Opening, 0, 0.02)
	within(&c, "door.width", p.Door.Width, 0.02, 2)
	within(&c, "door.height", p.Door.Height, 0.02, 2)
	within(&c, "load.mass", p.Load.Mass, 0.05, 1000)
	within(&c, "load.heat_capacity", p.Load.HeatCapacity, 200, 4500)
	within(&c, "load.area", p.Load.Area, 0.001, 20)
	within(&c, "load.emissivity", p.Load.Emissivity, 0.05, 1)
	within(&c, "load.core", p.Load.Core, 0.05, 0.95)
	within(&c, "load.inside", p.Load.Inside, 0.01, 1000)
	p.checkProbe(&c)
	p.checkRelay(&c)
	return c
}

func (p Params) checkBody(c *checks) {
	within(c, "chamber.width", p.Chamber.Width, 0.03, 2)
	within(c, "chamber.depth", p.Chamber.Depth, 0.03, 2)
	within(c, "chamber.height", p.Chamber.Height, 0.03, 2)
	within(c, "chamber.emissivity", p.Chamber.Emissivity, 0.3, 1)
	within(c, "chamber.convection", p.Chamber.Convection, 1, 100)
	within(c, "shell.mass", p.Shell.Mass, 0.1, 1000)
	within(c, "shell.emissivity", p.Shell.Emissivity, 0.05, 1)
	within(c, "shell.bridges", p.Shell.Bridges, 0, 20)
	c.count("walls", len(p.Walls), 1, maxLayers)
	for i, l := range p.Walls {
		at := fmt.Sprintf("walls[%d]", i)
		within(c, at+".thickness", l.Thickness, 0.002, 0.5)
		own := 0
		if l.Conductivity != nil {
			own++
			within(c, at+".conductivity", *l.Conductivity, 0.005, 100)
		}
		if l.Density != nil {
			own++
			within(c, at+".density", *l.Density, 20, 10000)
		}
		if l.HeatCapacity != nil {
			own++
			within(c, at+".heat_capacity", *l.HeatCapacity, 100, 5000)
		}
		within(c, at+".conducts", quantity.Ratio(l.conducts()), 0.2, 5)
		within(c, at+".conducts_hot", quantity.Ratio(l.conductsHot()), 0.2, 5)
		within(c, at+".holds", quantity.Ratio(l.holds()), 0.2, 5)
		switch {
		case l.Material != "" && own > 0:
			c.add(at, "has a material and properties of its own; keep one of the two")
		case l.Material != "":
			c.oneOf(at+".material", l.Material, Materials()...)
		case own != 3:
			c.add(at, "names no material; give one, or conductivity, density and heat_capacity together")
		}
	}
}

// Surface load of the wire, W/m². Long-lived elements of small kilns carry 1
// to 4 W/cm² (common practice, no source); far outside it, wire diameter or
// number of circuits is wrong.
const (
	leastSurfaceLoad = 0.3e4
	mostSurfaceLoad  = 12e4
)

func (p Params) checkElements(c *checks) {
	before := len(*c)
	c.oneOf("elements.alloy", p.Elements.Alloy, alloyNames()...)
	within(c, "elements.supply", p.Elements.Supply, 12, 690)
	within(c, "elements.rated", p.Elements.Rated, 50, 60000)
	within(c, "elements.wire", p.Elements.Wire, 0.0002, 0.01)
	c.count("elements.circuits", p.Elements.Circuits, 1, 24)
	within(c, "elements.emissivity", p.Elements.Emissivity, 0.2, 1)
	within(c, "elements.exposed", p.Elements.Exposed, 0.1, 1)
	within(c, "elements.ageing", p.Elements.Ageing, 0, 0.5)
	c.day("elements.new", p.Elements.New)
	if len(*c) > before {
		return
	}
	if load := float64(p.Elements.Rated) / p.ElementAreaM2(); load < leastSurfaceLoad || load > mostSurfaceLoad {
		c.add("elements.wire", "this wire would carry %.1f W/cm2 on its surface, outside %.1f to %.0f; check diameter and circuits",
			load/1e4, leastSurfaceLoad/1e4, mostSurfaceLoad/1e4)
	}
}

func (p Params) checkProbe(c *checks) {
	c.oneOf("probe.type", p.Probe.Type, "B", "E", "J", "K", "N", "R", "S", "T")
	within(c, "probe.sheath", p.Probe.Sheath, 0.0005, 0.03)
	within(c, "probe.immersion", p.Probe.Immersion, 0.005, 1)
	within(c, "probe.emissivity", p.Probe.Emissivity, 0.1, 1)
	within(c, "probe.inner_lag", p.Probe.InnerLag, 0, 120)
	c.day("probe.new", p.Probe.New)
}

func (p Params) checkRelay(c *checks) {
	c.oneOf("relay.kind", p.Relay.Kind, SSR, Contactor)
	c.count("relay.rated_cycles", p.Relay.RatedCycles, 1000, 2_000_000_000)
	within(c, "relay.least_on", p.Relay.LeastOn, 0, 120)
	within(c, "relay.least_off", p.Relay.LeastOff, 0, 120)
	c.day("relay.new", p.Relay.New)
	if p.Relay.MostCycles != 0 {
		within(c, "relay.most_cycles", p.Relay.MostCycles, 1.0/3600, 60000.0/3600)
	}
}

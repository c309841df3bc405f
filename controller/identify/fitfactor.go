package identify

import (
	"math"
	"slices"
	"strconv"

	"calx/sim/kiln"
	"calx/sim/quantity"
)

// factor is one figure of a kiln file, or several that go together, which the
// fit multiplies. What the file says is where it begins, and how far people's
// figures are usually off is how strongly it holds on to that.
type factor struct {
	key  string // stable, for programs
	name string // for people
	path string // of the value in the kiln file
	// spread is the standard deviation of the logarithm of what is true over
	// what a kiln file says.
	spread float64
	value  func(p kiln.Params) string
	scale  func(p *kiln.Params, by float64)
	has    func(p kiln.Params) bool // nil: every kiln
}

// The spreads. Power: a heating appliance may draw 5 % more and 10 % less than
// its plate says (IEC 60335-1, clause 10.1), a mains voltage 3 % off for long
// adds 6 %. Conductivity of one grade of brick or fibre differs by 20 % between
// makers (see sim/kiln), heat capacity by 10 %. The rest is common practice
// without a source: what a tape measure, a kitchen scale and a guess are good
// for.
var factors = []factor{
	{"power", "element power", "elements.ageing", 0.05, func(p kiln.Params) string { return quantity.Power(round(p.RatedW())).String() }, scalePower, nil},
	{"wall_conduction", "wall conduction, cold", "walls[0].conducts", 0.2, func(p kiln.Params) string { return percent(conducts(p)) }, func(p *kiln.Params, by float64) {
		eachLayer(p, func(l *kiln.Layer) {
			hot := ratioOf(l.ConductsHot, l.Conducts) * by
			multiply(&l.Conducts, by)
			set(&l.ConductsHot, hot)
		})
	}, nil},
	{"wall_conduction_hot", "wall conduction at 1000 °C over cold", "walls[0].conducts_hot", 0.25, func(p kiln.Params) string { return percent(conductsHot(p) / conducts(p)) }, func(p *kiln.Params, by float64) {
		eachLayer(p, func(l *kiln.Layer) { set(&l.ConductsHot, ratioOf(l.ConductsHot, l.Conducts)*by) })
	}, nil},
	{"wall_heat", "wall heat capacity", "walls[0].holds", 0.12, func(p kiln.Params) string { return percent(holds(p)) }, func(p *kiln.Params, by float64) {
		eachLayer(p, func(l *kiln.Layer) { multiply(&l.Holds, by) })
	}, nil},
	{"load", "load mass", "load.mass", 0.25, func(p kiln.Params) string { return p.Load.Mass.String() }, func(p *kiln.Params, by float64) { p.Load.Mass *= quantity.Mass(by) }, nil},
	{"load_inside", "conduction into the load", "load.inside", 0.4, func(p kiln.Params) string { return p.Load.Inside.String() }, func(p *kiln.Params, by float64) { p.Load.Inside *= quantity.Conductance(by) }, nil},
	{"exchange", "exchange in the chamber", "chamber.convection", 0.3, func(p kiln.Params) string { return p.Chamber.Convection.String() }, func(p *kiln.Params, by float64) {
		p.Chamber.Convection *= quantity.HeatTransfer(by)
		p.Load.Area *= quantity.Area(by)
	}, nil},
	{"bridges", "loss past the lining", "shell.bridges", 0.5, func(p kiln.Params) string { return p.Shell.Bridges.String() }, func(p *kiln.Params, by float64) { p.Shell.Bridges *= quantity.Conductance(by) },
		func(p kiln.Params) bool { return p.Shell.Bridges > 0 }},
	{"opening", "radiation through openings", "air.opening", 0.5, func(p kiln.Params) string { return p.Air.Opening.String() }, func(p *kiln.Params, by float64) { p.Air.Opening *= quantity.Area(by) },
		func(p kiln.Params) bool { return p.Air.Opening > 0 }},
	{"leakage", "air through gaps", "air.leakage", 0.5, func(p kiln.Params) string { return p.Air.Leakage.String() }, func(p *kiln.Params, by float64) { p.Air.Leakage *= quantity.Frequency(by) },
		func(p kiln.Params) bool { return p.Air.Leakage > 0 }},
	{"vent", "air through the vent", "air.vent", 0.5, func(p kiln.Params) string { return p.Air.Vent.String() }, func(p *kiln.Params, by float64) { p.Air.Vent *= quantity.Frequency(by) },
		func(p kiln.Params) bool { return p.Air.Vent > 0 }},
	{"element", "exposure of the wire", "elements.exposed", 0.4, func(p kiln.Params) string { return percent(float64(p.Elements.Exposed)) }, func(p *kiln.Params, by float64) {
		p.Elements.Exposed = quantity.Fraction(math.Min(math.Max(float64(p.Elements.Exposed)*by, 0.1), 1))
	}, nil},
	{"probe", "lag of the probe", "probe.sheath", 0.4, func(p kiln.Params) string { return quantity.Length(roundIn(float64(p.Probe.Sheath), 1000)).String() }, func(p *kiln.Params, by float64) {
		p.Probe.Sheath *= quantity.Length(by)
		p.Probe.InnerLag *= quantity.Duration(by)
	}, nil},
}

// water is how much of the water that their files give them the moulds held:
// they may have stood on a warm shelf for days, or be burnt out already. Its
// figure is the share itself, not a logarithm, and no kiln file holds it.
var water = factor{"water", "water boiled off the moulds", "", 0.7, func(kiln.Params) string { return "100 %" }, func(*kiln.Params, float64) {}, nil}

// scalePower makes the elements draw by times what they drew. Less is age, a
// nameplate being what it is; more than new elements draw by theirs is another
// nameplate.
func scalePower(p *kiln.Params, by float64) {
	e := &p.Elements
	age := (1+float64(e.Ageing))/by - 1
	if age < 0 {
		e.Rated *= quantity.Power(1 / (1 + age))
		age = 0
	}
	e.Ageing = quantity.Fraction(age)
}

func eachLayer(p *kiln.Params, do func(*kiln.Layer)) {
	p.Walls = slices.Clone(p.Walls)
	for i := range p.Walls {
		do(&p.Walls[i])
	}
}

func multiply(r **quantity.Ratio, by float64) { set(r, ratioOf(*r)*by) }

func set(r **quantity.Ratio, to float64) {
	v := quantity.Ratio(to)
	*r = &v
}

// conducts, conductsHot and holds are of the layer at the hot face; all change
// together.
func conducts(p kiln.Params) float64 { return ratioOf(p.Walls[0].Conducts) }
func conductsHot(p kiln.Params) float64 {
	return ratioOf(p.Walls[0].ConductsHot, p.Walls[0].Conducts)
}
func holds(p kiln.Params) float64 { return ratioOf(p.Walls[0].Holds) }

// ratioOf is the first of the ratios that is given, or 1.
func ratioOf(rs ...*quantity.Ratio) float64 {
	for _, r := range rs {
		if r != nil {
			return float64(*r)
		}
	}
	return 1
}

func percent(v float64) string { return strconv.FormatFloat(math.Round(v*1000)/10, 'f', -1, 64) + " %" }

// factorsOf lists the factors that a kiln has.
func factorsOf(p kiln.Params, vented, wet bool) []factor {
	out := slices.DeleteFunc(slices.Clone(factors), func(f factor) bool {
		return f.has != nil && !f.has(p) || f.key == "vent" && !vented
	})
	if wet {
		out = append(out, water)
	}
	return out
}

// waterIn is the share of the water that the figures x give.
func waterIn(list []factor, x []float64) float64 {
	if last := len(list) - 1; list[last].key == water.key {
		return math.Max(1+x[last], 0)
	}
	return 1
}

// apply multiplies the figures of p by the exponentials of x.
func apply(p kiln.Params, list []factor, x []float64) kiln.Params {
	for i, f := range list {
		f.scale(&p, math.Exp(x[i]))
	}
	return p
}

// digits is how many a fitted figure keeps: no fit is better than that.
const digits = 4

func round(v float64) float64 { return roundIn(v, 1) }

// roundIn rounds v as it is written in a unit of which there are per in one.
func roundIn(v, per float64) float64 {
	if v == 0 || v-v != 0 {
		return v
	}
	r, err := strconv.ParseFloat(strconv.FormatFloat(v*per, 'g', digits, 64), 64)
	if err != nil {
		panic("BUG: a number that was written cannot be read: " + err.Error())
	}
	return r / per
}

// rounded is p with every figure that a fit changes rounded to digits.
func rounded(p kiln.Params) kiln.Params {
	eachLayer(&p, func(l *kiln.Layer) {
		for _, r := range []**quantity.Ratio{&l.Conducts, &l.ConductsHot, &l.Holds} {
			if *r != nil {
				set(r, roundIn(float64(**r), 100))
			}
		}
	})
	p.Elements.Rated = quantity.Power(round(float64(p.Elements.Rated)))
	p.Elements.Ageing = quantity.Fraction(roundIn(float64(p.Elements.Ageing), 100))
	p.Elements.Exposed = quantity.Fraction(roundIn(float64(p.Elements.Exposed), 100))
	p.Load.Mass = quantity.Mass(round(float64(p.Load.Mass)))
	p.Load.Inside = quantity.Conductance(round(float64(p.Load.Inside)))
	p.Load.Area = quantity.Area(roundIn(float64(p.Load.Area), 1e4))
	p.Chamber.Convection = quantity.HeatTransfer(round(float64(p.Chamber.Convection)))
	p.Shell.Bridges = quantity.Conductance(round(float64(p.Shell.Bridges)))
	p.Air.Opening = quantity.Area(roundIn(float64(p.Air.Opening), 1e4))
	p.Air.Leakage = quantity.Frequency(roundIn(float64(p.Air.Leakage), 3600))
	p.Air.Vent = quantity.Frequency(roundIn(float64(p.Air.Vent), 3600))
	p.Probe.Sheath = quantity.Length(roundIn(float64(p.Probe.Sheath), 1000))
	p.Probe.InnerLag = quantity.Duration(round(float64(p.Probe.InnerLag)))
	return p
}

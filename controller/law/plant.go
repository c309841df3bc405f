package law

import (
	"fmt"
	"math"
)

// Plant is what the law believes about a kiln: how a change of duty travels to
// the thermocouple, at several chamber temperatures. Package identify derives
// it from a kiln file; a handful of figures by hand will do for a first run,
// since the law estimates what the model leaves out.
type Plant struct {
	PowerW   float64 // electrical power at duty 1, W, > 0
	AmbientC float64 // room temperature, °C
	Points   []Point // rising in TempC; at least one; outside them the nearest holds
}

// Point describes the kiln around one chamber temperature.
type Point struct {
	TempC       float64 // chamber temperature, °C
	ElementLagS float64 // lag from electrical power to heat given off, s, > 0
	ProbeLagS   float64 // lag from chamber to thermocouple junction, s, > 0
	Nodes       []Node  // heat stores; node 0 is the chamber; the same layout in every point
}

// Node is one heat store, linked to a store named before it.
type Node struct {
	Parent       int     // index of the store it hangs on; ignored for node 0
	CapJPerK     float64 // heat capacity, J/K, > 0
	LinkWPerK    float64 // conductance to Parent, W/K, > 0; ignored for node 0
	AmbientWPerK float64 // conductance to the room, W/K, >= 0
}

// MaxNodes is the largest number of heat stores a plant may have.
const MaxNodes = 8

// Simple is a plant of one heat store with the given figures at every
// temperature: full power W, heat capacity J/K, loss to the room W/K, lags of
// element and probe in s. Real kilns are better described by package identify.
func Simple(powerW, capJPerK, lossWPerK, elementLagS, probeLagS float64) Plant {
	return Plant{PowerW: powerW, AmbientC: 20, Points: []Point{{
		TempC: 500, ElementLagS: elementLagS, ProbeLagS: probeLagS,
		Nodes: []Node{{CapJPerK: capJPerK, AmbientWPerK: lossWPerK}},
	}}}
}

// Check reports the first figure that cannot be right, by its place.
func (p Plant) Check() error {
	bad := func(where string, v float64, want string) error {
		return fmt.Errorf("law: plant %s is %g; it must be %s", where, v, want)
	}
	if !(p.PowerW > 0) || math.IsInf(p.PowerW, 0) {
		return bad("power", p.PowerW, "above 0 W")
	}
	if !(p.AmbientC > -60 && p.AmbientC < 80) {
		return bad("ambient", p.AmbientC, "between -60 and 80 °C")
	}
	if len(p.Points) == 0 {
		return fmt.Errorf("law: plant has no points; it needs at least one")
	}
	for i, q := range p.Points {
		at := fmt.Sprintf("point %d ", i+1)
		switch {
		case i > 0 && !(q.TempC > p.Points[i-1].TempC):
			return bad(at+"temperature", q.TempC, "above that of the point before")
		case !(q.ElementLagS > 0 && q.ElementLagS < 1e5):
			return bad(at+"element lag", q.ElementLagS, "between 0 and 1e5 s")
		case !(q.ProbeLagS > 0 && q.ProbeLagS < 1e5):
			return bad(at+"probe lag", q.ProbeLagS, "between 0 and 1e5 s")
		case len(q.Nodes) == 0 || len(q.Nodes) > MaxNodes:
			return bad(at+"number of nodes", float64(len(q.Nodes)), fmt.Sprintf("from 1 to %d", MaxNodes))
		case len(q.Nodes) != len(p.Points[0].Nodes):
			return bad(at+"number of nodes", float64(len(q.Nodes)), "the same as in the first point")
		}
		for j, n := range q.Nodes {
			where := fmt.Sprintf("%snode %d ", at, j)
			switch {
			case !(n.CapJPerK > 0) || math.IsInf(n.CapJPerK, 0):
				return bad(where+"capacity", n.CapJPerK, "above 0 J/K")
			case !(n.AmbientWPerK >= 0) || math.IsInf(n.AmbientWPerK, 0):
				return bad(where+"loss", n.AmbientWPerK, "0 W/K or more")
			case j > 0 && (!(n.LinkWPerK > 0) || math.IsInf(n.LinkWPerK, 0)):
				return bad(where+"link", n.LinkWPerK, "above 0 W/K")
			case j > 0 && (n.Parent < 0 || n.Parent >= j):
				return bad(where+"parent", float64(n.Parent), "a node before it")
			}
		}
	}
	return nil
}

// Package identify knows what a kiln is like to a control law: it condenses a
// kiln file into the few stores and lags that package law works with, and into
// the answers that the guards expect. Nothing here is tuned by hand for a
// kiln; every figure follows from the file by the same rule.
package identify

import (
	"math"

	"calx/controller/guard"
	"calx/controller/law"
	"calx/controller/twin"
	"calx/sim/kiln"
)

const (
	stepC = 100 // spacing of the tabled temperatures, °C
	// skinS sets the first wall store: as deep as heat gets in this time. It is
	// a little shorter than the quickest answer of a probe.
	skinS      = 15
	wallStores = 4 // behind the skin
	// cavityS is the time constant of the cavity, whose gas and radiation have
	// hardly a capacity of their own; any time well below the probe's will do.
	cavityS = 2
)

// workingDuty is the duty around which the kiln is condensed: what holds the
// temperature, and something to climb with.
func workingDuty(p kiln.Params, tC float64) float64 {
	return math.Min(math.Max(p.BalanceDuty(tC), 0)+0.1, 0.6)
}

// Plant condenses a kiln in a room of ambientC.
func Plant(p kiln.Params, ambientC float64) law.Plant {
	out := law.Plant{PowerW: p.RatedW(), AmbientC: ambientC}
	for t := 0.0; t < p.MaxC()+stepC; t += stepC {
		tC := math.Max(t, 20)
		duty := workingDuty(p, tC)
		out.Points = append(out.Points, law.Point{
			TempC:       tC,
			ElementLagS: p.ElementLagS(tC, elementC(p, tC, duty)),
			ProbeLagS:   p.ProbeLagS(tC),
			Nodes:       nodes(p, tC, duty, ambientC),
		})
	}
	return out
}

// slice is a stretch of wall between two depths.
type slice struct {
	capJPerK float64
	// resistances from the inner edge to the middle and from there to the outer
	// edge, K/W
	innerKPerW, outerKPerW float64
}

// cut integrates the wall between two depths in m. The temperature inside is
// taken to fall on a straight line to that of the case.
func cut(p kiln.Params, fromM, toM, hotC, caseC float64) slice {
	const pieces = 40
	var s slice
	total := p.WallM()
	dx := (toM - fromM) / pieces
	for i := range pieces {
		x := fromM + (float64(i)+0.5)*dx
		m := materialAt(p, x)
		tC := hotC + (caseC-hotC)*x/total
		a := p.WallAreaM2(x)
		s.capJPerK += m.RhoCp(tC) * a * dx
		r := dx / (m.K(tC) * a)
		if i < pieces/2 {
			s.innerKPerW += r
		} else {
			s.outerKPerW += r
		}
	}
	return s
}

func materialAt(p kiln.Params, depthM float64) kiln.Material {
	end := 0.0
	for _, l := range p.Walls {
		end += float64(l.Thickness)
		if depthM < end {
			return l.Made()
		}
	}
	return p.Walls[len(p.Walls)-1].Made()
}

// caseRise is how far the case of a hot kiln stands above the room, as a share
// of the chamber's rise; it only sets the temperature at which wall properties
// are taken.
const caseRise = 0.06

// nodes lays out the stores: the cavity, which the elements heat and the probe
// sees; the skin of the wall and four deeper slices that widen outwards;
// surface and core of the load.
func nodes(p kiln.Params, tC, duty, ambientC float64) []law.Node {
	caseC := ambientC + caseRise*(tC-ambientC)
	total := p.WallM()
	hot := p.Walls[0].Made()
	skinM := math.Min(math.Sqrt(hot.K(tC)/hot.RhoCp(tC)*skinS), total/4)
	skin := cut(p, 0, skinM, tC, caseC)
	toWall := film(p, tC, duty, p.Chamber.AreaM2(), float64(p.Chamber.Emissivity))
	toLoad := film(p, tC, duty, float64(p.Load.Area), float64(p.Load.Emissivity))
	out := []law.Node{
		{CapJPerK: (toWall + toLoad) * cavityS, AmbientWPerK: leakWPerK(p, tC)},
		{Parent: 0, CapJPerK: skin.capJPerK, LinkWPerK: toWall},
	}
	// The skin store stands at the surface: all of its own thickness lies
	// between it and the next.
	behind := skin.innerKPerW + skin.outerKPerW
	ratio := math.Pow(total/skinM, 1.0/wallStores)
	from := skinM
	for i := range wallStores {
		to := from * ratio
		if i == wallStores-1 {
			to = total
		}
		s := cut(p, from, to, tC, caseC)
		n := law.Node{Parent: i + 1, CapJPerK: s.capJPerK, LinkWPerK: 1 / (behind + s.innerKPerW)}
		if i == wallStores-1 {
			n.CapJPerK += float64(p.Shell.Mass) * steelJPerKgK
			n.AmbientWPerK = 1 / (s.outerKPerW + 1/(caseWPerM2K*p.WallAreaM2(total)))
		}
		out = append(out, n)
		behind, from = s.outerKPerW, to
	}
	capJPerK := float64(p.Load.Mass) * float64(p.Load.HeatCapacity)
	core := float64(p.Load.Core)
	return append(out,
		law.Node{Parent: 0, CapJPerK: capJPerK * (1 - core), LinkWPerK: toLoad},
		law.Node{Parent: len(out), CapJPerK: capJPerK * core, LinkWPerK: float64(p.Load.Inside)})
}

// film is the conductance between the cavity and a surface of tC, W/K:
// radiation and convection, linear around the heat that flows at the duty.
func film(p kiln.Params, tC, duty, areaM2, emissivity float64) float64 {
	flux := duty * p.RatedW() / (p.Chamber.AreaM2() + float64(p.Load.Area))
	h := float64(p.Chamber.Convection)
	cavityC := tC
	for range 20 { // the cavity stands above the surface by what the flux needs
		cavityC = tC + flux/(emissivity*radiation((tC+cavityC)/2)+h)
	}
	return areaM2 * (emissivity*radiation(cavityC) + h)
}

const (
	steelJPerKgK = 490 // specific heat of mild steel near 100 °C, handbook value from memory
	caseWPerM2K  = 12  // free convection and radiation of a warm case, common practice
	sigma        = 5.670374419e-8
	zeroK        = 273.15
)

// radiation is the linearised radiative coefficient at tC, W/m²/K, for
// emissivity 1.
func radiation(tC float64) float64 { return 4 * sigma * math.Pow(tC+zeroK, 3) }

// leakWPerK is what air exchange and openings carry off, W/K.
func leakWPerK(p kiln.Params, tC float64) float64 {
	const rhoCp = 1.2 * 1006 // of room air, J/m³/K
	return rhoCp*p.Chamber.VolumeM3()*float64(p.Air.Leakage) + float64(p.Air.Opening)*radiation(tC)
}

// elementC is the temperature of the wire at a duty, by bisection on the heat
// it gives off to surroundings at tC.
func elementC(p kiln.Params, tC, duty float64) float64 {
	want := duty * p.RatedW()
	eps := float64(p.Elements.Emissivity) * float64(p.Elements.Exposed)
	area := p.ElementAreaM2()
	lo, hi := tC, 2500.0
	for range 50 {
		mid := (lo + hi) / 2
		q := area * (eps*sigma*(math.Pow(mid+zeroK, 4)-math.Pow(tC+zeroK, 4)) + float64(p.Chamber.Convection)*(mid-tC))
		if q < want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// Response is what the guards may expect of a kiln.
func Response(p kiln.Params, plant law.Plant) []guard.Response {
	var out []guard.Response
	env := p.Envelope(plant.AmbientC)
	coasts := coasts(p, plant)
	for i, q := range plant.Points {
		out = append(out, guard.Response{
			TempC: q.TempC, LagS: q.ElementLagS + q.ProbeLagS,
			FullCPerH: math.Max(env.FullPowerRate(q.TempC), 0),
			CoastC:    coasts[i],
		})
	}
	return out
}

// coasts is, for every point of the plant, how much further the junction rises
// when full power is cut as a cold kiln passes its temperature, °C: what the
// elements, the skin and the probe still had on the way. A point passed before
// they were filled, and one that the kiln does not reach, take their
// neighbour's.
func coasts(p kiln.Params, plant law.Plant) []float64 {
	const stepS, mostS = 5, 48 * 3600
	out := make([]float64, len(plant.Points))
	hot, cut := kiln.New(p, plant.AmbientC), kiln.New(p, plant.AmbientC)
	early, done := 0, 0
	for s := 0.0; done < len(out) && s < mostS; s += stepS {
		hot.Step(stepS, kiln.Input{On: 1, MainsRatio: 1, AmbientC: plant.AmbientC})
		for ; done < len(out) && hot.JunctionC() >= plant.Points[done].TempC; done++ {
			if err := cut.Restore(hot.State()); err != nil {
				panic("BUG: a kiln does not take its own state: " + err.Error())
			}
			out[done] = coast(cut, stepS, plant.AmbientC)
			if q := plant.Points[done]; s < q.ElementLagS+q.ProbeLagS {
				early = done + 1
			}
		}
	}
	for i := early - 1; i >= 0 && early < done; i-- {
		out[i] = math.Max(out[i], out[i+1])
	}
	for i := done; i < len(out) && i > 0; i++ {
		out[i] = out[i-1]
	}
	return out
}

// coast lets the kiln go on without heat until it falls.
func coast(k *kiln.Kiln, stepS, ambientC float64) float64 {
	from := k.JunctionC()
	for last := from; ; last = k.JunctionC() {
		k.Step(stepS, kiln.Input{MainsRatio: 1, AmbientC: ambientC})
		if k.JunctionC() <= last {
			return last - from
		}
	}
}

// Guard puts together the limits of a kiln for the guards.
func Guard(p kiln.Params, plant law.Plant) guard.Limits {
	l := guard.DefaultLimits(p.MaxC())
	l.Response = Response(p, plant)
	l.Twin = twin.New(p, plant.AmbientC)
	l.Doubt = doubt(p)
	return l
}

// doubt is how far the heat that a kiln file says a firing needs may be off.
// Figures from a nameplate and a tape measure are good to a quarter (common
// practice, no source); fitted ones to twice their standard error. The mains
// adds to it: a voltage may be 10 % off for hours and is not measured (EN
// 50160), but rarely is more than 3 % off its mean over a night.
func doubt(p kiln.Params) float64 {
	const nobodyKnows, mains, most = 0.25, 0.06, 0.5
	if p.Fitted == nil {
		return nobodyKnows
	}
	return math.Min(math.Hypot(2*float64(p.Fitted.Doubt), mains), most)
}

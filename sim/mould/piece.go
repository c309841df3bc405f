package mould

import (
	"math"

	"calx/sim/quantity"
)

const (
	gasR         = 8.314462618 // J/mol/K, CODATA 2018
	pressurePa   = 101325.0
	carbonKg     = 0.0120107 // kg/mol
	oxygenKg     = 0.0319988
	carbonOxygen = oxygenKg / carbonKg // kg per kg, to CO2
	charCarbon   = 0.92                // carbon in char of 700 °C, from memory
	roomOxygen   = 0.2095
	volatileKg   = 0.030 // kg/mol, mean of vapours and gases, uncertain
)

// arrhenius is a first-order reaction.
type arrhenius struct{ a, eOverR float64 } // 1/s, K

func rate(logA, kJMol float64) arrhenius {
	return arrhenius{math.Pow(10, logA), kJMol * 1000 / gasR}
}

func (r arrhenius) perS(inverseK float64) float64 { return r.a * math.Exp(-r.eOverR*inverseK) }

// Drying after Chan, Kelbon & Krieger, Fuel 64 (1985) 1505, from memory.
// Pyrolysis: activation energies of Grønli, Várhegyi & Di Blasi, Ind. Eng.
// Chem. Res. 41 (2002) 4201, from memory; pre-exponential factors chosen by
// Kissinger's relation to put the peaks at 5 K/min where wood shows them, 297,
// 349 and 382 °C. Char: order 0.6 in oxygen and 125 kJ/mol, within the ranges
// of Di Blasi, Prog. Energy Combust. Sci. 35 (2009) 121, read.
var (
	drying    = arrhenius{5.13e10, 88000 / gasR}
	pyrolysis = [3]arrhenius{rate(6.65, 100), rate(17.60, 236), rate(0.70, 46)}
	charring  = arrhenius{1.2e7, 125000 / gasR}
)

const charOrder = 0.6

// piece is a compiled pattern: one of Count equal ones on one sprue.
type piece struct {
	material Material
	shape    int // 1 sheet, 2 stem, 3 ball: the powers of size in volume
	count    float64
	radiusM  float64 // of stem and ball; half the thickness of a sheet
	lengthM  float64
	dryKg    float64
	wetKg    float64 // water at the start
	startKg  [4]float64
	charKg   float64 // all that can form
	volumeKg float64 // all volatiles
	ashKg    float64
	local    float64 // shape factor of the wall round the piece, m
	wallM    float64 // with the way to the open ends, m
	sprueM   float64 // area over length, m
	pore     pore
	rates    [4]arrhenius
	burning  arrhenius // with catalysis
	carbonM3 float64   // carbon in char, mol/m³
	perVolKg float64   // oxygen for 1 kg of volatiles, mol
	cells    []share
}

// share is one cell's part in a mean.
type share struct {
	cell   int
	weight float64
}

// pore is what the investment lets through.
type pore struct{ factor, radiusM, access float64 }

func newPiece(p Params, o Pattern, b *body, v Variation, together float64) piece {
	m, _ := p.find(o.Material)
	grown := o
	grown.Section *= quantity.Length(v.Section)
	e := piece{
		material: m, count: float64(max(1, o.Count)), shape: map[string]int{ShapeSheet: 1, ShapeStem: 2, ShapeBall: 3}[o.Shape],
		radiusM: float64(grown.Section) / 2, lengthM: float64(o.Length),
		dryKg: float64(m.Density) * grown.volumeM3(),
		rates: [4]arrhenius{pyrolysis[0], pyrolysis[1], pyrolysis[2], rate(m.OtherLogA, m.OtherKJ)},
		pore: pore{
			factor:  porosity / orElse(p.Investment.Tortuosity, usualTortuos),
			radiusM: orElse(p.Investment.PoreRadius, usualPoreM),
			access:  orElse(p.Access, 1) * v.Access,
		},
	}
	if o.Mass != nil {
		e.dryKg = float64(*o.Mass)
	}
	moisture := float64(m.Moisture)
	if o.Moisture != nil {
		moisture = float64(*o.Moisture)
	}
	e.wetKg = e.dryKg * moisture
	shares := [4]float64{float64(m.Hemicell), float64(m.Cellulose), float64(m.Lignin), float64(m.Other)}
	sum := shares[0] + shares[1] + shares[2] + shares[3] + float64(m.Char) + float64(m.Ash)
	for i, x := range shares {
		e.startKg[i] = e.dryKg * x / sum
		e.volumeKg += e.startKg[i]
	}
	e.charKg, e.ashKg = e.dryKg*float64(m.Char)/sum, e.dryKg*float64(m.Ash)/sum
	e.burning = arrhenius{charring.a * m.catalysis() * v.Kinetics, charring.eOverR}
	e.carbonM3 = e.charKg / grown.volumeM3() * charCarbon / carbonKg
	e.perVolKg = m.volatileOxygen() / oxygenKg
	e.paths(p, b, together)
	e.cells = b.cellsOf(o, grown)
	return e
}

// paths works out the shape factors of what oxygen passes: conduction shape
// factors (Incropera & DeWitt, table 4.1: cylinder in a cylinder, sphere in a
// sphere, disk), a stem with its two ends as half spheres. All pieces of one
// flask, together many, share its sprue and its open ends.
func (e *piece) paths(p Params, b *body, together float64) {
	r, outer := e.radiusM, b.radiusM
	switch e.shape {
	case 1:
		e.local = 8 * e.lengthM / math.Pi
	case 2:
		e.local = 2*math.Pi*e.lengthM/math.Log(outer/r) + 2*math.Pi*r
	case 3:
		e.local = 4 * math.Pi / (1/r - 1/outer)
	}
	e.wallM = e.local
	if p.Flask.Sleeve == SleeveSteel {
		open := 1.0
		if p.Flask.Stands == OnGrate {
			open = 2
		}
		e.wallM = 1 / (1/e.local + together*b.heightM/2/(open*math.Pi*outer*outer))
	}
	if p.Sprue.Open {
		d := float64(p.Sprue.Diameter)
		e.sprueM = math.Pi * d * d / 4 / (float64(p.Sprue.Length) + 0.8*d) / together
	}
}

// cellsOf are the cells whose middle lies in the piece, by volume; the axis
// cell beside it if there are none.
func (b *body) cellsOf(o, grown Pattern) []share {
	half, along := float64(grown.Section)/2, float64(o.Length)
	switch o.Shape {
	case ShapeBall:
		along = float64(grown.Section)
	case ShapeSheet:
		half = float64(o.Length) / 2
	}
	middle := float64(o.AboveBase)
	if middle == 0 {
		middle = b.heightM / 2
	}
	var out []share
	total := 0.0
	for i, v := range b.volume {
		for j := range b.layers {
			r, z := (float64(i)+0.5)*b.drM, (float64(j)+0.5)*b.dzM
			if r <= half && math.Abs(z-middle) <= along/2 {
				out = append(out, share{i*b.layers + j, v})
				total += v
			}
		}
	}
	if len(out) == 0 {
		j := min(int(middle/b.dzM), b.layers-1)
		return []share{{j, 1}}
	}
	for n := range out {
		out[n].weight /= total
	}
	return out
}

package mould

import "math"

// Free water and the water of gypsum. Latent heats per kg of water leaving as
// vapour: steam tables for the first; the two steps of gypsum 83.3 and about
// 25.8 kJ/mol after Kelley, Southard & Anderson, US Bureau of Mines Technical
// Paper 625 (1941), from memory, the second ±20 %.
const (
	freeLatent  = 2.257e6 // J/kg
	firstLatent = 3.09e6
	lastLatent  = 2.86e6
	waterCP     = 4186.0 // J/kg/K

	usualWater     = 0.40
	usualBinder    = 0.28
	usualWetK      = 0.55 // W/m/K
	powderDensity  = 2500 // kg/m³, true density of powder: gypsum, cristobalite, quartz
	waterDensity   = 1000
	hemihydrateKg  = 0.14515   // kg/mol, CaSO4·½H2O
	waterKg        = 0.0180153 // kg/mol
	hemiWater      = 1.5 * waterKg / hemihydrateKg
	hemihydrateH2O = 0.5 * waterKg / hemihydrateKg
)

// Temperatures over which each water leaves, °C; the share gone rises linearly.
// From memory; with rate and steam pressure the gypsum steps move by tens of
// kelvins.
const (
	freeLow, freeHigh   = 98, 102
	firstLow, firstHigh = 110, 150
	lastLow, lastHigh   = 160, 210
)

// point is one pair of a property table.
type point struct{ tC, v float64 }

// Blend of quartz, cristobalite and anhydrite, J/kg/K, from memory; and the
// conductivity of dry set investment, W/m/K, uncertain by 30 %.
var (
	solidCP = []point{{20, 780}, {200, 930}, {400, 1030}, {573, 1120}, {800, 1130}, {1100, 1150}}
	dryK    = []point{{20, 0.50}, {200, 0.46}, {400, 0.47}, {700, 0.55}, {1100, 0.65}}
)

func interpolate(list []point, tC float64) float64 {
	if tC <= list[0].tC {
		return list[0].v
	}
	for i, p := range list[1:] {
		if tC <= p.tC {
			q := list[i]
			return q.v + (p.v-q.v)*(tC-q.tC)/(p.tC-q.tC)
		}
	}
	return list[len(list)-1].v
}

func ramp(tC, low, high float64) float64 {
	return math.Max(0, math.Min((tC-low)/(high-low), 1))
}

// mix is what a cubic metre of mould is made of.
type mix struct {
	solids            float64                  // dehydrated, kg/m³
	free, first, last float64                  // water, kg/m³
	saturation        float64                  // free water over that of fresh mould
	wetK              float64                  // W/m/K at saturation 1
	cp, k             func(tC float64) float64 // of the solids
}

// mix works out the recipe: 100 parts of powder take up their binder's water
// in setting; the rest of the water is free; powder and water make up the
// volume. So 40 parts of water with 28 % hemihydrate give 0.80 L per kg of
// powder, 1228 kg/m³ of dehydrated solids, 435 of free water, and 65.2 and 21.7
// of the two waters of gypsum.
func (i Investment) mix(factorK float64) mix {
	water, binder := orElse(i.Water, usualWater), orElse(i.Binder, usualBinder)
	volume := water/waterDensity + 1.0/powderDensity // m³ per kg of powder
	m := mix{
		solids:     orElse(i.Density, (1-binder*hemihydrateH2O)/volume),
		free:       orElse(i.FreeWater, (water-binder*hemiWater)/volume),
		first:      binder * hemiWater / volume,
		last:       binder * hemihydrateH2O / volume,
		saturation: 1,
		wetK:       orElse(i.WetConductivity, usualWetK),
		cp:         func(tC float64) float64 { return interpolate(solidCP, tC) },
		k:          func(tC float64) float64 { return factorK * interpolate(dryK, tC) },
	}
	if i.HeatCapacity != nil {
		m.cp = func(float64) float64 { return float64(*i.HeatCapacity) }
	}
	if i.Conductivity != nil {
		m.k = func(float64) float64 { return factorK * float64(*i.Conductivity) }
	}
	m.wetK *= factorK
	return m
}

// dried is the mix with only part of its free water left.
func (m mix) dried(wet float64) mix {
	m.free *= wet
	m.saturation = wet
	return m
}

// soaked is a fired mould that took up water again: pores full at wet 1. The
// binder burnt above 400 °C takes up none (facts of the trade: only the soluble
// form does).
func (m mix) soaked(wet float64) mix {
	m.free = wet * porosity * waterDensity
	m.first, m.last = 0, 0
	m.saturation = wet
	return m
}

// Knots stand at every whole °C; beyond the ends the end pieces go on.
const (
	knotLowC = -40
	knots    = 1241 // up to 1200 °C
	knotRoom = 2048 // a power of two: a masked index needs no check
)

// curve is the heating curve of one mix: temperature and conductivity as
// functions of the heat received, and the way back when it cools.
type curve struct {
	mix
	up   [knotRoom]upKnot
	down [knots]downKnot
	// Heats at which water begins and ceases to leave, J/m³.
	freeWhole, freeGone, boundWhole, boundGone float64
}

// upKnot serves a cell that is as hot as it ever was.
type upKnot struct {
	h, next float64 // heat since knotLowC, here and at the next knot, J/m³
	c, perC float64 // J/m³/K to the next knot, and its inverse
	k, dk   float64 // conductivity with the water left, W/m/K, and its growth
}

// downKnot serves a cell that has been hotter.
type downKnot struct {
	u       float64 // heat of the solids since knotLowC, J/m³
	c, perC float64
	k, dk   float64 // dry conductivity
	left    float64 // share of the free water that heating to here leaves
	share   float64 // of solids in the heat capacity, with that water
}

func newCurve(m mix) *curve {
	c := &curve{mix: m}
	sensible := func(tC float64) float64 {
		return m.solids*m.cp(tC) + m.free*(1-ramp(tC, freeLow, freeHigh))*waterCP
	}
	wetK := func(tC float64) float64 {
		return m.k(tC) + m.wetK*m.saturation*(1-ramp(tC, freeLow, freeHigh))
	}
	latent := func(tC float64) float64 {
		return freeLatent*m.free*ramp(tC, freeLow, freeHigh) +
			firstLatent*m.first*ramp(tC, firstLow, firstHigh) +
			lastLatent*m.last*ramp(tC, lastLow, lastHigh)
	}
	for i := range knots {
		t := float64(knotLowC + i)
		up, down := &c.up[i], &c.down[i]
		if i > 0 {
			up.h = c.up[i-1].h + c.up[i-1].c
			down.u = c.down[i-1].u + c.down[i-1].c
		}
		up.c = (sensible(t)+sensible(t+1))/2 + latent(t+1) - latent(t)
		up.k, up.dk = wetK(t), wetK(t+1)-wetK(t)
		down.c = m.solids * (m.cp(t) + m.cp(t+1)) / 2
		down.k, down.dk = m.k(t), m.k(t+1)-m.k(t)
		up.next, up.perC, down.perC = up.h+up.c, 1/up.c, 1/down.c
		down.left = 1 - ramp(t, freeLow, freeHigh)
		down.share = m.solids * m.cp(t) / sensible(t)
	}
	c.freeWhole, c.freeGone = c.heatAt(freeLow), c.heatAt(freeHigh)
	c.boundWhole, c.boundGone = c.heatAt(firstLow), c.heatAt(lastHigh)
	return c
}

// place is where a cell stands on its curve. The knots are only where the last
// search ended; any value gives the same answer.
type place struct{ at, top int }

// read gives the temperature in °C, the heat capacity in J/m³/K and the
// conductivity in W/m/K of a cell that received h and once highest, J/m³.
func (c *curve) read(h, highest float64, p *place) (tC, heat, k float64) {
	if h < highest {
		return c.cooled(h, highest, p)
	}
	i := p.at
	for i < knots-1 && h >= c.up[i].next {
		i++
	}
	for i > 0 && h < c.up[i].h {
		i--
	}
	p.at = i
	n := &c.up[i]
	f := (h - n.h) * n.perC
	return float64(knotLowC+i) + f, n.c, n.k + n.dk*f
}

// cooled is read below the highest heat: only solids and what water is left
// give heat off, and what has left stays away.
func (c *curve) cooled(h, highest float64, p *place) (tC, heat, k float64) {
	m := c.topOf(highest, p)
	fm := (highest - c.up[m].h) * c.up[m].perC
	top := &c.down[m]
	left, share := top.left, top.share
	if m < knots-1 {
		left += (c.down[m+1].left - left) * fm
		share += (c.down[m+1].share - share) * fm
	}
	u := top.u + top.c*fm - (highest-h)*share
	i := p.at
	for i < knots-1 && u >= c.down[i+1].u {
		i++
	}
	for i > 0 && u < c.down[i].u {
		i--
	}
	p.at = i
	n := &c.down[i]
	f := (u - n.u) * n.perC
	return float64(knotLowC+i) + f, n.c / share, n.k + n.dk*f + c.wetK*c.saturation*left
}

func (c *curve) topOf(highest float64, p *place) int {
	m := p.top
	for m < knots-1 && highest >= c.up[m+1].h {
		m++
	}
	for m > 0 && highest < c.up[m].h {
		m--
	}
	p.top = m
	return m
}

// topC is the temperature at which a cell received highest, °C; it tells which
// water has left.
func (c *curve) topC(highest float64, p *place) float64 {
	m := c.topOf(highest, p)
	return float64(knotLowC+m) + (highest-c.up[m].h)*c.up[m].perC
}

// heatAt is the heat in J/m³ of a mould that was heated to tC, °C.
func (c *curve) heatAt(tC float64) float64 {
	i := int(math.Max(0, math.Min(math.Floor(tC)-knotLowC, knots-1)))
	return c.up[i].h + (tC-float64(knotLowC+i))*c.up[i].c
}

// freeShare is the share of the free water left in a cell that once received
// highest.
func (c *curve) freeShare(highest float64, p *place) float64 {
	switch {
	case highest >= c.freeGone:
		return 0
	case highest <= c.freeWhole:
		return 1
	}
	return 1 - ramp(c.topC(highest, p), freeLow, freeHigh)
}

// bound is the water of gypsum left in such a cell, kg/m³.
func (c *curve) bound(highest float64, p *place) float64 {
	switch {
	case highest >= c.boundGone:
		return 0
	case highest <= c.boundWhole:
		return c.first + c.last
	}
	topC := c.topC(highest, p)
	return c.first*(1-ramp(topC, firstLow, firstHigh)) + c.last*(1-ramp(topC, lastLow, lastHigh))
}

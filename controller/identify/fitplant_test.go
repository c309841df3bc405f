package identify_test

import (
	"math"

	"calx/sim/kiln"
)

// otherKiln is a kiln by another model than the one that is fitted: two zones
// that differ (a chamber proper, and a cooler one at the door), walls in many
// fine layers whose conductivity grows with the cube of temperature as pore
// radiation has it, seams between bricks, a load of hollow cylinders that fill
// unevenly, wire that loses power with heat and through its tails, and a probe
// whose stem leads heat to the room. It shares no code with sim/kiln. Explicit
// in the exchange between bodies, implicit in the walls.
type otherKiln struct {
	supplyRatio    float64
	ratedW         float64 // cold wire
	perK           float64 // growth of the wire's resistance, 1/K
	tails          float64 // share of the power that heats the tails, in the room
	wireJK, wireW4 float64 // heat capacity, emitting area times sigma
	wireFilm       float64 // W/K
	zone           [2]*zone
	between        float64 // W/K of air between the zones
	betweenM2      float64 // area that radiates between them
	bridgeWK       float64 // past the lining
	leakWK         float64
	holeM2         float64
	ventWK         float64
	doorM2         float64
	loads          []cylinder
	probeJK        float64
	probeFilm      float64
	probeM2        float64
	stemWK         float64
	tipLagS        float64
	wireC          float64
	sheathC, tipC  float64
	energyJ        float64
	roomC          float64
}

// zone is a part of the chamber: a bit of gas and brick skin, and a wall.
type zone struct {
	heat  float64 // share of the wire's heat that lands here
	skinJ float64
	m2    float64
	emit  float64
	skinC float64
	gasC  float64
	wall  []cellOf
	caseW float64 // W/K
}

// cellOf is a slice of wall.
type cellOf struct {
	tC, dx, m2   float64
	rhoCp        func(tC float64) float64
	conductivity func(tC float64) float64
	contact      float64 // m²K/W behind it
}

// cylinder is some flasks: shells from the outside inwards.
type cylinder struct {
	zone   int
	m2     float64
	emit   float64
	film   float64 // W/m²/K
	shellJ []float64
	linkW  []float64 // from each to the next
	tC     []float64
}

const sigmaT = 5.670374419e-8

func kelvin4(tC float64) float64 { k := tC + 273.15; return k * k * k * k }

// wallOf builds n slices of one stuff, the area growing outwards.
func wallOf(n int, thickM, m2, growM float64, rhoCp, k func(float64) float64, contact float64) (out []cellOf) {
	dx := thickM / float64(n)
	for i := range n {
		c := cellOf{dx: dx, m2: m2 + growM*(float64(i)+0.5)*dx, rhoCp: rhoCp, conductivity: k, tC: 20}
		if i == n-1 {
			c.contact = contact
		}
		out = append(out, c)
	}
	return out
}

func (o *otherKiln) settle(roomC float64) {
	o.roomC, o.wireC, o.sheathC, o.tipC = roomC, roomC, roomC, roomC
	for _, z := range o.zone {
		z.skinC, z.gasC = roomC, roomC
		for i := range z.wall {
			z.wall[i].tC = roomC
		}
	}
	for i := range o.loads {
		for j := range o.loads[i].tC {
			o.loads[i].tC[j] = roomC
		}
	}
}

// meteredW is what a meter shows when the wire is hot.
func (o *otherKiln) meteredW() float64 { return o.ratedW * o.supplyRatio / (1 + o.perK*900) }

func (o *otherKiln) JunctionC() float64 { return o.tipC }
func (o *otherKiln) EnergyJ() float64   { return o.energyJ }

// Step moves the kiln on in pieces of at most a second.
func (o *otherKiln) Step(dtS float64, in kiln.Input) {
	for left := dtS; left > 1e-9; {
		dt := math.Min(left, 1)
		o.step(dt, in)
		left -= dt
	}
}

func (o *otherKiln) step(dt float64, in kiln.Input) {
	o.roomC = in.AmbientC
	powerW := in.On * in.MainsRatio * in.MainsRatio * o.ratedW * o.supplyRatio / (1 + o.perK*(o.wireC-20))
	o.energyJ += powerW * dt
	outW := 0.0
	var into [2]float64
	for i, z := range o.zone {
		q := z.heat * (o.wireW4*(kelvin4(o.wireC)-kelvin4(z.skinC)) + o.wireFilm*(o.wireC-z.gasC))
		into[i] += q
		outW += q
	}
	o.wireC += ((1-o.tails)*powerW - outW) * dt / o.wireJK

	a, b := o.zone[0], o.zone[1]
	q := o.between*(a.gasC-b.gasC) + sigmaT*o.betweenM2*(kelvin4(a.skinC)-kelvin4(b.skinC))
	into[0] -= q
	into[1] += q
	loss := (o.leakWK*math.Sqrt(math.Max(b.gasC-o.roomC, 0)/680))*(b.gasC-o.roomC) + sigmaT*(o.holeM2+in.DoorOpen*o.doorM2)*(kelvin4(b.skinC)-kelvin4(o.roomC))
	if in.AirOn {
		loss += o.ventWK * (b.gasC - o.roomC)
	}
	loss += in.DoorOpen * 25 * o.doorM2 * (b.gasC - o.roomC)
	into[1] -= loss + o.bridgeWK*(b.skinC-o.roomC)
	for i := range o.loads {
		c := &o.loads[i]
		into[c.zone] -= c.step(dt, o.zone[c.zone].skinC, o.zone[c.zone].gasC)
	}
	for i, z := range o.zone {
		z.step(dt, into[i], o.roomC)
	}
	// The probe sits in the wall of the first zone, and sees a bit of wire.
	const sees = 0.045
	see := (1-sees)*kelvin4(a.skinC) + sees*kelvin4(o.wireC)
	q = o.probeM2*sigmaT*0.85*(see-kelvin4(o.sheathC)) + o.probeFilm*(a.gasC-o.sheathC) - o.stemWK*(o.sheathC-o.roomC)
	o.sheathC += q * dt / o.probeJK
	o.tipC += (o.sheathC - o.tipC) * dt / o.tipLagS
}

// step heats a load and returns what it took, W.
func (c *cylinder) step(dt, skinC, gasC float64) float64 {
	q := c.m2 * (c.emit*sigmaT*(kelvin4(skinC)-kelvin4(c.tC[0])) + c.film*(gasC-c.tC[0]))
	flow := q
	for j := range c.tC {
		next := 0.0
		if j+1 < len(c.tC) {
			next = c.linkW[j] * (c.tC[j] - c.tC[j+1])
		}
		c.tC[j] += (flow - next) * dt / c.shellJ[j]
		flow = next
	}
	return q
}

// step brings heat to the skin of a zone and lets its wall conduct, backward
// Euler with the properties of the step's start.
func (z *zone) step(dt, intoW, roomC float64) {
	n := len(z.wall)
	var lower, diag, upper, right, halves [64]float64
	for i := range z.wall {
		c := &z.wall[i]
		halves[i] = c.dx / 2 / (c.conductivity(c.tC) * c.m2)
	}
	diag[0], right[0] = z.skinJ/dt, z.skinJ/dt*z.skinC+intoW
	for i := range z.wall {
		c := &z.wall[i]
		own := c.rhoCp(c.tC) * c.m2 * c.dx / dt
		diag[i+1] += own
		right[i+1] += own * c.tC
		g := 1 / halves[i]
		if i > 0 {
			w := &z.wall[i-1]
			g = 1 / (halves[i-1] + w.contact/w.m2 + halves[i])
		}
		diag[i] += g
		diag[i+1] += g
		upper[i], lower[i+1] = -g, -g
	}
	g := 1 / (halves[n-1] + 1/z.caseW)
	diag[n] += g
	right[n] += g * roomC
	for i := 1; i <= n; i++ {
		m := lower[i] / diag[i-1]
		diag[i] -= m * upper[i-1]
		right[i] -= m * right[i-1]
	}
	t := right[n] / diag[n]
	for i := n; ; i-- {
		if i < n {
			t = (right[i] - upper[i]*t) / diag[i]
		}
		if i == 0 {
			break
		}
		z.wall[i-1].tC = t
	}
	z.skinC = t
	// The gas stands above the skin by its film, and gets there in some seconds.
	z.gasC += (t + intoW/(12*z.m2) - z.gasC) * math.Min(dt/5, 1)
}

func constant(v float64) func(float64) float64 { return func(float64) float64 { return v } }
func line(at20, at1000 float64) func(float64) float64 {
	return func(tC float64) float64 { return at20 + (at1000-at20)*(tC-20)/980 }
}
func cubic(solid, pores float64) func(float64) float64 {
	return func(tC float64) float64 { k := (tC + 273.15) / 1000; return solid + pores*k*k*k }
}

// flasks is n cylinders of mass kg together.
func flasks(zone, shells int, massKg, m2, insideW float64) cylinder {
	c := cylinder{zone: zone, m2: m2, emit: 0.85, film: 9}
	weight := 0.0
	for j := range shells {
		weight += float64(shells - j)
	}
	for j := range shells {
		c.shellJ = append(c.shellJ, massKg*980*float64(shells-j)/weight)
		c.linkW = append(c.linkW, insideW*float64(shells-j))
		c.tC = append(c.tC, 20)
	}
	return c
}

// plants are kilns that differ in structure from the model, each roughly the
// shipped kiln of that name: what a person who filled in its file would have.
func plants() map[string]func() *otherKiln {
	return map[string]func() *otherKiln{
		// soft brick with mortar seams, a leaky door, weak old wire
		"bench-9l-brick": func() *otherKiln {
			brick, board := line(0.15, 0.27), line(0.06, 0.16)
			wall := func(m2, grow float64) []cellOf {
				w := wallOf(18, 0.038, m2, grow, line(500e3, 690e3), brick, 0.004)
				w = append(w, wallOf(12, 0.038, m2+grow*0.038, grow, line(480e3, 680e3), brick, 0.002)...)
				return append(w, wallOf(6, 0.012, m2+grow*0.076, grow, constant(230e3), board, 0)...)
			}
			return &otherKiln{
				supplyRatio: 0.98, ratedW: 2330, perK: 4e-5, tails: 0.02, wireJK: 260, wireW4: sigmaT * 0.011, wireFilm: 0.9,
				zone: [2]*zone{
					{heat: 0.72, skinJ: 350, m2: 0.2, emit: 0.75, wall: wall(0.20, 1.9), caseW: 5},
					{heat: 0.28, skinJ: 160, m2: 0.08, emit: 0.75, wall: wall(0.08, 0.8), caseW: 2.2},
				},
				between: 1.5, betweenM2: 0.02, bridgeWK: 0.5, leakWK: 0.06, holeM2: 4e-4, ventWK: 0.08, doorM2: 0.037,
				loads:   []cylinder{flasks(0, 5, 5.2, 0.12, 3.2), flasks(1, 4, 2.2, 0.05, 1.5)},
				probeJK: 6.2, probeFilm: 0.02, probeM2: 0.0014, stemWK: 0.0008, tipLagS: 6,
			}
		},
		// fibre whose k grows steeply, a small muffle in front of the wire
		"bench-16l-fibre-120v": func() *otherKiln {
			board, blanket := cubic(0.055, 0.055), cubic(0.028, 0.16)
			wall := func(m2, grow float64) []cellOf {
				w := wallOf(20, 0.025, m2, grow, line(250e3, 350e3), board, 0.003)
				return append(w, wallOf(16, 0.038, m2+grow*0.025, grow, line(80e3, 115e3), blanket, 0)...)
			}
			return &otherKiln{
				supplyRatio: 1.01, ratedW: 1590, perK: 5e-5, tails: 0.015, wireJK: 210, wireW4: sigmaT * 0.012, wireFilm: 0.9,
				zone: [2]*zone{
					{heat: 0.66, skinJ: 300, m2: 0.26, emit: 0.6, wall: wall(0.27, 1.7), caseW: 6},
					{heat: 0.34, skinJ: 150, m2: 0.11, emit: 0.6, wall: wall(0.12, 0.7), caseW: 2.8},
				},
				between: 2, betweenM2: 0.03, bridgeWK: 0.4, leakWK: 0.07, holeM2: 2.5e-4, ventWK: 0.11, doorM2: 0.057,
				loads:   []cylinder{flasks(0, 5, 8, 0.17, 3.6), flasks(1, 4, 4.2, 0.08, 2)},
				probeJK: 3.4, probeFilm: 0.016, probeM2: 0.0011, stemWK: 0.0005, tipLagS: 3,
			}
		},
		// heavy brick, much load
		"studio-40l-brick": func() *otherKiln {
			brick, back := cubic(0.17, 0.06), line(0.06, 0.14)
			wall := func(m2, grow float64) []cellOf {
				w := wallOf(24, 0.076, m2, grow, line(520e3, 740e3), brick, 0.004)
				return append(w, wallOf(10, 0.025, m2+grow*0.076, grow, line(210e3, 280e3), back, 0)...)
			}
			return &otherKiln{
				supplyRatio: 1, ratedW: 3400, perK: 4.5e-5, tails: 0.02, wireJK: 640, wireW4: sigmaT * 0.022, wireFilm: 1.8,
				zone: [2]*zone{
					{heat: 0.6, skinJ: 900, m2: 0.45, emit: 0.75, wall: wall(0.45, 2.6), caseW: 9},
					{heat: 0.4, skinJ: 500, m2: 0.27, emit: 0.75, wall: wall(0.27, 1.5), caseW: 5.5},
				},
				between: 4, betweenM2: 0.06, bridgeWK: 0.8, leakWK: 0.12, holeM2: 6e-4, ventWK: 0.2, doorM2: 0.1,
				loads:   []cylinder{flasks(0, 5, 15, 0.3, 7), flasks(1, 5, 9, 0.2, 4)},
				probeJK: 8, probeFilm: 0.025, probeM2: 0.0018, stemWK: 0.001, tipLagS: 8,
			}
		},
	}
}

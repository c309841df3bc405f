// Package kiln is the physics of an electric kiln, from the mains to the
// junction of the control thermocouple. It exists so that a controller can be
// tried against a kiln that behaves, without heat, and so that gains can be
// computed from a kiln file instead of by hand. It decides nothing and switches
// nothing.
//
// Start with [Load] or [ShippedFile], then [New] and [Kiln.Step]. The bodies
// are the elements, the hot face, the load (surface and core), the probe
// (sheath and junction), some two dozen cells of wall and the case:
//
//   - Radiation between elements, hot face, load, probe and what stands open is
//     that of a cavity with one irradiation everywhere: exact for the parts of
//     a sphere, close for a small box. Every exchange goes as T⁴.
//   - The gas has no mass of its own: it takes the mean of what it touches,
//     weighted by convection and by the air that leaks in.
//   - The wall conducts in one dimension through an area that grows with depth,
//     with conductivity and heat capacity that depend on temperature.
//   - Each step is backward Euler on all bodies at once, with the conductances
//     of the step's start. It is stable for any step, cannot overshoot the
//     hottest or coldest body, and loses no heat: what goes in is stored or has
//     left, to rounding.
//
// Left out: differences within the chamber, heat along the stem of the probe,
// moisture and glaze in the wall. Nothing is random; noise belongs to the
// emulated amplifiers. A kiln is not safe for use by several goroutines.
package kiln

import "math"

// Input is what acts on the kiln during one step.
type Input struct {
	// On is the fraction of the step during which the contact conducts, 0 to 1.
	On float64
	// MainsRatio is the mains voltage over its nominal value; 1 is nominal, 0
	// a power cut.
	MainsRatio float64
	// DoorOpen is 0 for shut to 1 for wide open.
	DoorOpen float64
	// AirOn tells that the fresh-air relay is on.
	AirOn bool
	// AmbientC is the room temperature in °C.
	AmbientC float64
	// LoadHeatW is heat set free in the load in W: a burning pattern; negative
	// for water that boils off.
	LoadHeatW float64
	// StrayW is heat in W that comes to the hot face from elsewhere; negative
	// for heat drawn from it. A model that is held to what was measured gets
	// what it lacks this way.
	StrayW float64
}

// clean puts every value in its range. What is not a number counts as off,
// shut, or unchanged: a simulation must not turn a bug into heat.
func (in Input) clean(ambientC float64) Input {
	in.On = clamp(in.On, 1)
	in.MainsRatio = clamp(in.MainsRatio, 2)
	in.DoorOpen = clamp(in.DoorOpen, 1)
	if !finite(in.AmbientC) {
		in.AmbientC = ambientC
	}
	if !finite(in.LoadHeatW) {
		in.LoadHeatW = 0
	}
	if !finite(in.StrayW) {
		in.StrayW = 0
	}
	return in
}

func clamp(v, most float64) float64 {
	if !(v > 0) {
		return 0
	}
	return math.Min(v, most)
}

func finite(v float64) bool { return v-v == 0 }

// The bodies in the chamber that exchange heat with each other, and the room.
const (
	element = iota
	hotFace
	load
	sheath
	bodies
	room = bodies
)

// Kiln is one kiln in some thermal state.
type Kiln struct {
	p    Params
	wall *wall
	fixed

	tC           [bodies]float64
	coreC        float64 // of the load
	junctionC    float64
	gasC         float64
	ambientC     float64
	powerW       float64 // mean of the last step
	energyJ      float64 // electrical, since New
	loadHeatJ    float64 // from Input.LoadHeatW and StrayW, since New
	lostJ        float64 // to the room, since New
	outsideFixed float64 // conductance of case to room in tests, W/K; 0 uses the physics
}

// fixed is what New works out once.
type fixed struct {
	elementHeat *table // heat capacity of all wire, J/K; its k column is resistance, Ω
	probeHeat   *table // heat capacity of the sheath with its inside, J/K; k: film of the sheath, W/K
	wireFilm    *table // k: film of the wire, W/K
	emitting    [bodies]float64
	openM2      float64
	doorM2      float64
	filmW       [bodies]float64 // hot face and load, W/K
	surfaceJ    float64         // heat capacity of the load's surface, J/K
	coreJ       float64
	insideW     float64
	innerPerS   float64 // sheath to junction, 1/s
	caseM2      float64
	caseEmit    float64
	leakKgS     float64 // at 700 °C
	ventKgS     float64
}

// New returns the kiln p, cold and soaked at ambientC. p must come from [Load]
// or pass [Params.Check]; otherwise the numbers mean nothing.
func New(p Params, ambientC float64) *Kiln { return newKiln(p, ambientC, wantCells) }

func newKiln(p Params, ambientC float64, cells int) *Kiln {
	caseJK := float64(p.Shell.Mass) * steelCP
	k := &Kiln{p: p, wall: newWall(p.Walls, p.WallAreaM2, caseJK, ambientC, cells), fixed: fix(p), ambientC: ambientC}
	k.setAll(ambientC)
	return k
}

func (k *Kiln) setAll(tC float64) {
	for i := range k.tC {
		k.tC[i] = tC
	}
	for i := range k.wall.cells {
		k.wall.cells[i].tC = tC
	}
	k.wall.shell.tC = tC
	k.coreC, k.junctionC, k.gasC = tC, tC, tC
}

// referenceAirKgM3 is room air at 20 °C, in which air changes are counted.
const referenceAirKgM3 = airDensityK / (20 + zeroK)

func fix(p Params) fixed {
	c, e, l := p.Chamber, p.Elements, p.Load
	wireKg, wireM2, probeM2 := p.ElementMassKg(), p.ElementAreaM2(), p.Probe.areaM2()
	f := fixed{
		elementHeat: newTable(func(t float64) float64 { return wireKg * p.ElementCP(t) }, e.ResistanceOhm),
		probeHeat:   newTable(p.Probe.heatCapacity, func(t float64) float64 { return p.Probe.filmW(t) * probeM2 }),
		wireFilm:    newTable(func(float64) float64 { return 0 }, func(t float64) float64 { return wireFilmW(e, t) * wireM2 }),
		openM2:      float64(p.Air.Opening),
		doorM2:      float64(p.Door.Width) * float64(p.Door.Height),
		surfaceJ:    float64(l.Mass) * float64(l.HeatCapacity) * (1 - float64(l.Core)),
		coreJ:       float64(l.Mass) * float64(l.HeatCapacity) * float64(l.Core),
		insideW:     float64(l.Inside),
		innerPerS:   1 / math.Max(float64(p.Probe.InnerLag), weldedS),
		caseM2:      p.outsideM2(),
		caseEmit:    float64(p.Shell.Emissivity),
		leakKgS:     float64(p.Air.Leakage) * c.VolumeM3() * referenceAirKgM3,
		ventKgS:     float64(p.Air.Vent) * c.VolumeM3() * referenceAirKgM3,
	}
	f.emitting = p.emitting()
	f.filmW = [bodies]float64{hotFace: float64(c.Convection) * c.AreaM2(), load: float64(c.Convection) * float64(l.Area)}
	return f
}

// emitting is area times emissivity of each body, m².
func (p Params) emitting() [bodies]float64 {
	c, e, l := p.Chamber, p.Elements, p.Load
	return [bodies]float64{
		element: p.ElementAreaM2() * float64(e.Emissivity) * float64(e.Exposed),
		hotFace: math.Max(c.AreaM2()-float64(p.Air.Opening), 0) * float64(c.Emissivity),
		load:    float64(l.Area) * float64(l.Emissivity),
		sheath:  p.Probe.areaM2() * float64(p.Probe.Emissivity),
	}
}

// Step moves the kiln on by dtS seconds, best 0.25 to 10. It is stable for any
// positive step; a step of 1 s follows the elements within some kelvin. A dtS
// that is not positive and finite changes nothing.
func (k *Kiln) Step(dtS float64, in Input) {
	if !(dtS > 0) || !finite(dtS) {
		return
	}
	in = in.clean(k.ambientC)
	k.ambientC = in.AmbientC

	k.step(dtS, in.On*in.MainsRatio*in.MainsRatio*k.fullW(), in)
}

// fullW is V²/R of the elements as hot as they are, at nominal mains, W.
func (k *Kiln) fullW() float64 {
	_, ohm := k.elementHeat.both(k.tC[element])
	return float64(k.p.Elements.Supply) * float64(k.p.Elements.Supply) / ohm
}

// step is Step with the power given.
func (k *Kiln) step(dtS, powerW float64, in Input) {
	k.powerW = powerW
	elementJ, _ := k.elementHeat.both(k.tC[element])
	var net network
	air := k.couple(&net, in)
	net.source[element] = k.powerW
	net.own[element] = elementJ / dtS
	net.source[load] = in.LoadHeatW
	net.own[load] = k.surfaceJ / dtS
	net.hang(load, k.tC[load], k.insideW, k.coreJ/dtS, k.coreC)

	sheathJ, _ := k.probeHeat.both(k.tC[sheath])
	junctionJ, _ := k.probeHeat.both(k.junctionC)
	junctionJ *= junctionShare
	net.own[sheath] = (1 - junctionShare) * sheathJ / dtS
	net.hang(sheath, k.tC[sheath], junctionJ*k.innerPerS, junctionJ/dtS, k.junctionC)

	flow, perK := k.wall.condense(dtS, k.tC[hotFace], k.outside(in.AmbientC), in.AmbientC)
	net.source[hotFace] = in.StrayW - flow
	net.own[hotFace] = perK

	rise, lostW := net.solve(&k.tC, in.AmbientC)
	k.finish(&net, &air, &rise)
	k.energyJ += k.powerW * dtS
	k.loadHeatJ += (in.LoadHeatW + in.StrayW) * dtS
	k.lostJ += (lostW + k.wall.advance(rise[hotFace])) * dtS
}

// finish gives every body in the chamber its new temperature.
func (k *Kiln) finish(net *network, air *films, rise *[bodies]float64) {
	sum := air.toRoom * k.ambientC
	for i, g := range air.g {
		sum += g * (k.tC[i] + rise[i])
	}
	k.gasC = sum / air.total
	k.coreC += net.behind[load].rise(rise[load])
	k.junctionC = k.probeHeat.warm(k.junctionC, net.behind[sheath].rise(rise[sheath]))
	k.tC[element] = k.elementHeat.warm(k.tC[element], rise[element])
	k.tC[hotFace] += rise[hotFace]
	k.tC[load] += rise[load]
	k.tC[sheath] = k.probeHeat.warm(k.tC[sheath], rise[sheath])
}

// outside is the conductance from the case to the room in W/K.
func (k *Kiln) outside(ambientC float64) float64 {
	if k.outsideFixed > 0 {
		return k.outsideFixed
	}
	t := k.wall.shell.tC
	return k.caseM2 * (caseW(t-ambientC) + k.caseEmit*radiant(t+zeroK, ambientC+zeroK))
}

// films are the conductances between the gas and what it touches, W/K.
type films struct {
	g      [bodies]float64
	toRoom float64 // heat carried by the air exchanged, per kelvin
	total  float64
}

// couple fills the network with radiation and convection between the bodies
// and with the room.
func (k *Kiln) couple(net *network, in Input) films {
	var tK [bodies + 1]float64
	for i, t := range k.tC {
		tK[i] = t + zeroK
	}
	tK[room] = in.AmbientC + zeroK

	a := [bodies + 1]float64{room: k.openM2 + in.DoorOpen*k.doorM2}
	sum := a[room]
	for i, e := range k.emitting {
		a[i] = e
		sum += e
	}
	air := films{g: k.filmW}
	_, air.g[element] = k.wireFilm.both(k.tC[element])
	_, air.g[sheath] = k.probeHeat.both(k.tC[sheath])
	air.toRoom = k.airKgS(in) * airCP(k.gasC)
	air.total = air.toRoom
	for _, g := range air.g {
		air.total += g
	}
	net.g[hotFace][room] = float64(k.p.Shell.Bridges)
	perSum, perTotal := 1/sum, 1/air.total
	for i := range bodies {
		for j := i + 1; j <= bodies; j++ {
			g := a[i] * a[j] * perSum * radiant(tK[i], tK[j])
			if j < bodies {
				g += air.g[i] * air.g[j] * perTotal
			} else {
				g += air.g[i] * air.toRoom * perTotal
			}
			net.g[i][j] += g
		}
	}
	return air
}

// airKgS is the air exchanged with the room, kg/s.
func (k *Kiln) airKgS(in Input) float64 {
	gasK, roomK := k.gasC+zeroK, in.AmbientC+zeroK
	flow := k.leakKgS * chimney(gasK, roomK)
	if in.AirOn {
		flow += k.ventKgS
	}
	if in.DoorOpen > 0 {
		flow += in.DoorOpen * doorwayKgS(float64(k.p.Door.Width), float64(k.p.Door.Height), gasK, roomK)
	}
	return flow
}

package bench

import (
	"math"
	"time"

	"calx/sim/kiln"
)

// pass moves everything on, in steps of at most a second.
func (b *Bench) pass(d time.Duration) {
	for ; d > 0; d -= time.Second {
		b.step(min(d, time.Second))
	}
}

// step moves everything on by at most a second, unless the power goes at its
// beginning.
func (b *Bench) step(d time.Duration) {
	wasDead := b.dead
	b.mishaps()
	if b.dead && !wasDead {
		return
	}
	b.expire()
	heat0, main0 := b.closedTimes()
	b.now += d
	heat1, main1 := b.closedTimes()
	s := d.Seconds()
	mains := b.dist.mains * b.swing()
	if b.dist.cut {
		mains = 0
	}
	b.kiln.Step(s, kiln.Input{
		On:         min(heat1-heat0, main1-main0, d).Seconds() / s * b.dist.elements,
		MainsRatio: mains,
		DoorOpen:   b.dist.door,
		AirOn:      b.air.Closed(),
		AmbientC:   b.o.AmbientC,
		LoadHeatW:  b.dist.heatW - b.boil(s),
	})
	if b.kiln.PowerW() > 0 {
		b.heatedAt = b.now
	}
	b.peakC = math.Max(b.peakC, b.kiln.JunctionC())
	b.slid += (b.dist.slips - b.slid) * -math.Expm1(-s/b.o.Kiln.ProbeLagS(b.kiln.JunctionC()))
	b.show()
	b.shared.Store(int64(b.now))
}

// Water in a mould of gypsum-bonded investment takes the heat of evaporation,
// 2.257 MJ/kg at 100 °C (IAPWS), and some more for what the gypsum binds (common
// practice, no source), as fast as heat gets to it: W for every K above boiling
// and every kg of load, so that it is gone in an hour or two.
const (
	waterJPerKg = 2.6e6
	boilsC      = 100
	boilWPerKgK = 3.0
)

// boil is the heat that water takes within dtS seconds, W.
func (b *Bench) boil(dtS float64) float64 {
	above := b.kiln.LoadC() - boilsC
	if b.waterJ <= 0 || above <= 0 {
		return 0
	}
	w := math.Min(boilWPerKgK*float64(b.o.Kiln.Load.Mass)*above, b.waterJ/dtS)
	b.waterJ -= w * dtS
	return w
}

// show tells the chips where their junctions are. The amplifiers sit in a box
// beside the kiln and warm a little with its case.
func (b *Bench) show() {
	const besideTheKiln = 0.08
	cold := b.o.AmbientC + besideTheKiln*(b.kiln.ShellC()-b.o.AmbientC)
	if b.dist.boxed {
		cold = b.dist.boxC
	}
	b.chip.Set(b.kiln.JunctionC()+b.slid*(cold-b.kiln.JunctionC()), cold)
	if b.second != nil {
		b.second.Set(b.secondC(), cold)
	}
	b.door.Set(b.dist.door > 0)
}

// secondC is the true temperature of the second junction, °C.
func (b *Bench) secondC() float64 {
	c := b.kiln.JunctionC()
	return c + b.o.Second.Spread*(c-b.o.AmbientC)
}

// swing is the mains voltage over its nominal value: two slow waves whose
// periods never meet.
func (b *Bench) swing() float64 {
	if b.o.MainsSwing == 0 {
		return 1
	}
	t := b.now.Seconds()
	return 1 + b.o.MainsSwing*(0.6*math.Sin(2*math.Pi*t/1790)+0.4*math.Sin(2*math.Pi*t/431))
}

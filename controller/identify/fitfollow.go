package identify

import (
	"math"

	"calx/sim/kiln"
)

// pull is by how much heat the model is drawn to what was measured: as a share
// of rated power for each kelvin that it is off. It is so strong that the
// model stays within a kelvin or so; the heat that this takes is what is wrong
// with it, charged to the time at which it is wrong. A sag of the mains or a
// door is forgotten as soon as the wall has forgotten it, and nothing is asked
// about how the controller answered.
const pull = 0.03

// follow runs p along the trace and returns what was measured less the model,
// °C, NaN where nothing was; water is how much of the heat in the load there
// was; strayJ is the heat that it took to draw the model
// there in the steps for which count holds, givenJ the electrical heat in them.
func (t *trace) follow(p kiln.Params, water float64, count func(tick) bool) (missC []float64, strayJ, givenJ float64) {
	k := kiln.New(p, t.roomC)
	warm(k, t.startC, t.roomC)
	missC = make([]float64, len(t.steps))
	ratedW := p.RatedW()
	strayW := 0.0
	for i := range t.steps {
		s := &t.steps[i]
		before, was := k.JunctionC(), k.EnergyJ()
		k.Step(traceStepS, kiln.Input{On: s.on, MainsRatio: 1, AirOn: s.air, DoorOpen: s.door, AmbientC: t.roomC, LoadHeatW: water * s.loadW, StrayW: strayW})
		if count(*s) {
			strayJ += strayW * traceStepS
			givenJ += k.EnergyJ() - was
		}
		// The reading is the mean over the step, and so is this.
		missC[i] = s.hotC - (before+k.JunctionC())/2
		strayW = 0
		if missC[i] == missC[i] {
			strayW = ratedW * math.Max(-1, math.Min(pull*missC[i], 1))
		}
	}
	return missC, strayJ, givenJ
}

// warm starts a kiln that reads startC: soaked, which a kiln near the room is
// to a kelvin or two, and any other is not; see trace.mask.
func warm(k *kiln.Kiln, startC, roomC float64) {
	if startC-startC != 0 {
		return
	}
	s := k.State()
	s.ElementC, s.HotFaceC, s.LoadC, s.LoadCoreC, s.SheathC, s.JunctionC, s.GasC = startC, startC, startC, startC, startC, startC, startC
	n := float64(len(s.WallC))
	for i := range s.WallC {
		s.WallC[i] = startC + (roomC-startC)*(float64(i)+0.5)/n
	}
	s.ShellC = roomC
	if math.Abs(startC-roomC) < startWarmK {
		for i := range s.WallC {
			s.WallC[i] = startC
		}
		s.ShellC = startC
	}
	if err := k.Restore(s); err != nil {
		panic("BUG: a kiln does not take its own state: " + err.Error())
	}
}

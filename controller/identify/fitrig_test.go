package identify_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/guard"
	"calx/controller/identify"
	"calx/controller/relay"
	"calx/profile"
	"calx/sensor"
	"calx/sim/kiln"
	"calx/storage/record"
)

// oven is what a controller can fire: the model of sim/kiln, or another.
type oven interface {
	Step(dtS float64, in kiln.Input)
	JunctionC() float64
	EnergyJ() float64
}

// night is one firing of an oven.
type night struct {
	oven    oven
	file    kiln.Params // what the controller is told
	text    string      // profile
	relay   relay.Kind
	roomC   float64
	seed    uint64
	swing   float64                     // how far the mains wander, as a share
	drift   float64                     // standard deviation of a slow drift beside, as a share
	sag     float64                     // how far they are off all night, as a share
	door    func(at time.Duration) bool // open
	heatW   func(at time.Duration) float64
	gapFrom time.Duration // calx is away for gapFor
	gapFor  time.Duration
}

// firing is what came of it.
type fired struct {
	rec      identify.Recorded
	curveC   []float64 // true junction, a value a minute
	energyJ  float64   // from the mains
	countedJ float64   // as calx counts it
	trackC   float64   // root mean square of chamber less setpoint while either could be followed, °C
	overC    float64   // highest above the setpoint, °C
	outcome  string
	why      []string // alarms
}

// fire lets the controller fire the oven, tick by tick, with a thermocouple
// amplifier of 0.25 °C steps and the noise of one.
func (n night) fire(tb testing.TB) fired {
	p, err := profile.Parse(n.text)
	require.NoError(tb, err)
	plant := identify.Plant(n.file, n.roomC)
	limits := guard.DefaultLimits(n.file.MaxC())
	limits.Response = identify.Response(n.file, plant)
	c, err := controller.New(controller.Config{Profile: p, Plant: plant, Relay: relay.DefaultConfig(n.relay), Guard: limits})
	require.NoError(tb, err)
	noise := rand.New(rand.NewPCG(n.seed, 1))
	phase := noise.Float64() * 2 * math.Pi
	out := fired{rec: identify.Recorded{Name: "firing", RoomC: n.roomC}}
	var s controller.State
	var o controller.Output
	var drift, square, count float64
	start := time.Date(2000, 1, 1, 20, 0, 0, 0, time.UTC)
	for now := time.Duration(0); !o.Ended; now += time.Second {
		at := now.Seconds()
		away := n.gapFor > 0 && now >= n.gapFrom && now < n.gapFrom+n.gapFor
		if n.gapFor > 0 && now == n.gapFrom+n.gapFor {
			s = controller.Interrupt(s)
		}
		if !away {
			hot := math.Round((n.oven.JunctionC()+0.12*noise.NormFloat64())*4) / 4
			s, o = c.Step(s, controller.Input{Now: now, Wall: start.Add(now), Chamber: sensor.Reading{At: now, HotC: hot, ColdC: 25}})
			on := 0.0
			if o.Heat {
				on = 1
			}
			out.rec.Samples = append(out.rec.Samples, identify.Sample{At: now, HotC: hot, On: on, Air: o.Record.Air, Door: math.NaN()})
			out.countedJ = o.Record.EnergyJ
			for _, e := range o.Events {
				if e.Severity == record.Alarm {
					out.why = append(out.why, e.Text)
				}
			}
			if off := n.oven.JunctionC() - o.Record.SetpointC; off == off && o.Record.Duty > 0 && o.Record.Duty < 0.98 {
				square, count = square+off*off, count+1
				out.overC = math.Max(out.overC, off)
			}
		}
		// The mains wander: two waves and a slow drift without a home.
		drift += n.drift*0.0245*noise.NormFloat64() - drift*0.0003
		in := kiln.Input{MainsRatio: (1 + n.sag) * (1 + n.swing*(0.5*math.Sin(2*math.Pi*at/1790+phase)+0.3*math.Sin(2*math.Pi*at/431)) + drift), AmbientC: n.roomC, AirOn: o.Record.Air}
		if o.Heat && !away {
			in.On = 1
		}
		if n.door != nil && n.door(now) {
			in.DoorOpen = 1
		}
		if n.heatW != nil {
			in.LoadHeatW = n.heatW(now)
		}
		n.oven.Step(1, in)
		if int(at)%60 == 59 {
			out.curveC = append(out.curveC, n.oven.JunctionC())
		}
	}
	out.trackC = math.Sqrt(square / math.Max(count, 1))
	out.energyJ, out.outcome = n.oven.EnergyJ(), s.Outcome()
	return out
}

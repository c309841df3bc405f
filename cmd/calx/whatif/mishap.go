package whatif

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"calx/sensor"
	"calx/sim/bench"
)

// disturbance is what is wrong at a moment.
type disturbance struct {
	door, mains, elements, heatW float64
	welded, stuck, frozen        bool
	fault                        sensor.Fault
	offC, driftCPerH             float64
	slipped                      float64
}

func calm() disturbance { return disturbance{mains: 1, elements: 1} }

// kind is a mishap that can be told apart without chips.
type kind struct {
	usual float64 // where no value is given
	set   func(*disturbance, float64)
}

// powerCut is the one mishap that stops calx itself.
const powerCut = "power"

// usualCut is how long the power is gone where no time is given.
const usualCut = time.Hour

var kinds = map[string]kind{
	"door":         {1, func(d *disturbance, v float64) { d.door = v }},
	"mains":        {0.9, func(d *disturbance, v float64) { d.mains = v }},
	"elements":     {0.5, func(d *disturbance, v float64) { d.elements = v }},
	"burning":      {300, func(d *disturbance, v float64) { d.heatW = v }},
	"clock":        {3600, func(*disturbance, float64) {}},
	powerCut:       {0, func(*disturbance, float64) {}},
	"welded":       {0, func(d *disturbance, _ float64) { d.welded = true }},
	"stuck_open":   {0, func(d *disturbance, _ float64) { d.stuck = true }},
	"frozen":       {0, func(d *disturbance, _ float64) { d.frozen = true }},
	"drift":        {10, func(d *disturbance, v float64) { d.driftCPerH = v }},
	"slipped":      {0.5, func(d *disturbance, v float64) { d.slipped = v }},
	"open":         {0, fault(sensor.Open)},
	"short_ground": {0, fault(sensor.ShortGround)},
	"short_supply": {0, fault(sensor.ShortSupply)},
	"bus_low":      {0, fault(sensor.DeadBus)},
	"bus_high":     {0, fault(sensor.DeadBus)},
}

func fault(f sensor.Fault) func(*disturbance, float64) {
	return func(d *disturbance, _ float64) { d.fault |= f }
}

// Check refuses mishaps that need the emulated chips.
func Check(ms []bench.Mishap) error {
	for _, m := range ms {
		if m.On != "" {
			return fmt.Errorf("mishap %q is on the %s, which a replay has none of; calx demo --faults knows it", m.Kind, m.On)
		}
		if _, ok := kinds[m.Kind]; !ok || m.On != "" {
			var names []string
			for k := range kinds {
				names = append(names, k)
			}
			slices.Sort(names)
			return fmt.Errorf("mishap %q needs the emulated chips, which a replay has none of; it knows, for the chamber's probe and the heat relay, %s; calx demo --faults knows the rest", strings.TrimSpace(m.Kind+" "+m.On), strings.Join(names, ", "))
		}
	}
	return nil
}

func valueOf(m bench.Mishap) float64 {
	v, err := strconv.ParseFloat(m.Value, 64)
	if err != nil {
		return kinds[m.Kind].usual // bench.ParseMishaps has checked it
	}
	return v
}

// mishaps are those of a run, each once or for a while.
type mishaps []bench.Mishap

// at is what is wrong at a time of the run.
func (ms mishaps) at(t time.Duration) disturbance {
	d := calm()
	for _, m := range ms {
		if t < m.At || m.For > 0 && t >= m.At+m.For {
			continue
		}
		kinds[m.Kind].set(&d, valueOf(m))
		if d.driftCPerH != 0 && m.Kind == "drift" {
			d.offC += d.driftCPerH * (t - m.At).Hours()
		}
	}
	return d
}

// clock is by how much mishaps have set the wall clock on.
func (ms mishaps) clock(t time.Duration) (by time.Duration) {
	for _, m := range ms {
		if m.Kind == "clock" && t >= m.At {
			by += time.Duration(valueOf(m) * float64(time.Second))
		}
	}
	return by
}

// changes are the moments at which something begins or ends.
func (ms mishaps) changes() []time.Duration {
	var out []time.Duration
	for _, m := range ms {
		out = append(out, m.At)
		if m.For > 0 {
			out = append(out, m.At+m.For)
		}
	}
	slices.Sort(out)
	return out
}

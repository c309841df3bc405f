package controller_test

import (
	"fmt"
	"time"

	"calx/controller"
	"calx/controller/guard"
	"calx/controller/law"
	"calx/profile"
	"calx/sensor"
)

// A plant of your own, a thermometer of your own, and a loop.
func Example() {
	p, err := profile.Parse("never above 735 C\nheat to 300 C at 200 C/h\nhold 30 min\n")
	if err != nil {
		panic(err)
	}
	c, err := controller.New(controller.Config{
		Profile: p,
		Plant:   law.Simple(2000, 9000, 2.5, 30, 20), // W, J/K, W/K, s, s
		Guard:   guard.DefaultLimits(1100),
	})
	if err != nil {
		panic(err)
	}
	chamberC := 20.0
	var s controller.State
	var out controller.Output
	start := time.Date(2000, 1, 1, 20, 0, 0, 0, time.UTC)
	for now := time.Duration(0); !out.Ended; now += time.Second {
		s, out = c.Step(s, controller.Input{
			Now: now, Wall: start.Add(now),
			Chamber: sensor.Reading{At: now, HotC: chamberC},
		})
		lossW := 3 * (chamberC - 20)
		if out.Heat {
			lossW -= 1900
		}
		chamberC -= lossW / 10000
	}
	fmt.Printf("%s after %.1f h at %.0f °C\n", s.Outcome(), s.Now.Hours(), chamberC)
	// Output: finished after 1.9 h at 300 °C
}

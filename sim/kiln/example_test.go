package kiln_test

import (
	"fmt"

	"calx/sim/kiln"
)

// A kiln on full power for half an hour, then what it takes to hold 730 °C.
func Example() {
	data, err := kiln.ShippedFile("jewellery-3l-fibre")
	if err != nil {
		panic(err)
	}
	p, err := kiln.Load("jewellery-3l-fibre.yaml", data)
	if err != nil {
		panic(err)
	}
	k := kiln.New(p, 20)
	for range 1800 {
		k.Step(1, kiln.Input{On: 1, MainsRatio: 1, AmbientC: 20})
	}
	fmt.Printf("after 30 min %.0f C, %.2f kWh\n", k.JunctionC(), k.EnergyJ()/3.6e6)
	fmt.Printf("duty at 730 C %.2f\n", p.BalanceDuty(730))
	// Output:
	// after 30 min 628 C, 0.60 kWh
	// duty at 730 C 0.33
}

package thermocouple_test

import (
	"fmt"

	"calx/sensor/thermocouple"
)

// A type K junction at 730 °C read against a terminal block at 25 °C.
func Example() {
	hot, _ := thermocouple.K.EMF(730)
	cold, _ := thermocouple.K.EMF(25)
	fmt.Printf("measured %.3f mV\n", hot-cold)

	t, err := thermocouple.K.Temperature(hot - cold + cold)
	if err != nil {
		fmt.Println(err)
		return
	}
	wire, _ := thermocouple.K.Tolerance(thermocouple.Class2, t)
	fmt.Printf("%.1f °C ± %.1f °C\n", t, wire)
	// Output:
	// measured 29.382 mV
	// 730.0 °C ± 5.5 °C
}

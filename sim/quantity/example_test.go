package quantity_test

import (
	"fmt"

	"calx/sim/quantity"
)

func ExampleDecode() {
	var flask struct {
		Diameter quantity.Length      `yaml:"diameter"`
		Ceiling  quantity.Temperature `yaml:"ceiling"`
	}
	err := quantity.Decode("flask.yaml", []byte("diameter: 3 1/2 in\nceiling: 1350 F\n"), &flask)
	fmt.Printf("%.4f m, %.1f C, %v\n", flask.Diameter, flask.Ceiling, err)

	err = quantity.Decode("flask.yaml", []byte("diameter: 90\nceiling: 735 C\n"), &flask)
	fmt.Println(err)
	// Output:
	// 0.0889 m, 732.2 C, <nil>
	// flask.yaml:1:11: diameter: 90: a length needs a unit, for example 90 mm or 3 1/2 in
}

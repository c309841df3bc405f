package chip_test

import (
	"fmt"
	"log"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/conn/v3/spi/spireg"

	"calx/sensor/max31855"
	"calx/sensor/thermocouple"
	"calx/sim/chip"
)

// A plant on one side, a driver that knows of no simulation on the other.
func Example() {
	var now time.Duration
	clock := func() time.Duration { return now }

	c, err := chip.New(chip.Options{Model: chip.MAX31855, Type: thermocouple.K, Now: clock})
	if err != nil {
		log.Fatal(err)
	}
	if err := c.Register("SIM9.0"); err != nil {
		log.Fatal(err)
	}
	defer c.Unregister()
	r, err := chip.NewRelay(chip.RelayOptions{Name: "SIM9_RELAY", Now: clock})
	if err != nil {
		log.Fatal(err)
	}
	if err := r.Register(); err != nil {
		log.Fatal(err)
	}
	defer r.Unregister()

	// The daemon's side.
	port, err := spireg.Open("SIM9.0")
	if err != nil {
		log.Fatal(err)
	}
	defer port.Close()
	probe, err := max31855.New(port, &max31855.Opts{Type: thermocouple.K})
	if err != nil {
		log.Fatal(err)
	}
	heat := gpioreg.ByName("SIM9_RELAY")

	// One second of a plant that heats 3 °C in it.
	c.Set(727, 25)
	if err := heat.Out(gpio.High); err != nil {
		log.Fatal(err)
	}
	now += time.Second
	c.Set(727+3*r.OnTime().Seconds(), 25)
	now += time.Second
	fmt.Printf("%.1f °C, relay on for %v\n", probe.Read(now).HotC, r.OnTime())

	if err := c.Inject(chip.Fault{Kind: chip.Open}); err != nil {
		log.Fatal(err)
	}
	now += time.Second
	fmt.Println(probe.Read(now).Fault)
	// Output:
	// 729.9 °C, relay on for 2s
	// open
}

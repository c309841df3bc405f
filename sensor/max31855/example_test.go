package max31855_test

import (
	"fmt"
	"time"

	"calx/sensor/max31855"

	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/spi/spitest"
)

// A recorded exchange stands in for the port that spireg.Open("SPI0.0") gives.
func Example() {
	port := &spitest.Playback{Playback: conntest.Playback{Ops: []conntest.IO{
		{R: []byte{0x2E, 0x0C, 0x19, 0x00}}, // 736.75 °C by the chip's straight line
		{R: []byte{0x00, 0x01, 0x19, 0x01}}, // a probe wire came off
	}}}
	dev, err := max31855.New(port, &max31855.DefaultOpts)
	if err != nil {
		fmt.Println(err)
		return
	}
	for at := time.Second; at <= 2*time.Second; at += time.Second {
		r := dev.Read(at)
		fmt.Printf("%s after %v: %.2f °C, board %.2f °C, %v\n", dev, r.At, r.HotC, r.ColdC, r.Fault)
	}
	// Output:
	// MAX31855K{playback} after 1s: 729.91 °C, board 25.00 °C, ok
	// MAX31855K{playback} after 2s: NaN °C, board 25.00 °C, open
}

package max6675_test

import (
	"fmt"

	"calx/sensor/max6675"

	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/spi/spitest"
)

// A recorded exchange stands in for the port that spireg.Open("SPI0.0") gives.
func Example() {
	port := &spitest.Playback{Playback: conntest.Playback{Ops: []conntest.IO{
		{R: []byte{0x5B, 0x40}}, // 730 °C by the chip's straight line
	}}}
	dev, err := max6675.New(port, &max6675.Opts{BoardC: 30})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s: %.1f °C\n", dev, dev.Read(0).HotC)
	// Output:
	// MAX6675{playback}: 718.5 °C
}

package max31856_test

import (
	"fmt"
	"time"

	"calx/sensor/max31856"
	"calx/sensor/thermocouple"

	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/spi/spitest"
)

// A recorded exchange stands in for the port that spireg.Open("SPI0.0") gives.
func Example() {
	port := &spitest.Playback{Playback: conntest.Playback{Ops: []conntest.IO{
		// what is in the chip after power-up
		{W: make([]byte, 17), R: []byte{0, 0x00, 0x03, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0, 0, 0, 0, 0, 0, 0, 0}},
		// stop, set up for type S and 60 Hz, start
		{W: []byte{0x80, 0x00}},
		{W: []byte{0x80, 0x10, 0x26, 0x00, 0x46, 0xF6, 0x7F, 0xFF, 0x80, 0, 0}},
		{W: []byte{0x80, 0x90}},
		// all registers, 736.75 °C over a board at 25 °C
		{W: make([]byte, 17), R: []byte{0, 0x90, 0x26, 0x00, 0x46, 0xF6, 0x7F, 0xFF, 0x80, 0, 0,
			0x19, 0x00, 0x2E, 0x0C, 0x00, 0x00}},
	}}}
	dev, err := max31856.New(port, &max31856.Opts{Type: thermocouple.S, Averaging: 4, MainsHz: 60})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, at := range []time.Duration{0, time.Second} {
		r := dev.Read(at)
		fmt.Printf("%s: %.2f °C, board %.2f °C, %v\n", dev, r.HotC, r.ColdC, r.Fault)
	}
	// Output:
	// MAX31856S{playback}: NaN °C, board NaN °C, stale
	// MAX31856S{playback}: 736.75 °C, board 25.00 °C, ok
}

// Package max31855 reads the MAX31855 thermocouple-to-digital converter (14
// bits, one fixed thermocouple type a part) over SPI and puts its reading on
// ITS-90.
//
// The chip takes the thermocouple for a straight line: it divides the voltage
// by one slope and adds its own temperature. At 730 °C that shows 6.8 °C too
// much for type K and some 43 °C too little for type S near 600 °C. The driver
// restores the voltage and looks it up properly.
//
// # Wiring and a check on the bench
//
// Read only: clock, data out and chip select; SPI mode 0, at most 5 MHz (used
// here: 1 MHz, for the sake of the leads). Neither thermocouple wire may touch
// ground, or the chip reports ShortGround. The data sheet advises 10 nF across
// the inputs.
//
// Public drivers disagree about the SPI mode, and a wrong one shifts the frame
// by one bit. So before the first firing hold the probe in ice water and in
// boiling water: it must show about 0 °C and, at sea level, 100 °C. A reading
// of half or double that, or below zero, is a shifted frame.
//
// # Timing
//
// A conversion takes up to 100 ms. Selecting the chip stops it and deselecting
// it starts it anew, so a chip polled too often never finishes one. Read
// therefore leaves the bus alone when called again within 100 ms and answers
// Stale. After power-up the first 200 ms hold no valid data.
//
// Source of codes, bits and times: MAX31855 data sheet, 19-5793, tables 1 to 5.
package max31855

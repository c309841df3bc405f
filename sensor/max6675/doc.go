// Package max6675 reads the MAX6675 thermocouple-to-digital converter (12 bits,
// type K only, 0.25 to 1023.5 °C) over SPI and puts its reading on ITS-90.
//
// The chip takes type K for a straight line of 41 µV/°C and shows 11.6 °C too
// much at 730 °C. Undoing that needs the temperature of its cold junction, which
// it does not tell; [Opts] assumes one. A wrong assumption matters little: the
// chip compensates the cold junction itself, so 10 °C of error in the
// assumption moves the result by about 0.1 °C.
//
// It has no fault bit but an open probe, no redundancy and no sign: below 0 °C,
// or with the probe wires swapped, it sends code 0, the same frame as a data
// line stuck low. Code 0 is therefore never a temperature here. For new work
// prefer one of the other two chips.
//
// # Wiring and a check on the bench
//
// Read only: clock, data out and chip select; SPI mode 0, at most 4.3 MHz (used
// here: 1 MHz, for the sake of the leads). The negative thermocouple wire must
// be tied to ground or an open probe goes unnoticed; pull the probe's screws and
// see that it is.
//
// Public drivers disagree about the clock edge, and a wrong SPI mode shifts the
// frame by one bit. So before the first firing hold the probe in boiling water:
// at sea level it must show about 100 °C, not half or double that.
//
// # Timing
//
// A conversion takes up to 220 ms. Selecting the chip stops it, so a chip polled
// too often never finishes one. Read therefore leaves the bus alone when called
// again within 220 ms and answers Stale.
//
// Source of bits, slope and times: MAX6675 data sheet, 19-2235; the times from
// memory.
package max6675

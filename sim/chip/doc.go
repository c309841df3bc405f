// Package chip stands in for the hardware between a kiln and calx: it
// emulates, register by register, the thermocouple amplifiers MAX31855,
// MAX31856 and MAX6675 and a relay on an output pin, behind periph's own
// interfaces and in periph's own registries. A daemon opens "SIM0.0" exactly
// as it opens "SPI0.0", so no driver and no controller knows that it is being
// simulated.
//
// The plant calls [Chip.Set] with the true junction temperatures whenever it
// has new ones, and asks [Relay.OnTime] or [Relay.Closed] for the heat. Time is
// the one function in the options: nothing here sleeps or looks at a clock.
//
// A conversion samples the junctions at its own moment, midway through the
// conversion, on a straight line between two calls of Set. It is computed when
// somebody reads it; conversions that nobody reads cost nothing. Its noise is
// drawn once, so reading the same conversion twice gives the same bits.
//
// What is modelled is what a driver can see: frames, registers, conversion
// times, the linear characteristic of MAX31855 and MAX6675, the ITS-90 tables
// of MAX31856, fault bits, and every fault in [FaultNames] on command. What is
// not: the time the SPI clock itself takes (some microseconds), mains hum, and
// input impedances. Where a data sheet is silent the choice is stated beside
// the code.
//
// Data sheets: MAX31855 19-5793, MAX31856 19-7534, MAX6675 19-2235. Figures
// marked "from memory" were recalled, not re-read.
package chip

// Package max31856 reads and configures the MAX31856 thermocouple-to-digital
// converter (19 bits, all eight types, linearised in the chip) over SPI.
//
// The chip forgets everything in a brown-out: it comes back as type K, at rest,
// with its open-probe test off, and a dead reading then looks like a good one.
// So every Read fetches all sixteen registers in one transfer and compares what
// it wrote with what is there. A difference is ConfigLost: that reading is
// refused and the chip is configured anew on the spot.
//
// # Wiring and a check on the bench
//
// Clock, data in, data out, chip select; SPI mode 1, at most 5 MHz (used here: 1
// MHz, for the sake of the leads). The FAULT pin follows every probe fault and
// may drive a lamp or an interlock; the DRDY pin is not used.
//
// Public drivers disagree about the SPI mode (1 and 3 both suit the chip, 0 and
// 2 shift the frame by a bit). So before the first firing hold the probe in ice
// water and in boiling water: it must show about 0 °C and, at sea level, 100 °C.
// Pull one probe wire: Open must follow within [Dev.Period] times sixteen.
//
// # Timing
//
// The chip converts on its own; [Dev.Period] says how fast, from averaging and
// notch. It does not count its conversions, so Read goes by time: called again
// sooner, or sooner than that after configuring, it answers Stale and leaves the
// bus alone. The first Read after [New] is always Stale, because the registers
// may still hold what an earlier run left in them.
//
// Open probes are searched every sixteenth conversion: with averaging 16 a
// broken wire may take some 8 s to be reported, with the default 4 about 3 s.
//
// Type B has no temperature below 250 °C, so a cold kiln reads HotRange with it.
//
// Source of registers and bits: MAX31856 data sheet, 19-7534, register map and
// tables; times marked in the code are from memory of its electrical
// characteristics.
package max31856

package max31856

import (
	"math"

	"calx/sensor"
	"calx/sensor/thermocouple"
)

// Register addresses for reading, data sheet table 6; writing adds addrWrite.
const (
	regCR0    = 0x00 // configuration 0
	regCR1    = 0x01 // configuration 1
	regMASK   = 0x02 // faults kept off the FAULT pin
	regCJHF   = 0x03 // cold-junction high limit, whole °C
	regCJLF   = 0x04 // cold-junction low limit, whole °C
	regLTHFTH = 0x05 // hot-junction high limit, two bytes, steps of 0.0625 °C
	regLTLFTH = 0x07 // hot-junction low limit, two bytes, same
	regCJTO   = 0x09 // cold-junction offset, steps of 0.0625 °C
	regCJTH   = 0x0A // cold junction, two bytes
	regLTCBH  = 0x0C // hot junction, three bytes
	regSR     = 0x0F // fault status

	writable  = regCJTH // registers 00 to 09 hold what was written
	registers = regSR + 1
	addrWrite = 0x80
)

// Bits of CR0.
const (
	cr0Auto      = 1 << 7 // convert continuously
	cr0OneShot   = 1 << 6 // clears itself
	cr0OpenTest  = 1 << 4 // test for an open probe, sources below 5 kΩ
	cr0FaultClr  = 1 << 1 // clears itself
	cr0Notch50   = 1 << 0 // 50 Hz, else 60 Hz
	cr1AvgShift  = 4
	maskReserved = 0xC0 // bits 7 and 6 of MASK
)

// holds are the bits of each writable register that keep what was written.
var holds = [writable]byte{
	regCR0: 0xFF &^ (cr0OneShot | cr0FaultClr), regCR1: 0x7F, regMASK: 0xFF &^ maskReserved,
	regCJHF: 0xFF, regCJLF: 0xFF, regLTHFTH: 0xFF, regLTHFTH + 1: 0xFF,
	regLTLFTH: 0xFF, regLTLFTH + 1: 0xFF, regCJTO: 0xFF,
}

// Steps of the two temperatures: 2^-7 and 2^-6 °C.
const (
	hotStepC  = 0.0078125
	coldStepC = 0.015625
)

// typeCode is the type field of CR1; false for no type.
func typeCode(t thermocouple.Type) (byte, bool) {
	for i := range thermocouple.Types { // the chip counts in alphabetical order
		if thermocouple.Type(thermocouple.Types[i]) == t {
			return byte(i), true
		}
	}
	return 0, false
}

// averagingCode is the averaging field of CR1; false for a number of samples
// the chip does not know.
func averagingCode(samples int) (byte, bool) {
	for code := range byte(5) {
		if samples == 1<<code {
			return code, true
		}
	}
	return 0, false
}

// image is what the writable registers hold while the chip converts. The
// options must be valid.
func image(o *Opts) (m [writable]byte) {
	typ, _ := typeCode(o.Type)
	avg, _ := averagingCode(o.Averaging)
	m[regCR0] = cr0Auto | cr0OpenTest
	if o.MainsHz == 50 {
		m[regCR0] |= cr0Notch50
	}
	m[regCR1] = avg<<cr1AvgShift | typ
	m[regMASK] = 0 // every fault shows on the pin
	m[regCJHF], m[regCJLF] = wholeDegrees(sensor.MaxColdC), wholeDegrees(sensor.MinColdC)
	m[regLTHFTH], m[regLTHFTH+1] = 0x7F, 0xFF // the hot junction has no limit here:
	m[regLTLFTH], m[regLTLFTH+1] = 0x80, 0x00 // ceilings belong to the guards
	m[regCJTO] = 0
	return m
}

// wholeDegrees is the two's complement form of the cold-junction limits.
func wholeDegrees(c float64) byte { return byte(int8(c)) }

// holdsImage reports whether the registers read back are those written.
func holdsImage(read []byte, m *[writable]byte) bool {
	for i, want := range m {
		if (read[i]^want)&holds[i] != 0 {
			return false
		}
	}
	return true
}

// deadBus reports whether every bit is the same, which no configured chip and no
// chip with power-on defaults shows.
func deadBus(read []byte) bool {
	and, or := byte(0xFF), byte(0)
	for _, b := range read {
		and, or = and&b, or|b
	}
	return or == 0 || and == 0xFF
}

// codes takes the temperatures out of the registers: bytes 2E 0C 00 are a hot
// junction of 94304 steps (736.75 °C).
func codes(read []byte) (hotCode, coldCode int32) {
	cj := read[regCJTH : regCJTH+2]
	coldCode = int32(int16(uint16(cj[0])<<8|uint16(cj[1]))) >> 2
	tc := read[regLTCBH : regLTCBH+3]
	hotCode = int32(uint32(tc[0])<<24|uint32(tc[1])<<16|uint32(tc[2])<<8) >> 13
	return hotCode, coldCode
}

// statusFaults translates the fault status register, bit 0 first.
var statusFaults = [8]sensor.Fault{
	sensor.Open, sensor.OverUnder, sensor.Limit, sensor.Limit, // open, over or under voltage, hot low, hot high
	sensor.Limit, sensor.Limit, sensor.HotRange, sensor.ColdRange, // cold low, cold high
}

func status(sr byte) (f sensor.Fault) {
	for i, fault := range statusFaults {
		if sr&(1<<i) != 0 {
			f |= fault
		}
	}
	return f
}

// judge says what is wrong with all registers read back. Both junctions at
// exactly 0 °C are what they hold after power-up, before any conversion.
func judge(read []byte, m *[writable]byte) sensor.Fault {
	hotCode, coldCode := codes(read)
	switch {
	case deadBus(read):
		return sensor.DeadBus
	case !holdsImage(read, m):
		return sensor.ConfigLost
	case hotCode == 0 && coldCode == 0:
		return sensor.Stale | status(read[regSR])
	}
	return status(read[regSR])
}

// Temperatures turns the codes of a Reading (steps of 2^-7 and 2^-6 °C) into °C
// on ITS-90; the chip has linearised already. hotC is NaN if there is a fault:
// ColdRange for an implausible cold junction, HotRange outside what type t can
// be linearised for, Unlinearised for an unknown type. Type K with codes 94304
// and 1600 gives 736.75 and 25 °C.
func Temperatures(t thermocouple.Type, hotCode, coldCode int32) (hotC, coldC float64, f sensor.Fault) {
	hotC, coldC = float64(hotCode)*hotStepC, float64(coldCode)*coldStepC
	if !sensor.ColdPlausible(coldC) {
		f |= sensor.ColdRange
	}
	minC, maxC := t.InverseRange()
	switch {
	case math.IsNaN(minC):
		f |= sensor.Unlinearised
	case hotC < minC || hotC > maxC:
		f |= sensor.HotRange
	}
	if f != 0 {
		hotC = math.NaN()
	}
	return hotC, coldC, f
}

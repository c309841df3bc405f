package chip

import (
	"time"

	"calx/sensor/thermocouple"
)

func (d *max31856) convert(now time.Duration, auto bool) {
	d.running, d.auto = true, auto
	d.start, d.done, d.tests = now, 0, 0
}

// restart follows a suspension by an input beyond the rails.
func (d *max31856) restart(now time.Duration) {
	if d.running {
		d.convert(now, d.auto)
	}
}

// eager keeps a one-shot result and latched faults from being lost when nobody
// reads for longer than the junctions' history.
func (d *max31856) eager() bool {
	return d.running && (!d.auto || d.reg[regCR0]&cr0Interrupt != 0)
}

// update brings the registers up to the latest finished conversion.
func (d *max31856) update(now time.Duration) {
	if d.c.faults.has(Frozen) {
		return
	}
	if d.c.overRange() {
		d.reg[regSR] |= srOverUnder
		return
	}
	if d.reg[regCR0]&cr0Interrupt == 0 {
		d.reg[regSR] &^= srOverUnder
	}
	if !d.running {
		return
	}
	t := timingOf(d.reg[regCR0], d.reg[regCR1])
	if !d.auto {
		if now-d.start >= t.test+t.oneShot {
			d.running = false
			d.reg[regCR0] &^= cr0OneShot
			d.openTest(t.test > 0)
			d.store(d.start+t.test+t.oneShot/2, t.samples)
		}
		return
	}
	done, tests, finished := t.automatic(now - d.start)
	if tests > d.tests {
		d.tests = tests
		d.openTest(true)
	}
	if done > d.done {
		d.done = done
		d.store(d.start+finished-t.repeat/2, t.samples)
	}
}

// openTest notes whether the test current finds a probe.
func (d *max31856) openTest(made bool) {
	if made {
		d.noProbe = d.c.faults.has(Open)
	}
}

// store writes one conversion centred on the given moment into the registers.
func (d *max31856) store(at time.Duration, samples int) {
	mV, sensorC := d.c.sample(at, samples)
	if d.reg[regCR0]&cr0ColdOff == 0 {
		// The offset register is in 0.0625 °C; the result is 14 bits of
		// 1/64 °C, left-aligned.
		coldC := sensorC + float64(int8(d.reg[regCJTO]))/16
		code := steps(coldC, 64, -8192, 8191) << 2
		d.reg[regCJTH], d.reg[regCJTL] = byte(code>>8), byte(code)
	}
	coldC := float64(d.signed16(regCJTH)>>2) / 64

	code, outside := d.linearise(mV, coldC)
	d.reg[regLTCBH], d.reg[regLTCBM], d.reg[regLTCBL] = byte(code>>11), byte(code>>3), byte(code<<5)
	d.judge(float64(code)/128, coldC, outside)
}

func (d *max31856) signed16(r int) int16 {
	return int16(d.reg[r])<<8 | int16(d.reg[r+1])
}

// chipTypes are the types of CR1 bits 3..0 in the order of their codes; 8 to 15
// are voltage modes.
const chipTypes = "BEJKNRST"

// linearise turns an input voltage into the 19-bit code of the result: °C in
// 1/128 through the ITS-90 inverse functions, or in voltage mode gain × 1.6 ×
// 2^17 × V. Outside the functions' range, which is that of the chip's own table
// (data sheet 19-7534, from memory), the result stays at its end, and the flag
// is set; the data sheet does not say what the number is there.
func (d *max31856) linearise(mV, coldC float64) (code int32, outside bool) {
	const least, most = -1 << 18, 1<<18 - 1
	sel := d.reg[regCR1] & 0x0F
	if sel >= 8 {
		gain := 8.0
		if sel >= 12 {
			gain = 32
		}
		return steps(mV/1000, gain*1.6*(1<<17), least, most), false
	}
	t := thermocouple.Type(chipTypes[sel])
	mV += emf(t, coldC)
	hotC, err := t.Temperature(mV)
	if err != nil {
		const rounding = 1e-9 // mV; the ends of the range belong to it
		minC, maxC := t.InverseRange()
		minMV, maxMV := emf(t, minC), emf(t, maxC)
		outside = mV < minMV-rounding || mV > maxMV+rounding
		hotC = minC
		if mV > (minMV+maxMV)/2 {
			hotC = maxC
		}
	}
	return steps(hotC, 128, least, most), outside
}

// limitHysteresisC is how far a temperature must come back before a limit's
// bit clears in comparator mode (data sheet 19-7534, CR0 bit 2, from memory).
const limitHysteresisC = 2

// judge sets the status bits for one result. In comparator mode a bit follows
// its condition, in interrupt mode it stays until the fault clear bit.
func (d *max31856) judge(hotC, coldC float64, outside bool) {
	var sr byte
	volts := d.reg[regCR1]&0x08 != 0
	if d.noProbe {
		sr |= srOpen
	}
	if outside {
		sr |= srHotRange
	}
	if minC, maxC := coldRange(d.reg[regCR1]); !volts && (coldC < minC || coldC > maxC) {
		sr |= srColdRange
	}
	sr |= d.beyond(srColdHigh, coldC-float64(int8(d.reg[regCJHF])))
	sr |= d.beyond(srColdLow, float64(int8(d.reg[regCJLF]))-coldC)
	if !volts {
		sr |= d.beyond(srHotHigh, hotC-float64(d.signed16(regLTHFTH))/16)
		sr |= d.beyond(srHotLow, float64(d.signed16(regLTLFTH))/16-hotC)
	}
	if d.reg[regCR0]&cr0Interrupt != 0 {
		sr |= d.reg[regSR]
	}
	d.reg[regSR] = sr
}

// beyond gives the bit if a limit is passed by more than 0 °C, or was passed
// and the temperature has not come back by the hysteresis.
func (d *max31856) beyond(bit byte, byC float64) byte {
	if byC > 0 || d.reg[regSR]&bit != 0 && byC > -limitHysteresisC {
		return bit
	}
	return 0
}

// coldRange is the cold-junction range a type is good for, in °C (data sheet
// 19-7534, from memory).
func coldRange(cr1 byte) (minC, maxC float64) {
	switch chipTypes[cr1&7] {
	case 'B':
		return 0, 125
	case 'R', 'S':
		return -50, 125
	default:
		return -55, 125
	}
}

// faultPin is true while the FAULT pin is asserted: some bit of SR that MASK
// lets through. The two range bits never reach the pin.
func (d *max31856) faultPin() bool {
	return d.reg[regSR]&^d.reg[regMASK]&0x3F != 0
}

package chip

import (
	"errors"
	"time"
)

// Register addresses for reading; for writing 0x80 is added (data sheet
// 19-7534, register memory map).
const (
	regCR0 = iota
	regCR1
	regMASK
	regCJHF
	regCJLF
	regLTHFTH
	regLTHFTL
	regLTLFTH
	regLTLFTL
	regCJTO
	regCJTH
	regCJTL
	regLTCBH
	regLTCBM
	regLTCBL
	regSR
	regCount
)

// Bits of CR0 and SR (data sheet 19-7534, CR0 and fault status register).
const (
	cr0Auto       = 0x80
	cr0OneShot    = 0x40
	cr0OpenTest   = 0x30
	cr0ColdOff    = 0x08
	cr0Interrupt  = 0x04
	cr0FaultClear = 0x02
	cr0Notch50    = 0x01
	// A change of one of these begins automatic conversion anew.
	cr0Timing = cr0OpenTest | cr0ColdOff | cr0Notch50

	srColdRange = 0x80
	srHotRange  = 0x40
	srColdHigh  = 0x20
	srColdLow   = 0x10
	srHotHigh   = 0x08
	srHotLow    = 0x04
	srOverUnder = 0x02
	srOpen      = 0x01
)

// powerUpRegisters are the contents after power-up (data sheet 19-7534,
// register memory map): type K, 60 Hz, open test off, conversions off.
var powerUpRegisters = [regCount]byte{
	regCR1: 0x03, regMASK: 0xFF, regCJHF: 0x7F, regCJLF: 0xC0,
	regLTHFTH: 0x7F, regLTHFTL: 0xFF, regLTLFTH: 0x80,
}

// max31856 is the digital half of MAX31856.
type max31856 struct {
	c   *Chip
	reg [regCount]byte

	running bool // a conversion is under way
	auto    bool // and another one follows it
	start   time.Duration
	done    int64 // automatic conversions since start that are in reg
	tests   int64 // open tests since start that are in noProbe
	noProbe bool  // what the last open test found

	addressed bool // the first byte of the transaction has passed
	writing   bool
	addr      byte
	cr0Before byte
	cr0Wrote  bool
	cr1Wrote  bool
}

func newMAX31856(c *Chip) *max31856 { return &max31856{c: c} }

func (d *max31856) reset(time.Duration) {
	*d = max31856{c: d.c, reg: powerUpRegisters}
}

func (d *max31856) begin(now time.Duration) {
	d.update(now)
	d.addressed, d.cr0Wrote, d.cr1Wrote = false, false, false
	d.cr0Before = d.reg[regCR0]
}

// xfer takes the address first; the following bytes step it. Register 0 follows
// the last one, and addresses that do not exist read 0xFF and ignore writing:
// the data sheet does not say.
func (d *max31856) xfer(in byte) byte {
	if !d.addressed {
		d.addressed = true
		d.writing = in&0x80 != 0
		d.addr = in & 0x7F
		return 0
	}
	if d.addr >= regCount {
		return 0xFF
	}
	out := byte(0)
	if d.writing {
		d.write(in)
	} else {
		out = d.reg[d.addr]
	}
	d.addr = (d.addr + 1) % regCount
	return out
}

func (d *max31856) write(b byte) {
	switch d.addr {
	case regCR0:
		if b&cr0FaultClear != 0 && b&cr0Interrupt != 0 {
			d.reg[regSR] = 0
		}
		b &^= cr0FaultClear // clears itself; without effect in comparator mode
		d.cr0Wrote = true
	case regCR1:
		b &= 0x7F
		d.cr1Wrote = d.cr1Wrote || b != d.reg[regCR1]
	case regCJTH, regCJTL:
		if d.reg[regCR0]&cr0ColdOff == 0 {
			return // belongs to the sensor while it is on
		}
		if d.addr == regCJTL {
			b &= 0xFC
		}
	case regLTCBH, regLTCBM, regLTCBL, regSR:
		return
	}
	d.reg[d.addr] = b
}

// end is the rising edge of CS: it starts what a written CR0 asks for.
func (d *max31856) end(now time.Duration) {
	if !d.cr0Wrote && !d.cr1Wrote {
		return
	}
	cr0 := d.reg[regCR0]
	changed := cr0 ^ d.cr0Before
	if d.running && changed&cr0Notch50 != 0 && cr0&(cr0Auto|cr0OneShot) != 0 {
		d.foul("notch filter changed while conversions run: write CR0 with CMODE 0 first")
	}
	if d.running && d.cr1Wrote {
		d.foul("type or averaging changed while conversions run: stop them first")
	}
	if cr0&cr0OpenTest == 0 {
		d.noProbe = false
	}
	switch {
	case cr0&cr0Auto != 0:
		d.reg[regCR0] &^= cr0OneShot // means nothing in automatic mode
		if !d.auto || changed&cr0Timing != 0 || d.cr1Wrote {
			d.convert(now, true)
		}
	case d.cr0Wrote && cr0&cr0OneShot != 0:
		d.convert(now, false)
	case d.cr0Wrote:
		d.running, d.auto = false, false
	}
}

func (d *max31856) foul(what string) {
	if d.c.misuse == nil {
		d.c.misuse = errors.New("sim/chip: MAX31856: " + what)
	}
}

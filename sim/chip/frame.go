package chip

import "time"

// frame is the digital half of the chips without registers, MAX31855 and
// MAX6675: CS low stops the conversion and shifts out the last result, CS high
// begins a new conversion, and while it stays high conversions follow each
// other (data sheets 19-5793 and 19-2235, from memory).
type frame struct {
	c          *Chip
	bytes      int
	conversion time.Duration
	powerUp    time.Duration
	encode     func(at time.Duration) uint32

	start    time.Duration // of the first conversion since CS went high
	done     int64         // conversions since start that are in word
	selected bool
	word     uint32 // last result, left-aligned; 0 until there is one
	out      uint32
}

func (f *frame) update(now time.Duration) {
	if f.selected || f.c.faults.has(Frozen) || now < f.start {
		return
	}
	n := int64((now - f.start) / f.conversion)
	if n <= f.done {
		return
	}
	f.done = n
	finished := f.start + time.Duration(n)*f.conversion
	f.word = f.encode(finished-f.conversion/2) << (32 - 8*f.bytes)
}

func (f *frame) begin(now time.Duration) {
	f.update(now)
	f.selected = true
	f.out = f.word
}

// xfer sends the next eight bits, zeros after the last one. There is no data
// line into the chip.
func (f *frame) xfer(byte) byte {
	b := byte(f.out >> 24)
	f.out <<= 8
	return b
}

func (f *frame) end(now time.Duration) {
	f.selected = false
	// Before the end of power-up there is no conversion to restart.
	f.start = max(f.start, now)
	f.done = 0
}

func (f *frame) eager() bool { return false }

// restart does nothing: these chips keep converting with a fault present.
func (f *frame) restart(time.Duration) {}

func (f *frame) reset(now time.Duration) {
	f.start = now + f.powerUp
	f.done = 0
	f.word = 0
}

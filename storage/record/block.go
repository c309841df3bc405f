package record

import (
	"encoding/binary"
	"slices"
	"time"
)

// A block is a run of readings:
//
//	version   1 byte
//	count     4 bytes, little endian
//	readings  each as its distance from what the ones before it suggest
//	checksum  4 bytes, little endian, CRC-32C of all before it
//
// A block needs nothing outside itself to be read.
const (
	blockVersion = 2
	doorless     = 1 // the version before Door: it ends there in all that follows it
	headerSize   = 1 + 4
	// MaxBlock is the largest number of readings in a block.
	MaxBlock = 1 << 16
	// MaxChannels is the largest number of channels in a reading: it bounds
	// what a hostile block can make DecodeBlock allocate.
	MaxChannels = 256
)

// What the first byte of a reading says.
const (
	relayOn     = 1 << iota // Relay
	airOn                   // Air
	nextSeq                 // Seq is one more than the last
	wholeMS                 // Wall is whole milliseconds
	sameShape               // Step, Phase, Door and the lengths are as before
	setpointHit             // SetpointC is as guessed
	sameDuty                // Duty is as before
	energyHit               // EnergyJ is as guessed
)

// What the first byte of a sample says; from the two lowest bits how HotC is
// told, from the next two how ColdC is.
const (
	told      = 0 // in full, against the last one
	byMemo    = 1 // hot: as the same codes gave before; cold: as before
	byCode    = 2 // code / 2^shift
	howMask   = 3
	coldHow   = 2 // bits to shift
	sameHot   = 1 << 4
	sameCold  = 1 << 5
	sameFault = 1 << 6
)

// Builder makes a block by adding readings one at a time. The zero Builder is
// empty and ready. What it was given it copies; the caller may change it.
type Builder struct {
	buf   []byte
	count int
	first uint64
	p     predictor
}

// Reset empties b.
func (b *Builder) Reset() {
	b.buf = append(b.buf[:0], blockVersion, 0, 0, 0, 0)
	b.count, b.first = 0, 0
	b.p = predictor{}
}

// Count is the number of readings added.
func (b *Builder) Count() int { return b.count }

// Size is the length in bytes the block has now; 0 when it is empty.
func (b *Builder) Size() int {
	if b.count == 0 {
		return 0
	}
	return len(b.buf) + crcSize
}

// First and Last are the Seq of the first and the last reading added.
func (b *Builder) First() uint64 { return b.first }

// Last is the Seq of the last reading added.
func (b *Builder) Last() uint64 { return b.p.last.Seq }

// Bytes returns the block; nil when it is empty. The bytes are the caller's.
func (b *Builder) Bytes() []byte {
	if b.count == 0 {
		return nil
	}
	binary.LittleEndian.PutUint32(b.buf[1:headerSize], uint32(b.count))
	return seal(slices.Grow(slices.Clone(b.buf), crcSize))
}

// Add appends one reading. It reports false, and adds nothing, when the block
// already holds MaxBlock readings or r has more than MaxChannels channels.
func (b *Builder) Add(r *Reading) bool {
	if b.count == MaxBlock || len(r.Channels) > MaxChannels {
		return false
	}
	if b.count == 0 {
		b.Reset()
		b.first = r.Seq
	}
	b.buf = b.p.append(b.buf, r)
	b.count++
	return true
}

// append writes r and learns from it.
func (p *predictor) append(dst []byte, r *Reading) []byte {
	step := r.Since - p.last.Since
	ms := r.Wall.UnixMilli()
	setpoint, energy := p.setpoint(r.Since), p.energy(r.Since)
	var flags byte
	set := func(bit byte, on bool) bool {
		if on {
			flags |= bit
		}
		return on
	}
	set(relayOn, r.Relay)
	set(airOn, r.Air)
	set(nextSeq, r.Seq == p.last.Seq+1)
	set(wholeMS, time.UnixMilli(ms).Equal(r.Wall))
	set(sameShape, p.sameShape(r))
	set(setpointHit, same(r.SetpointC, setpoint))
	set(sameDuty, same(r.Duty, p.last.Duty))
	set(energyHit, same(r.EnergyJ, energy))

	dst = append(dst, flags)
	if flags&nextSeq == 0 {
		dst = binary.AppendUvarint(dst, r.Seq-p.last.Seq)
	}
	dst = binary.AppendVarint(dst, int64(step-p.step))
	if flags&wholeMS != 0 {
		dst = binary.AppendVarint(dst, ms-p.wall(r.Since))
	} else {
		dst = appendTime(dst, r.Wall)
	}
	if flags&sameShape == 0 {
		dst = binary.AppendUvarint(dst, uint64(r.Step))
		dst = append(dst, byte(r.Phase), r.Door)
		dst = binary.AppendUvarint(dst, length(len(r.Channels), r.Channels == nil))
		dst = binary.AppendUvarint(dst, length(len(r.Observer), r.Observer == nil))
	}
	if flags&setpointHit == 0 {
		dst = appendFloat(dst, r.SetpointC, setpoint)
	}
	if flags&sameDuty == 0 {
		dst = appendFloat(dst, r.Duty, p.last.Duty)
	}
	if flags&energyHit == 0 {
		dst = appendFloat(dst, r.EnergyJ, energy)
	}
	p.shape(len(r.Channels))
	for i := range r.Channels {
		dst = p.channels[i].append(dst, r.Channels[i])
	}
	for i, v := range r.Observer {
		dst = appendFloat(dst, v, p.observer(i))
	}
	kept := *r
	kept.Observer = p.keep(r.Observer)
	kept.Channels = keepLength(r.Channels)
	p.learn(&kept)
	return dst
}

// keep copies the observer into the slice that falls out of use next.
func (p *predictor) keep(o []float64) []float64 {
	if o == nil {
		return nil
	}
	if cap(p.before) < len(o) || p.before == nil {
		return append(make([]float64, 0, len(o)), o...)
	}
	return append(p.before[:0], o...)
}

// placeholders lend their length to predictor.last; nobody reads them.
var placeholders [MaxChannels]Sample

func keepLength(s []Sample) []Sample {
	if s == nil {
		return nil
	}
	return placeholders[:len(s)]
}

func (p *predictor) sameShape(r *Reading) bool {
	l := &p.last
	return r.Step == l.Step && r.Phase == l.Phase && r.Door == l.Door &&
		len(r.Channels) == len(l.Channels) && (r.Channels == nil) == (l.Channels == nil) &&
		len(r.Observer) == len(l.Observer) && (r.Observer == nil) == (l.Observer == nil)
}

// length tells nil from empty.
func length(n int, isNil bool) uint64 {
	if isNil {
		return 0
	}
	return uint64(n) + 1
}

// append writes one sample and learns from it.
func (c *channel) append(dst []byte, s Sample) []byte {
	var flags byte
	if s.HotCode == c.last.HotCode {
		flags |= sameHot
	}
	if s.ColdCode == c.last.ColdCode {
		flags |= sameCold
	}
	if s.Fault == c.last.Fault {
		flags |= sameFault
	}
	hot := byte(told)
	if v, ok := c.fromMemo(s.HotCode, s.ColdCode); ok && same(v, s.HotC) {
		hot = byMemo
	} else if c.hotShift != noShift && same(scaled(s.HotCode, c.hotShift), s.HotC) {
		hot = byCode
	}
	cold := byte(told)
	if same(s.ColdC, c.last.ColdC) {
		cold = byMemo
	} else if c.coldShift != noShift && same(scaled(s.ColdCode, c.coldShift), s.ColdC) {
		cold = byCode
	}
	dst = append(dst, flags|hot|cold<<coldHow)
	if flags&sameHot == 0 {
		dst = binary.AppendVarint(dst, int64(s.HotCode)-int64(c.last.HotCode))
	}
	if flags&sameCold == 0 {
		dst = binary.AppendVarint(dst, int64(s.ColdCode)-int64(c.last.ColdCode))
	}
	if flags&sameFault == 0 {
		dst = binary.AppendUvarint(dst, uint64(s.Fault))
	}
	if hot == told {
		dst = appendFloat(dst, s.HotC, c.last.HotC)
		c.hotShift = shiftOf(s.HotCode, s.HotC)
	}
	if cold == told {
		dst = appendFloat(dst, s.ColdC, c.last.ColdC)
		c.coldShift = shiftOf(s.ColdCode, s.ColdC)
	}
	c.learn(s)
	return dst
}

// EncodeBlock returns the block of rs; nil for none. It panics where Add
// refuses, which is a bug of the caller.
func EncodeBlock(rs []Reading) []byte {
	var b Builder
	for i := range rs {
		if !b.Add(&rs[i]) {
			panic("BUG: record: more readings or channels than a block holds")
		}
	}
	return b.Bytes()
}

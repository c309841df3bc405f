package record

import (
	"encoding/binary"
	"math"
	"slices"
	"time"
)

// leastReading is the fewest bytes a reading takes: flags, step and wall.
const leastReading = 3

// DecodeBlock returns the readings of a block, in order; every value has the
// bits it was written with, and Wall is in UTC. The error is ErrDamaged or
// ErrVersion; no readings come with it. Memory stays within a small multiple
// of len(b), whatever b holds.
func DecodeBlock(b []byte) ([]Reading, error) {
	d, n, err := openBlock(b)
	if err != nil {
		return nil, err
	}
	out := make([]Reading, 0, n)
	for range n {
		r := d.reading()
		if d.err != nil {
			return nil, d.err
		}
		out = append(out, r)
	}
	if len(d.b) != 0 {
		return nil, damaged("%d bytes after the last reading", len(d.b))
	}
	return out, nil
}

// BlockStart returns Since of a block's first reading without decoding the
// rest. Errors are those of DecodeBlock.
func BlockStart(b []byte) (time.Duration, error) {
	d, _, err := openBlock(b)
	if err != nil {
		return 0, err
	}
	r := d.reading()
	return r.Since, d.err
}

// openBlock checks all that can be checked before the first reading.
func openBlock(b []byte) (d decoder, count int, err error) {
	body, err := unseal(b, blockVersion)
	if err != nil {
		return d, 0, err
	}
	if len(body) < headerSize-1 {
		return d, 0, damaged("%d bytes are too few for a block", len(b))
	}
	n := binary.LittleEndian.Uint32(body)
	d.b, d.version = body[headerSize-1:], b[0]
	if n == 0 || n > MaxBlock || int(n) > len(d.b)/leastReading {
		return d, 0, damaged("%d readings in %d bytes", n, len(d.b))
	}
	return d, int(n), nil
}

// decoder mirrors predictor.append.
type decoder struct {
	input
	version byte
	p       predictor
	slab    []Sample // samples not handed out yet
}

func (d *decoder) reading() (r Reading) {
	p := &d.p
	flags := d.byte()
	r.Relay, r.Air = flags&relayOn != 0, flags&airOn != 0
	r.Seq = p.last.Seq + 1
	if flags&nextSeq == 0 {
		r.Seq = p.last.Seq + d.uvarint()
	}
	r.Since = p.last.Since + p.step + time.Duration(d.varint())
	if flags&wholeMS != 0 {
		r.Wall = time.UnixMilli(p.wall(r.Since) + d.varint()).UTC()
	} else {
		r.Wall = d.time()
	}
	channels := length(len(p.last.Channels), p.last.Channels == nil)
	observer := length(len(p.last.Observer), p.last.Observer == nil)
	r.Step, r.Phase, r.Door = p.last.Step, p.last.Phase, p.last.Door
	if flags&sameShape == 0 {
		r.Step = uint16(d.atMost(math.MaxUint16))
		r.Phase = Phase(d.byte())
		if d.version > doorless {
			r.Door = d.byte()
		}
		channels, observer = d.uvarint(), d.uvarint()
	}
	r.SetpointC, r.Duty, r.EnergyJ = p.setpoint(r.Since), p.last.Duty, p.energy(r.Since)
	if flags&setpointHit == 0 {
		r.SetpointC = d.float(r.SetpointC)
	}
	if flags&sameDuty == 0 {
		r.Duty = d.float(r.Duty)
	}
	if flags&energyHit == 0 {
		r.EnergyJ = d.float(r.EnergyJ)
	}
	r.Channels = d.channels(channels)
	r.Observer = d.observer(observer)
	p.learn(&r)
	return r
}

// room turns a stored length into n, or fails when the bytes left cannot hold
// n items of a byte each.
func (d *decoder) room(length uint64) (n int, ok bool) {
	if length == 0 || d.err != nil {
		return 0, false
	}
	if length-1 > uint64(len(d.b)) {
		d.fail("more items than bytes")
		return 0, false
	}
	return int(length - 1), true
}

// slabSize is how many samples are allocated at a time, unless fewer bytes
// are left.
const slabSize = 256

func (d *decoder) channels(length uint64) []Sample {
	n, ok := d.room(length)
	if !ok {
		return nil
	}
	if n > MaxChannels {
		d.fail("too many channels")
		return nil
	}
	if n == 0 {
		return []Sample{}
	}
	if n > len(d.slab) {
		d.slab = make([]Sample, max(n, min(slabSize, len(d.b))))
	}
	out := slices.Clip(d.slab[:n:n])
	d.slab = d.slab[n:]
	d.p.shape(n)
	for i := range out {
		out[i] = d.sample(&d.p.channels[i])
	}
	return out
}

func (d *decoder) sample(c *channel) Sample {
	flags := d.byte()
	s := c.last
	if flags&sameHot == 0 {
		s.HotCode = int32(int64(s.HotCode) + d.varint())
	}
	if flags&sameCold == 0 {
		s.ColdCode = int32(int64(s.ColdCode) + d.varint())
	}
	if flags&sameFault == 0 {
		s.Fault = uint16(d.atMost(math.MaxUint16))
	}
	switch flags & howMask {
	case told:
		s.HotC = d.float(c.last.HotC)
		c.hotShift = shiftOf(s.HotCode, s.HotC)
	case byMemo:
		v, ok := c.fromMemo(s.HotCode, s.ColdCode)
		if !ok {
			d.fail("codes not seen before")
		}
		s.HotC = v
	case byCode:
		s.HotC = d.scaled(s.HotCode, c.hotShift)
	default:
		d.fail("unknown form of a temperature")
	}
	switch flags >> coldHow & howMask {
	case told:
		s.ColdC = d.float(c.last.ColdC)
		c.coldShift = shiftOf(s.ColdCode, s.ColdC)
	case byMemo:
	case byCode:
		s.ColdC = d.scaled(s.ColdCode, c.coldShift)
	default:
		d.fail("unknown form of a temperature")
	}
	c.learn(s)
	return s
}

func (d *decoder) scaled(code int32, shift int) float64 {
	if shift == noShift {
		d.fail("code without a scale")
		return 0
	}
	return scaled(code, shift)
}

func (d *decoder) observer(length uint64) []float64 {
	n, ok := d.room(length)
	if !ok {
		return nil
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = d.float(d.p.observer(i))
	}
	return out
}

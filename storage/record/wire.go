package record

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"time"
)

// These errors come from decoding. Whatever the bytes were, nothing is
// returned beside them.
var (
	// ErrDamaged says that bytes are not what calx wrote: cut short, changed,
	// or never a record.
	ErrDamaged = errors.New("record is damaged")
	// ErrVersion says that bytes were written by a newer calx.
	ErrVersion = errors.New("record was written by a newer calx")
)

// castagnoli is CRC-32C (RFC 3720 appendix B.4), which finds every error
// burst of up to 32 bits.
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

const crcSize = 4

func damaged(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrDamaged, fmt.Sprintf(format, args...))
}

// seal appends the checksum of all of b.
func seal(b []byte) []byte {
	return binary.LittleEndian.AppendUint32(b, crc32.Checksum(b, castagnoli))
}

// unseal checks the checksum and the version, the first byte, and returns
// what lies between them.
func unseal(b []byte, version byte) ([]byte, error) {
	if len(b) < 1+crcSize {
		return nil, damaged("%d bytes are too few", len(b))
	}
	body, sum := b[:len(b)-crcSize], binary.LittleEndian.Uint32(b[len(b)-crcSize:])
	if got := crc32.Checksum(body, castagnoli); got != sum {
		return nil, damaged("checksum %08x, want %08x", got, sum)
	}
	if body[0] > version {
		return nil, fmt.Errorf("%w: version %d, this one reads up to %d", ErrVersion, body[0], version)
	}
	if body[0] == 0 {
		return nil, damaged("version 0")
	}
	return body[1:], nil
}

// zigzag maps small numbers of either sign to small unsigned ones.
func zigzag(v int64) uint64   { return uint64(v<<1) ^ uint64(v>>63) }
func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }

// appendFloat writes v as its distance from a guess in units in the last
// place: a good guess costs a byte or two, a bad one ten, none loses a bit.
func appendFloat(dst []byte, v, guess float64) []byte {
	return binary.AppendUvarint(dst, zigzag(int64(math.Float64bits(v)-math.Float64bits(guess))))
}

// appendTime writes the instant exactly; the zone is not kept.
func appendTime(dst []byte, t time.Time) []byte {
	dst = binary.AppendVarint(dst, t.Unix())
	return binary.AppendUvarint(dst, uint64(t.Nanosecond()))
}

// input is a cursor over bytes nobody has vouched for. The first fault
// sticks; reads after it return zero.
type input struct {
	b   []byte
	err error
}

func (in *input) fail(what string) {
	if in.err == nil {
		in.err = damaged("%s, %d bytes before the end", what, len(in.b))
	}
	in.b = nil
}

func (in *input) byte() byte {
	if len(in.b) == 0 {
		in.fail("cut short")
		return 0
	}
	v := in.b[0]
	in.b = in.b[1:]
	return v
}

func (in *input) uvarint() uint64 {
	if len(in.b) > 0 && in.b[0] < 0x80 {
		v := in.b[0]
		in.b = in.b[1:]
		return uint64(v)
	}
	v, n := binary.Uvarint(in.b)
	if n <= 0 {
		in.fail("number is cut short or too long")
		return 0
	}
	in.b = in.b[n:]
	return v
}

// atMost reads a number that must not exceed limit.
func (in *input) atMost(limit uint64) uint64 {
	v := in.uvarint()
	if v > limit {
		in.fail("number out of range")
		return 0
	}
	return v
}

func (in *input) varint() int64 { return unzigzag(in.uvarint()) }

func (in *input) float(guess float64) float64 {
	return math.Float64frombits(math.Float64bits(guess) + uint64(in.varint()))
}

func (in *input) time() time.Time {
	sec, nsec := in.varint(), in.uvarint()
	if nsec >= uint64(time.Second) {
		in.fail("more than a second of nanoseconds")
		return time.Time{}
	}
	return time.Unix(sec, int64(nsec)).UTC()
}

func (in *input) bytes() []byte {
	n := in.uvarint()
	if n > uint64(len(in.b)) {
		in.fail("text is cut short")
		return nil
	}
	v := in.b[:n]
	in.b = in.b[n:]
	return v
}

package warden

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"time"
)

// Size is the length of every encoded message, in bytes. It is far below the
// 512 bytes a POSIX pipe must take or refuse as a whole (PIPE_BUF, IEEE Std
// 1003.1, write()), so a message is never torn.
const Size = 24

// Layout, all numbers big endian:
//
//	0  2  magic
//	2  1  version
//	3  1  flags
//	4  8  sequence number
//	12 8  issued, nanoseconds
//	20 4  CRC-32C over bytes 0 to 19
const (
	magic   = 0xCA1E
	version = 2 // 1 knew no main contactor

	flagHeat     = 1 << 0
	flagAir      = 1 << 1
	flagWithdraw = 1 << 2
	flagMain     = 1 << 3
	flagsKnown   = flagHeat | flagAir | flagWithdraw | flagMain

	crcAt = Size - crc32.Size
)

// castagnoli is CRC-32C (RFC 3720, section 12.1). On messages this short it
// catches every change of up to five bits (P. Koopman, "32-bit cyclic
// redundancy codes for internet applications", DSN 2002).
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// ErrUnreadable is wrapped by every error of Decode.
var ErrUnreadable = errors.New("unreadable lease message")

// Encode returns m as bytes. Only Lease and Withdraw travel; any other kind,
// or a negative Issued, is a bug of the caller and panics.
func Encode(m Message) [Size]byte {
	var flags byte
	switch m.Kind {
	case Lease:
		flags = bit(m.Heat, flagHeat) | bit(m.Air, flagAir) | bit(m.Main, flagMain)
	case Withdraw:
		flags = flagWithdraw
	default:
		panic(fmt.Sprintf("BUG: warden: a %v message does not travel", m.Kind))
	}
	if m.Issued < 0 {
		panic(fmt.Sprintf("BUG: warden: message issued at %v", m.Issued))
	}
	var b [Size]byte
	binary.BigEndian.PutUint16(b[0:], magic)
	b[2], b[3] = version, flags
	binary.BigEndian.PutUint64(b[4:], m.Seq)
	binary.BigEndian.PutUint64(b[12:], uint64(m.Issued))
	binary.BigEndian.PutUint32(b[crcAt:], crc32.Checksum(b[:crcAt], castagnoli))
	return b
}

// Decode reads one message. On error, which wraps ErrUnreadable and says what
// was read, the message is Garbled and must be handed to the law as it is:
// what cannot be read means off.
func Decode(b []byte) (Message, error) {
	garbled := Message{Kind: Garbled}
	if len(b) != Size {
		return garbled, fmt.Errorf("%w: %d bytes, want %d", ErrUnreadable, len(b), Size)
	}
	if got := binary.BigEndian.Uint16(b); got != magic {
		return garbled, fmt.Errorf("%w: starts with %#04x, want %#04x", ErrUnreadable, got, magic)
	}
	if b[2] != version {
		return garbled, fmt.Errorf("%w: version %d, this warden knows %d", ErrUnreadable, b[2], version)
	}
	want := binary.BigEndian.Uint32(b[crcAt:])
	if got := crc32.Checksum(b[:crcAt], castagnoli); got != want {
		return garbled, fmt.Errorf("%w: checksum %#08x, want %#08x", ErrUnreadable, got, want)
	}
	flags, issued := b[3], binary.BigEndian.Uint64(b[12:])
	if flags&^flagsKnown != 0 || flags&flagWithdraw != 0 && flags != flagWithdraw {
		return garbled, fmt.Errorf("%w: flags %#02x make no sense", ErrUnreadable, flags)
	}
	if issued > math.MaxInt64 {
		return garbled, fmt.Errorf("%w: issued at %d ns", ErrUnreadable, issued)
	}
	m := Message{
		Kind:   Lease,
		Seq:    binary.BigEndian.Uint64(b[4:]),
		Issued: time.Duration(issued),
		Heat:   flags&flagHeat != 0,
		Air:    flags&flagAir != 0,
		Main:   flags&flagMain != 0,
	}
	if flags&flagWithdraw != 0 {
		m.Kind = Withdraw
	}
	return m, nil
}

func bit(on bool, b byte) byte {
	if on {
		return b
	}
	return 0
}

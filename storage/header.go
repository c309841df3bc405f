package storage

import (
	"bytes"
	"fmt"
	"hash/fnv"
	"io"
)

// header is the root of one state of the file.
type header struct {
	root, freelist, pages, txid uint64
}

// readHeader parses one of the two meta pages.
func readHeader(p []byte) (h header, magic bool, err error) {
	m := p[pageHeader:]
	if native.Uint32(m) != boltMagic {
		return h, false, broken("no signature")
	}
	sum := fnv.New64a()
	sum.Write(m[:56])
	if native.Uint64(m[56:]) != sum.Sum64() {
		return h, true, broken("checksum of the header is wrong")
	}
	if v := native.Uint32(m[4:]); v != boltVersion {
		return h, true, broken("database format %d, want %d", v, boltVersion)
	}
	if s := native.Uint32(m[8:]); s != pageSize {
		return h, true, &badPage{ErrNotLog, fmt.Sprintf("pages of %d bytes, calx writes %d", s, pageSize)}
	}
	return header{native.Uint64(m[16:]), native.Uint64(m[32:]), native.Uint64(m[40:]), native.Uint64(m[48:])}, true, nil
}

// newest picks the header bbolt will use: the later of those that are whole.
// One that is not is what a power cut leaves.
func newest(r io.ReaderAt, size int64) (header, error) {
	var buf [2 * pageSize]byte
	if n, err := r.ReadAt(buf[:min(size, int64(len(buf)))], 0); err != nil && n < int(min(size, int64(len(buf)))) {
		return header{}, fmt.Errorf("read: %w", err)
	}
	a, magicA, errA := readHeader(buf[:pageSize])
	b, magicB, errB := readHeader(buf[pageSize:])
	switch {
	case errA == nil && (errB != nil || a.txid > b.txid):
		return a, nil
	case errB == nil:
		return b, nil
	case !magicA && !magicB:
		if len(bytes.Trim(buf[:], "\x00")) == 0 {
			return a, broken("its first %d bytes are zero", min(size, int64(len(buf))))
		}
		return a, &badPage{ErrNotLog, "its first bytes are not those of a log"}
	case magicA:
		return a, errA
	default:
		return a, errB
	}
}

//go:build linux

package main

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"sync"
)

// The NBD protocol, fixed newstyle (doc/proto.md of the NetworkBlockDevice
// project), as far as the emulator speaks it. All numbers are big endian.
const (
	nbdHello   = 0x4e42444d41474943 // "NBDMAGIC"
	nbdOption  = 0x49484156454f5054 // "IHAVEOPT"
	nbdReply   = 0x0003e889045565a9
	nbdRequest = 0x25609513
	nbdAnswer  = 0x67446698

	newStyle, noZeroes   = 1 << 0, 1 << 1
	hasFlags, canFlush   = 1 << 0, 1 << 2
	optExport, optGo     = 1, 7
	repAck, repInfo      = 1, 3
	repUnsupported       = 1<<31 | 1
	cmdRead, cmdWrite    = 0, 1
	cmdDisconnect        = 2
	cmdFlush             = 3
	errInput, errInvalid = 5, 22

	sector     = 512
	maxRequest = 32 << 20 // of the protocol
)

// drive is a disk with a write cache that forgets: what was written and not
// flushed is, at a power cut, partly there, sector by sector, in no order.
type drive struct {
	file *os.File
	size int64

	mu    sync.Mutex
	cache map[int64][]byte // by sector
	fuse  int              // writes until the power goes; 0: it stays
	dark  chan struct{}    // closed when the power has gone
}

func openDrive(file string) (*drive, error) {
	f, err := os.OpenFile(file, os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return nil, err
	}
	return &drive{file: f, size: size, cache: map[int64][]byte{}, dark: make(chan struct{})}, nil
}

// arm lets the power go at the n-th write from now.
func (d *drive) arm(n int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.fuse = n
}

// cut is what the power leaves: of the sectors not flushed a random share. It
// returns how many there were.
func (d *drive) cut(rng *rand.Rand) (pending int, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	pending = len(d.cache)
	share := rng.Float64()
	err = d.settle(func() bool { return rng.Float64() < share })
	return pending, errors.Join(err, d.file.Close())
}

// settle empties the cache, onto the platter where keep says so.
func (d *drive) settle(keep func() bool) error {
	var errs []error
	for n, b := range d.cache {
		if keep() {
			_, err := d.file.WriteAt(b, n*sector)
			errs = append(errs, err)
		}
	}
	clear(d.cache)
	return errors.Join(errs...)
}

// serve answers one emulator until it goes or the power does.
func (d *drive) serve(c net.Conn) error {
	defer c.Close()
	if err := d.agree(c); err != nil {
		return err
	}
	for {
		var r struct {
			Magic        uint32
			Flags, Kind  uint16
			Handle, From uint64
			Length       uint32
		}
		if err := binary.Read(c, binary.BigEndian, &r); err != nil {
			return err
		}
		if r.Magic != nbdRequest || r.Length > maxRequest {
			return fmt.Errorf("disk: request %#x of %d bytes", r.Magic, r.Length)
		}
		data := make([]byte, r.Length)
		if r.Kind == cmdWrite {
			if _, err := io.ReadFull(c, data); err != nil {
				return err
			}
		}
		errno, dark := d.do(r.Kind, int64(r.From), data)
		if dark || r.Kind == cmdDisconnect {
			return nil
		}
		back := binary.BigEndian.AppendUint32(nil, nbdAnswer)
		back = binary.BigEndian.AppendUint32(back, errno)
		back = binary.BigEndian.AppendUint64(back, r.Handle)
		if r.Kind == cmdRead && errno == 0 {
			back = append(back, data...)
		}
		if _, err := c.Write(back); err != nil {
			return err
		}
	}
}

// do carries out one command; after the power has gone, none.
func (d *drive) do(kind uint16, from int64, data []byte) (errno uint32, dark bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	select {
	case <-d.dark:
		return 0, true
	default:
	}
	switch kind {
	case cmdRead:
		if _, err := d.file.ReadAt(data, from); err != nil {
			return errInput, false
		}
		for i := 0; i < len(data); i += sector {
			copy(data[i:], d.cache[(from+int64(i))/sector])
		}
	case cmdWrite:
		for i := 0; i < len(data); i += sector {
			d.cache[(from+int64(i))/sector] = data[i : i+sector]
		}
		if d.fuse--; d.fuse == 0 {
			close(d.dark)
			return 0, true
		}
		d.fuse = max(d.fuse, 0)
	case cmdFlush:
		if d.settle(func() bool { return true }) != nil {
			return errInput, false
		}
	case cmdDisconnect:
	default:
		return errInvalid, false
	}
	return 0, false
}

// agree is the handshake.
func (d *drive) agree(c net.Conn) error {
	be := binary.BigEndian
	hello := be.AppendUint64(be.AppendUint64(nil, nbdHello), nbdOption)
	if _, err := c.Write(be.AppendUint16(hello, newStyle|noZeroes)); err != nil {
		return err
	}
	var flags uint32
	if err := binary.Read(c, be, &flags); err != nil {
		return err
	}
	export := be.AppendUint16(be.AppendUint64(nil, uint64(d.size)), hasFlags|canFlush)
	for {
		var o struct {
			Magic        uint64
			Kind, Length uint32
		}
		if err := binary.Read(c, be, &o); err != nil {
			return err
		}
		if _, err := io.CopyN(io.Discard, c, int64(o.Length)); err != nil {
			return err
		}
		reply := func(kind uint32, body []byte) error {
			b := be.AppendUint32(be.AppendUint64(nil, nbdReply), o.Kind)
			b = be.AppendUint32(be.AppendUint32(b, kind), uint32(len(body)))
			_, err := c.Write(append(b, body...))
			return err
		}
		switch o.Kind {
		case optExport:
			_, err := c.Write(export)
			return err
		case optGo:
			return errors.Join(reply(repInfo, append([]byte{0, 0}, export...)), reply(repAck, nil))
		default:
			if err := reply(repUnsupported, nil); err != nil {
				return err
			}
		}
	}
}

//go:build linux

package main

import (
	"encoding/binary"
	"errors"
	"fmt"

	"golang.org/x/sys/unix"
)

// A character device served from here: the kernel's CUSE protocol, as declared
// in include/uapi/linux/fuse.h.
const (
	opOpen      = 14
	opRelease   = 18
	opFlush     = 25
	opInterrupt = 36
	opIoctl     = 39
	opInit      = 4096

	requestHead = 40 // struct fuse_in_header
	answerHead  = 16 // struct fuse_out_header
	ioctlHead   = 32 // struct fuse_ioctl_in

	majorVersion, minorVersion = 7, 31

	unrestricted = 1 << 0 // CUSE_UNRESTRICTED_IOCTL: arguments may hold pointers
	again        = 1 << 2 // FUSE_IOCTL_RETRY: with this memory, please
	maxMessage   = 1 << 16
)

var order = binary.LittleEndian

// memory is a stretch of the caller's.
type memory struct{ at, size uint64 }

// control is one ioctl, with what has been fetched of the caller's memory.
type control struct {
	number  uint32
	arg     uint64
	in      []byte
	outSize uint32
}

// answer is what becomes of it: an error, a wish for memory, or a result. nil
// is no answer at all.
type answer struct {
	err     unix.Errno
	in, out []memory // ask again with these
	result  int32
	data    []byte
}

// serveDevice makes /dev/NAME and answers its ioctls until the kernel is gone.
func serveDevice(name string, ioctl func(control) *answer) error {
	fd, err := unix.Open("/dev/cuse", unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		return fmt.Errorf("cuse: %w", err)
	}
	buf := make([]byte, 2*maxMessage)
	for {
		n, err := unix.Read(fd, buf)
		switch {
		case errors.Is(err, unix.EINTR), errors.Is(err, unix.ENOENT):
			continue
		case err != nil:
			return fmt.Errorf("cuse: %w", err)
		}
		body, errno, silent := serve(name, buf[:n], ioctl)
		if silent {
			continue
		}
		msg := make([]byte, answerHead, answerHead+len(body))
		order.PutUint32(msg, uint32(answerHead+len(body)))
		order.PutUint32(msg[4:], uint32(-int32(errno)))
		copy(msg[8:], buf[8:16]) // the number of the request
		// A caller that has gone meanwhile needs no answer.
		if _, err := unix.Write(fd, append(msg, body...)); err != nil && !errors.Is(err, unix.ENOENT) {
			return fmt.Errorf("cuse: %w", err)
		}
	}
}

func serve(name string, request []byte, ioctl func(control) *answer) (body []byte, errno unix.Errno, silent bool) {
	switch order.Uint32(request[4:]) {
	case opInit:
		body = words(majorVersion, minorVersion, 0, unrestricted, maxMessage, maxMessage, 0, 0)
		body = append(body, make([]byte, 40)...)
		return append(body, "DEVNAME="+name+"\x00"...), 0, false
	case opOpen:
		return make([]byte, 16), 0, false
	case opRelease, opFlush:
		return nil, 0, false
	case opInterrupt:
		return nil, 0, true
	case opIoctl:
		r := request[requestHead:]
		a := ioctl(control{
			number: order.Uint32(r[12:]), arg: order.Uint64(r[16:]),
			in: r[ioctlHead : ioctlHead+order.Uint32(r[24:])], outSize: order.Uint32(r[28:]),
		})
		if a == nil {
			return nil, 0, true
		}
		return a.bytes(), a.err, false
	}
	return nil, unix.ENOSYS, false
}

func (a *answer) bytes() []byte {
	switch {
	case a.err != 0:
		return nil
	case a.in == nil && a.out == nil:
		return append(words(uint32(a.result), 0, 0, 0), a.data...)
	}
	b := words(0, again, uint32(len(a.in)), uint32(len(a.out)))
	for _, list := range [][]memory{a.in, a.out} {
		for _, m := range list {
			b = order.AppendUint64(order.AppendUint64(b, m.at), m.size)
		}
	}
	return b
}

func words(list ...uint32) (b []byte) {
	for _, w := range list {
		b = order.AppendUint32(b, w)
	}
	return b
}

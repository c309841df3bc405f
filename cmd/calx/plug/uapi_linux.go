package plug

import (
	"bytes"
	"unsafe"

	"golang.org/x/sys/unix"
)

// The kernel's GPIO character device, version 2 (Linux 5.10 and later), as
// declared in include/uapi/linux/gpio.h. Every 64-bit member sits at a
// multiple of 8, so the layout is the same on 32-bit boards.
const (
	nameSize = 32 // GPIO_MAX_NAME_SIZE
	linesMax = 64 // GPIO_V2_LINES_MAX
	attrsMax = 10 // GPIO_V2_LINE_NUM_ATTRS_MAX

	flagActiveLow = 1 << 1 // GPIO_V2_LINE_FLAG_ACTIVE_LOW
	flagInput     = 1 << 2 // GPIO_V2_LINE_FLAG_INPUT
	flagOutput    = 1 << 3 // GPIO_V2_LINE_FLAG_OUTPUT
	flagPullUp    = 1 << 8 // GPIO_V2_LINE_FLAG_BIAS_PULL_UP
	flagPullDown  = 1 << 9 // GPIO_V2_LINE_FLAG_BIAS_PULL_DOWN

	attrOutputValues = 2 // GPIO_V2_LINE_ATTR_ID_OUTPUT_VALUES

	iocChipInfo  = 0x8044b401 // GPIO_GET_CHIPINFO_IOCTL
	iocLineInfo  = 0xc100b405 // GPIO_V2_GET_LINEINFO_IOCTL
	iocGetLine   = 0xc250b407 // GPIO_V2_GET_LINE_IOCTL
	iocGetValues = 0xc010b40e // GPIO_V2_LINE_GET_VALUES_IOCTL
	iocSetValues = 0xc010b40f // GPIO_V2_LINE_SET_VALUES_IOCTL
)

type chipInfo struct { // struct gpiochip_info
	_     [2][nameSize]byte // name, label
	lines uint32
}

type lineAttr struct { // struct gpio_v2_line_attribute
	id, _ uint32
	value uint64
}

type lineInfo struct { // struct gpio_v2_line_info
	name, consumer [nameSize]byte
	offset         uint32
	_              uint32 // number of attributes
	flags          uint64
	_              [attrsMax]lineAttr
	_              [4]uint32
}

type configAttr struct { // struct gpio_v2_line_config_attribute
	attr lineAttr
	mask uint64
}

type lineConfig struct { // struct gpio_v2_line_config
	flags    uint64
	numAttrs uint32
	_        [5]uint32
	attrs    [attrsMax]configAttr
}

type lineRequest struct { // struct gpio_v2_line_request
	offsets  [linesMax]uint32
	consumer [nameSize]byte
	config   lineConfig
	numLines uint32
	_        uint32 // size of the event buffer
	_        [5]uint32
	fd       int32
}

type lineValues struct { // struct gpio_v2_line_values
	bits, mask uint64
}

// ioctl hands arg, one of the structures above, to the kernel.
func ioctl[T any](fd int, request uint, arg *T) error {
	for {
		_, _, e := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), uintptr(request), uintptr(unsafe.Pointer(arg)))
		switch e {
		case 0:
			return nil
		case unix.EINTR:
		default:
			return e
		}
	}
}

// text is the C string in b.
func text(b [nameSize]byte) string {
	name, _, _ := bytes.Cut(b[:], []byte{0})
	return string(name)
}

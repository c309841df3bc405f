package plug

import (
	"testing"
	"unsafe"

	"github.com/stretchr/testify/assert"
)

// Sizes, offsets and request numbers as a C compiler gives them for
// include/uapi/linux/gpio.h of Linux 6.1 (Debian linux-libc-dev).
func TestStructuresAreTheKernels(t *testing.T) {
	var chip chipInfo
	var info lineInfo
	var req lineRequest
	for _, c := range []struct {
		name      string
		got, want uintptr
	}{
		{"sizeof gpiochip_info", unsafe.Sizeof(chip), 0x44},
		{"gpiochip_info.lines", unsafe.Offsetof(chip.lines), 0x40},
		{"sizeof gpio_v2_line_info", unsafe.Sizeof(info), 0x100},
		{"gpio_v2_line_info.consumer", unsafe.Offsetof(info.consumer), 0x20},
		{"gpio_v2_line_info.offset", unsafe.Offsetof(info.offset), 0x40},
		{"gpio_v2_line_info.flags", unsafe.Offsetof(info.flags), 0x48},
		{"sizeof gpio_v2_line_request", unsafe.Sizeof(req), 0x250},
		{"gpio_v2_line_request.consumer", unsafe.Offsetof(req.consumer), 0x100},
		{"gpio_v2_line_request.config", unsafe.Offsetof(req.config), 0x120},
		{"gpio_v2_line_request.num_lines", unsafe.Offsetof(req.numLines), 0x230},
		{"gpio_v2_line_request.fd", unsafe.Offsetof(req.fd), 0x24c},
		{"sizeof gpio_v2_line_config", unsafe.Sizeof(req.config), 0x110},
		{"gpio_v2_line_config.attrs", unsafe.Offsetof(req.config.attrs), 0x20},
		{"sizeof gpio_v2_line_config_attribute", unsafe.Sizeof(req.config.attrs[0]), 0x18},
		{"sizeof gpio_v2_line_values", unsafe.Sizeof(lineValues{}), 0x10},
	} {
		assert.Equal(t, c.want, c.got, c.name)
	}
}

// The numbers follow from the structures: _IOC of include/uapi/asm-generic/ioctl.h
// is direction (2 bits), size (14), type (8), number (8).
func TestRequestNumbers(t *testing.T) {
	const read, write, gpio = 2, 1, 0xb4
	ioc := func(dir, nr, size uintptr) uintptr { return dir<<30 | size<<16 | gpio<<8 | nr }
	assert.Equal(t, ioc(read, 0x01, unsafe.Sizeof(chipInfo{})), uintptr(iocChipInfo))
	assert.Equal(t, ioc(read|write, 0x05, unsafe.Sizeof(lineInfo{})), uintptr(iocLineInfo))
	assert.Equal(t, ioc(read|write, 0x07, unsafe.Sizeof(lineRequest{})), uintptr(iocGetLine))
	assert.Equal(t, ioc(read|write, 0x0e, unsafe.Sizeof(lineValues{})), uintptr(iocGetValues))
	assert.Equal(t, ioc(read|write, 0x0f, unsafe.Sizeof(lineValues{})), uintptr(iocSetValues))
}

// An input is never driven, and its pull is the one that was asked for.
func TestRequestOfAnInput(t *testing.T) {
	for _, high := range []bool{false, true} {
		r := inputRequest(24, high)
		assert.Equal(t, uint32(24), r.offsets[0])
		assert.Equal(t, uint32(1), r.numLines)
		assert.Zero(t, r.config.numAttrs)
		want := uint64(1<<2 | 1<<9)
		if high {
			want = 1<<2 | 1<<8
		}
		assert.Equal(t, want, r.config.flags)
	}
}

// The first request already carries the level of off, so there is no pulse.
func TestRequestCarriesOff(t *testing.T) {
	for _, low := range []bool{false, true} {
		r := request(17, low)
		assert.Equal(t, uint32(17), r.offsets[0])
		assert.Equal(t, uint32(1), r.numLines)
		assert.Equal(t, "calx", text(r.consumer))
		assert.NotZero(t, r.config.flags&flagOutput)
		assert.Equal(t, low, r.config.flags&flagActiveLow != 0)
		assert.Equal(t, uint32(1), r.config.numAttrs)
		assert.Equal(t, configAttr{attr: lineAttr{id: attrOutputValues, value: 0}, mask: 1}, r.config.attrs[0])
	}
}

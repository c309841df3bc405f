//go:build linux

package main

import (
	"bufio"
	"fmt"
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spireg"

	"calx/sensor/thermocouple"
	"calx/sim/chip"
	"calx/sim/kiln"
)

const (
	chipFault = "/run/chip"  // what is wrong with the chip, in a word
	chipHangs = "/run/hangs" // there once somebody waits for the chip in vain
	heatLine  = 5
	mainLine  = 6
	busName   = "RIG0.0"

	spiMagic    = 'k' // of the requests in include/uapi/linux/spi/spidev.h
	transferLen = 32  // struct spi_ioc_transfer
	toDevice    = 1
)

// workshop is the amplifier at its probe, in a kiln that the lines heat.
type workshop struct {
	conn  spi.Conn
	chip  *chip.Chip
	kiln  *kiln.Kiln
	began time.Time
	last  time.Duration
	set   map[byte][]byte // what the caller has set: mode, word length, speed
}

func serveChip() error {
	text, err := kiln.ShippedFile("bench-9l-brick")
	if err != nil {
		return err
	}
	p, err := kiln.Load("bench-9l-brick", text)
	if err != nil {
		return err
	}
	w := &workshop{kiln: kiln.New(p, 21), began: time.Now(), set: map[byte][]byte{}}
	letter, err := thermocouple.ParseType("K")
	if err != nil {
		return err
	}
	w.chip, err = chip.New(chip.Options{Model: chip.MAX31855, Type: letter, Now: w.now, Seed: 1, Deviation: chip.TypicalNoise(chip.MAX31855, letter)})
	if err != nil {
		return err
	}
	if err := w.chip.Register(busName); err != nil {
		return err
	}
	port, err := spireg.Open(busName)
	if err != nil {
		return err
	}
	if w.conn, err = port.Connect(5*physic.MegaHertz, spi.Mode0, 8); err != nil {
		return err
	}
	return serveDevice("spidev0.0", w.ioctl)
}

func (w *workshop) now() time.Duration { return time.Since(w.began) }

func (w *workshop) ioctl(c control) *answer {
	direction, size, magic, nr := c.number>>30, uint64(c.number>>16&0x3fff), c.number>>8&0xff, byte(c.number)
	switch {
	case magic != spiMagic:
		return &answer{err: unix.ENOTTY}
	case nr == 0:
		return w.transfer(c, size)
	case direction == toDevice && len(c.in) == 0:
		return &answer{in: []memory{{c.arg, size}}}
	case direction == toDevice:
		w.set[nr] = append([]byte(nil), c.in...)
		return &answer{}
	case c.outSize == 0:
		return &answer{out: []memory{{c.arg, size}}}
	}
	value := make([]byte, size)
	copy(value, w.set[nr])
	return &answer{data: value}
}

// transfer is one message on the bus. The kernel fetches the list of
// transfers, then the bytes they point to, and calls again each time.
func (w *workshop) transfer(c control, size uint64) *answer {
	list := []memory{{c.arg, size}}
	if uint64(len(c.in)) < size {
		return &answer{in: list}
	}
	in, out, packets := list, []memory(nil), []spi.Packet(nil)
	rest, want := c.in[size:], size
	var back [][]byte
	for t := c.in[:size]; len(t) >= transferLen; t = t[transferLen:] {
		tx, rx, n := order.Uint64(t), order.Uint64(t[8:]), uint64(order.Uint32(t[16:]))
		p := spi.Packet{KeepCS: true}
		if tx != 0 {
			in, want = append(in, memory{tx, n}), want+n
			if uint64(len(rest)) >= n {
				p.W, rest = rest[:n], rest[n:]
			}
		}
		if rx != 0 {
			out = append(out, memory{rx, n})
			p.R = make([]byte, n)
			back = append(back, p.R)
		}
		packets = append(packets, p)
	}
	var room uint64
	for _, m := range out {
		room += m.size
	}
	if uint64(len(c.in)) != want || uint64(c.outSize) != room {
		return &answer{in: in, out: out}
	}
	return w.exchange(packets, back)
}

// exchange moves the bytes, unless something is wrong with the chip.
func (w *workshop) exchange(packets []spi.Packet, back [][]byte) *answer {
	fault, _ := os.ReadFile(chipFault) // no file, no fault
	switch strings.TrimSpace(string(fault)) {
	case "hang":
		// Without the file the host waits for it in vain, and says so.
		_ = os.WriteFile(chipHangs, nil, 0o644)
		return nil
	case "eio":
		return &answer{err: unix.EIO}
	}
	w.pass()
	packets[len(packets)-1].KeepCS = false
	if err := w.conn.TxPackets(packets); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return &answer{err: unix.EIO}
	}
	a := &answer{}
	for _, b := range back {
		a.data = append(a.data, b...)
		a.result += int32(len(b))
	}
	return a
}

// pass moves the kiln on to now, heated while both lines are on.
func (w *workshop) pass() {
	now := w.now()
	in := kiln.Input{MainsRatio: 1, AmbientC: 21}
	if lines := linesOn(); lines[heatLine] && lines[mainLine] {
		in.On = 1
	}
	w.kiln.Step(min(now-w.last, 2*time.Second).Seconds(), in)
	w.last = now
	w.chip.Set(w.kiln.JunctionC(), 24)
}

// linesOn reads the kernel's own list of lines, which touches none of them.
func linesOn() map[int]bool {
	on := map[int]bool{}
	f, err := os.Open("/sys/kernel/debug/gpio")
	if err != nil {
		return on
	}
	defer f.Close()
	var first, last, n int
	for sc := bufio.NewScanner(f); sc.Scan(); {
		text := strings.TrimSpace(sc.Text())
		if _, lines, ok := strings.Cut(text, "GPIOs "); ok {
			if _, err := fmt.Sscanf(lines, "%d-%d", &first, &last); err != nil {
				return on
			}
		} else if _, err := fmt.Sscanf(text, "gpio-%d", &n); err == nil {
			on[n-first] = strings.Contains(text, "out hi")
		}
	}
	return on
}

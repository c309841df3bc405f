//go:build linux

// Command guest is process 1 of the machine in which the real calx is tried
// against a real kernel: it mounts, loads modules, puts an emulated
// thermocouple amplifier behind a real device file, starts `calx serve` as the
// unit file would, and then does what the host orders over a serial port:
// fire, stop a process, hang the chip, crash the kernel. It judges nothing;
// the host looks at the lines from outside.
package main

import (
	"fmt"
	"os"
)

func main() {
	var err error
	switch {
	case os.Getpid() == 1:
		err = boot()
	case len(os.Args) == 2 && os.Args[1] == "chip":
		err = serveChip()
	case len(os.Args) == 2 && os.Args[1] == "hog":
		err = eatMemory()
	default:
		err = fmt.Errorf("guest: runs as process 1 of its own machine only")
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
	}
	if os.Getpid() == 1 {
		select {} // the end of process 1 would be a panic of the kernel
	}
	os.Exit(1)
}

// eatMemory takes page after page until the kernel ends it or another.
func eatMemory() error {
	const bite = 1 << 20
	all := map[int][]byte{}
	for {
		b := make([]byte, bite)
		for i := 0; i < len(b); i += os.Getpagesize() {
			b[i] = 1
		}
		all[len(all)] = b
	}
}

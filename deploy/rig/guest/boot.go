//go:build linux

package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

const (
	hostPort = "/dev/vport0p1" // serial line to the host
	device   = "/dev/spidev0.0"
	dataDir  = "/data"
	dataDisk = "/dev/vda" // where the host has given one
	patience = 90 * time.Second
)

// calx.yaml of this machine. Line 3 of its GPIO controller is the power
// button.
const settings = `data: ` + dataDir + `
kiln: bench-9l-brick
resume_within: 10 min
channels:
  - {role: chamber, chip: max31855, port: SPI0.0, type: K}
heater: {pin: "gpiochip0:5", main: "gpiochip0:6", heartbeat: "gpiochip0:4", relay: ssr, watchdog: /dev/watchdog}
door: {pin: "gpiochip0:2", open: high}
`

func boot() error {
	for _, m := range []struct{ kind, at, options string }{
		{"proc", "/proc", ""}, {"sysfs", "/sys", ""}, {"devtmpfs", "/dev", ""}, {"debugfs", "/sys/kernel/debug", ""},
		{"tmpfs", "/run", ""}, {"tmpfs", "/tmp", ""}, {"tmpfs", dataDir, "size=24m"},
	} {
		if err := mount(m.kind, m.kind, m.at, m.options); err != nil {
			return err
		}
	}
	if err := loadModules("/modules"); err != nil {
		return err
	}
	if _, err := os.Stat(dataDisk); err == nil {
		if err := mount(dataDisk, "ext4", dataDir, ""); err != nil {
			return err
		}
	}
	if err := errors.Join(loopbackUp(), os.WriteFile("/calx.yaml", []byte(settings), 0o644)); err != nil {
		return err
	}
	chip, err := launch("/proc/self/exe", "chip")
	if err != nil {
		return err
	}
	if err := await(device); err != nil {
		return err
	}
	if err := await(hostPort); err != nil {
		return err
	}
	port, err := os.OpenFile(hostPort, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return newOrders(port, chip).follow()
}

func mount(what, kind, at, options string) error {
	if err := os.MkdirAll(at, 0o755); err != nil {
		return err
	}
	if err := unix.Mount(what, at, kind, 0, options); err != nil && !errors.Is(err, unix.EBUSY) {
		return fmt.Errorf("mount %s at %s: %w", what, at, err)
	}
	return nil
}

// loadModules loads what the list in a folder names, in that order.
func loadModules(dir string) error {
	list, err := os.Open(filepath.Join(dir, "order"))
	if err != nil {
		return err
	}
	defer list.Close()
	for sc := bufio.NewScanner(list); sc.Scan(); {
		f, err := os.Open(filepath.Join(dir, sc.Text()))
		if err != nil {
			return err
		}
		flags := 0
		if !strings.HasSuffix(sc.Text(), ".ko") {
			flags = unix.MODULE_INIT_COMPRESSED_FILE
		}
		if err := unix.FinitModule(int(f.Fd()), "", flags); err != nil && !errors.Is(err, unix.EEXIST) {
			return fmt.Errorf("module %s: %w", sc.Text(), err)
		}
		f.Close()
	}
	return nil
}

// loopbackUp switches 127.0.0.1 on, where calx answers.
func loopbackUp() error {
	s, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM, 0)
	if err != nil {
		return err
	}
	defer unix.Close(s)
	req, err := unix.NewIfreq("lo")
	if err != nil {
		return err
	}
	req.SetUint16(unix.IFF_UP | unix.IFF_RUNNING)
	return unix.IoctlIfreq(s, unix.SIOCSIFFLAGS, req)
}

func await(file string) error {
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if _, err := os.Stat(file); err == nil {
			return nil
		}
	}
	return fmt.Errorf("%s does not come", file)
}

// launch starts a program with its words on the console, in a process group of
// its own.
func launch(name string, args ...string) (*exec.Cmd, error) {
	c := exec.Command(name, args...)
	c.Stdout, c.Stderr = os.Stdout, os.Stderr
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	return c, c.Start()
}

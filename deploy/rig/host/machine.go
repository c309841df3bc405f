//go:build linux

package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

const (
	connectWithin = 20 * time.Second
	readyWithin   = 120 * time.Second // an emulated board on a busy computer
	ready         = "ready"           // what process 1 says first
)

// errReset: the watchdog has reset the board, and process 1 has begun anew.
var errReset = errors.New("the board has been reset")

// machine is one emulated board, from power-on to power-off.
type machine struct {
	cmd     *exec.Cmd
	gone    chan struct{} // the emulator has ended
	dir     string
	console string
	guest   net.Conn      // the guest's serial line
	said    chan string   // what the guest answers
	monitor *json.Encoder // orders to the emulator
	heard   *json.Decoder
}

// powerOn starts a board and waits until its process 1 is ready. disk may be
// empty: no disk.
func powerOn(folder, disk string) (*machine, error) {
	dir, err := os.MkdirTemp("", "calx-rig")
	if err != nil {
		return nil, err
	}
	m := &machine{gone: make(chan struct{}), dir: dir, console: filepath.Join(dir, "console"), said: make(chan string, 64)}
	guest, err := net.Listen("unix", filepath.Join(dir, "guest"))
	if err != nil {
		return nil, err
	}
	defer guest.Close()
	monitor, err := net.Listen("unix", filepath.Join(dir, "monitor"))
	if err != nil {
		return nil, err
	}
	defer monitor.Close()
	args := []string{
		"-machine", "virt", "-cpu", "cortex-a53", "-m", "384", "-smp", "1",
		"-nodefaults", "-no-user-config", "-display", "none",
		"-kernel", filepath.Join(folder, "kernel"), "-initrd", filepath.Join(folder, "initrd"),
		// A kernel that panics stays where it is: only the watchdog may reset it.
		"-append", "console=ttyAMA0 quiet panic=0 rdinit=/init",
		"-serial", "file:" + m.console,
		"-chardev", "socket,id=guest,path=" + filepath.Join(dir, "guest"),
		"-device", "virtio-serial-pci", "-device", "virtserialport,chardev=guest",
		"-chardev", "socket,id=monitor,path=" + filepath.Join(dir, "monitor"), "-mon", "chardev=monitor,mode=control",
		"-device", "i6300esb", "-action", "watchdog=reset",
	}
	if disk != "" {
		args = append(args, "-blockdev", "driver=nbd,node-name=disk,server.type=unix,server.path="+disk, "-device", "virtio-blk-pci,drive=disk")
	}
	m.cmd = exec.Command("qemu-system-aarch64", args...)
	m.cmd.Stderr = os.Stderr
	if err := m.cmd.Start(); err != nil {
		return nil, err
	}
	go func() {
		_ = m.cmd.Wait()
		close(m.gone)
	}()
	if err := m.connect(guest, monitor); err != nil {
		return nil, errors.Join(err, m.powerOff())
	}
	if _, err := m.answer(readyWithin); err != nil {
		return nil, errors.Join(fmt.Errorf("the guest does not come up: %w", err), m.powerOff())
	}
	return m, nil
}

func (m *machine) connect(guest, monitor net.Listener) (err error) {
	deadline := time.Now().Add(connectWithin)
	for _, l := range []net.Listener{guest, monitor} {
		if err := l.(*net.UnixListener).SetDeadline(deadline); err != nil {
			return err
		}
	}
	// The emulator opens its sockets in the order of its arguments.
	if m.guest, err = guest.Accept(); err != nil {
		return err
	}
	go func() {
		defer close(m.said)
		for sc := bufio.NewScanner(m.guest); sc.Scan(); {
			m.said <- sc.Text()
		}
	}()
	c, err := monitor.Accept()
	if err != nil {
		return err
	}
	m.monitor, m.heard = json.NewEncoder(c), json.NewDecoder(c)
	var greeting any
	if err := m.heard.Decode(&greeting); err != nil {
		return err
	}
	_, err = m.ask("qmp_capabilities", nil)
	return err
}

// ask gives the emulator an order and returns its answer; what it tells of its
// own accord meanwhile is passed over.
func (m *machine) ask(order string, args map[string]string) (string, error) {
	msg := map[string]any{"execute": order}
	if args != nil {
		msg["arguments"] = args
	}
	if err := m.monitor.Encode(msg); err != nil {
		return "", err
	}
	for {
		var back struct {
			Return json.RawMessage `json:"return"`
			Error  *struct {
				Desc string `json:"desc"`
			} `json:"error"`
		}
		if err := m.heard.Decode(&back); err != nil {
			return "", err
		}
		switch {
		case back.Error != nil:
			return "", fmt.Errorf("emulator: %s: %s", order, back.Error.Desc)
		case back.Return != nil:
			var text string
			_ = json.Unmarshal(back.Return, &text) // an object has nothing to say
			return text, nil
		}
	}
}

// order gives the guest an order and waits for its answer.
func (m *machine) order(words string) (string, error) {
	if _, err := fmt.Fprintln(m.guest, words); err != nil {
		return "", err
	}
	said, err := m.answer(readyWithin)
	if err != nil {
		return "", fmt.Errorf("%s: %w", words, err)
	}
	if said == ready {
		return "", errReset
	}
	return said, nil
}

func (m *machine) answer(limit time.Duration) (string, error) {
	select {
	case l, ok := <-m.said:
		if said, good := strings.CutPrefix(l, "ok "); good {
			return said, nil
		}
		if !ok {
			return "", errors.New("the guest is gone")
		}
		return "", errors.New(l)
	case <-time.After(limit):
		return "", fmt.Errorf("no answer for %v", limit)
	}
}

// powerOff pulls the plug.
func (m *machine) powerOff() error {
	if err := m.cmd.Process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	<-m.gone
	return os.RemoveAll(m.dir)
}

// log is what the guest wrote to its console.
func (m *machine) log() string {
	b, err := os.ReadFile(m.console)
	if err != nil {
		return err.Error()
	}
	return string(b)
}

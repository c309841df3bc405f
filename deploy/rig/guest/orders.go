//go:build linux

package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

const (
	api = "http://127.0.0.1:8418/api/"
	// atFullPower keeps the relay closed without a pause: whoever turns the
	// heat off, it was not the controller.
	atFullPower = "heat to 900 C as fast as possible\nhold 1 h\n"
	// likeTheUnit is OOMScoreAdjust of the unit file.
	likeTheUnit = -900
)

// unlimited is LimitMEMLOCK of the unit file: the warden may keep its pages.
var unlimited = unix.Rlimit{Cur: unix.RLIM_INFINITY, Max: unix.RLIM_INFINITY}

// orders is what the host may ask for.
type orders struct {
	port   io.ReadWriter
	chip   *exec.Cmd
	daemon *exec.Cmd
	dead   chan struct{} // the daemon is
}

func newOrders(port io.ReadWriter, chip *exec.Cmd) *orders { return &orders{port: port, chip: chip} }

// follow carries out one line after the other and answers each with one line:
// "ok" and what there is to say, or "error" and why.
func (o *orders) follow() error {
	o.answer("ready", nil)
	sc := bufio.NewScanner(o.port)
	for sc.Scan() {
		said, err := o.carryOut(strings.Fields(sc.Text()))
		o.answer(said, err)
	}
	return sc.Err()
}

func (o *orders) answer(said string, err error) {
	if err != nil {
		fmt.Fprintf(o.port, "error %s\n", strings.ReplaceAll(err.Error(), "\n", "; "))
		return
	}
	fmt.Fprintf(o.port, "ok %s\n", said)
}

func (o *orders) carryOut(words []string) (string, error) {
	if len(words) == 0 {
		return "", errors.New("an empty order")
	}
	arg := append(words[1:], "", "")
	switch words[0] {
	case "serve":
		return "", o.serve()
	case "fire":
		return "", fire()
	case "signal": // who, number
		return "", o.signal(arg[0], arg[1])
	case "chip": // what is wrong with it; nothing: it is well again
		return "", os.WriteFile(chipFault, []byte(arg[0]), 0o644)
	case "state": // who
		return o.state(arg[0])
	case "hung":
		return "", await(chipHangs)
	case "spare": // the kernel is to take the daemon first when memory is short
		return "", protect(o.daemon.Process.Pid, 1000)
	case "hog":
		_, err := launch("/proc/self/exe", "hog")
		return "", err
	case "dead":
		<-o.dead
		return "", nil
	case "fill":
		return "", fill()
	case "off": // what ExecStopPost of the unit file does
		return "", run("/calx", "off", "--config", "/calx.yaml")
	case "crash":
		return "", os.WriteFile("/proc/sysrq-trigger", []byte("c"), 0)
	case "acked":
		return acknowledged()
	case "kept":
		return kept()
	}
	return "", fmt.Errorf("no such order: %s", words[0])
}

func run(name string, args ...string) error {
	c, err := launch(name, args...)
	if err != nil {
		return err
	}
	return c.Wait()
}

// serve starts the daemon as the unit file does, and waits until it answers.
func (o *orders) serve() error {
	if err := run("/calx", "off", "--config", "/calx.yaml"); err != nil {
		return fmt.Errorf("calx off: %w", err)
	}
	if err := unix.Setrlimit(unix.RLIMIT_MEMLOCK, &unlimited); err != nil {
		return err
	}
	var err error
	if o.daemon, err = launch("/calx", "serve", "--config", "/calx.yaml"); err != nil {
		return err
	}
	if err := protect(o.daemon.Process.Pid, likeTheUnit); err != nil {
		return err
	}
	o.dead = make(chan struct{})
	go func() {
		_ = o.daemon.Wait() // how it ended is for the host to see
		close(o.dead)
	}()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if res, err := http.Get(api + "status"); err == nil {
			return res.Body.Close()
		}
	}
	return errors.New("calx serve does not answer")
}

func protect(pid, score int) error {
	return os.WriteFile(fmt.Sprintf("/proc/%d/oom_score_adj", pid), []byte(strconv.Itoa(score)), 0)
}

func fire() error {
	body, err := json.Marshal(map[string]string{"name": "rig", "profile": atFullPower})
	if err != nil {
		return err
	}
	res, err := http.Post(api+"firings", "application/json", bytes.NewReader(body))
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusCreated {
		why, _ := io.ReadAll(res.Body)
		return fmt.Errorf("fire: %s: %s", res.Status, why)
	}
	return nil
}

func (o *orders) signal(who, number string) error {
	n, err := strconv.Atoi(number)
	if err != nil {
		return err
	}
	pids, err := o.pids(who)
	if err != nil {
		return err
	}
	for _, p := range pids {
		if err := unix.Kill(p, unix.Signal(n)); err != nil {
			return fmt.Errorf("signal %d to %s: %w", n, who, err)
		}
	}
	return nil
}

// pids are the processes meant; of both the daemon first.
func (o *orders) pids(who string) ([]int, error) {
	if o.daemon == nil {
		return nil, errors.New("nothing serves")
	}
	daemon := o.daemon.Process.Pid
	if who == "daemon" {
		return []int{daemon}, nil
	}
	warden, err := wardenOf(daemon)
	if err != nil || who == "warden" {
		return []int{warden}, err
	}
	return []int{daemon, warden}, nil
}

// wardenOf finds the child of the daemon.
func wardenOf(daemon int) (int, error) {
	children, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/children", daemon))
	if err != nil {
		return 0, err
	}
	for _, c := range children {
		b, err := os.ReadFile(c)
		if err != nil {
			return 0, err
		}
		if f := strings.Fields(string(b)); len(f) > 0 {
			return strconv.Atoi(f[0])
		}
	}
	return 0, errors.New("the daemon has no warden")
}

// state is the letter by which the kernel lists a process: S sleeps, T is
// stopped, D cannot be interrupted, Z is dead and not buried.
func (o *orders) state(who string) (string, error) {
	pids, err := o.pids(who)
	if err != nil {
		return "gone", nil
	}
	threads, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/stat", pids[0]))
	if err != nil || len(threads) == 0 {
		return "gone", err
	}
	worst := "S"
	for _, t := range threads {
		b, err := os.ReadFile(t)
		if err != nil {
			continue
		}
		_, after, _ := strings.Cut(string(b), ") ")
		if s := after[:1]; s == "D" || worst != "D" && s != "S" && s != "R" {
			worst = s
		}
	}
	return worst, nil
}

// fill leaves no byte free where the log is.
func fill() error {
	f, err := os.Create(filepath.Join(dataDir, "junk"))
	if err != nil {
		return err
	}
	defer f.Close()
	b := make([]byte, 4096)
	for {
		if _, err := f.Write(b); errors.Is(err, unix.ENOSPC) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

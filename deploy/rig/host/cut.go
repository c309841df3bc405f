//go:build linux

package main

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

const (
	diskSize  = 64 << 20
	mayLose   = 2.0 // seconds of readings, the promise
	leastFuse = 3   // writes from the first reading to the cut
	mostFuse  = 60
	cutWithin = 90 * time.Second
	askEvery  = 50 * time.Millisecond
)

// moment is a reading: which firing, how long after its start.
type moment struct {
	firing uint64
	sinceS float64
}

func parseMoment(said string) (m moment, err error) {
	_, err = fmt.Sscan(said, &m.firing, &m.sinceS)
	return m, err
}

// cutPower fires on a disk that loses what was not flushed, and takes the
// power away at a random write, again and again. What somebody had seen before
// must be there afterwards, but for the last two seconds.
func cutPower(folder string, cuts int, seed uint64) error {
	rng := rand.New(rand.NewPCG(seed, 0))
	image := filepath.Join(folder, "disk")
	if err := format(image); err != nil {
		return err
	}
	var seen moment
	var worst float64
	bad := 0
	for i := range cuts + 1 {
		p := power{folder: folder, image: image, rng: rng, last: i == cuts}
		lost, err := p.on(&seen)
		if err != nil {
			bad++
			fmt.Printf("power-on %3d: FAILED: %v\n", i, err)
			if p.console != "" {
				fmt.Println(p.console)
			}
			continue
		}
		worst = max(worst, lost)
		fmt.Printf("power-on %3d: %.2f s of readings lost; then seen up to firing %d, %.0f s, cut with %d sectors not flushed\n",
			i, lost, seen.firing, seen.sinceS, p.pending)
	}
	fmt.Printf("%d power cuts, at most %.2f s of readings lost, %d failed\n", cuts, worst, bad)
	if bad > 0 || worst > mayLose {
		return fmt.Errorf("the promise is %g s", mayLose)
	}
	return nil
}

// format makes an empty disk.
func format(image string) error {
	f, err := os.Create(image)
	if err != nil {
		return err
	}
	if err := errors.Join(f.Truncate(diskSize), f.Close()); err != nil {
		return err
	}
	if out, err := exec.Command("mkfs.ext4", "-q", "-F", image).CombinedOutput(); err != nil {
		return fmt.Errorf("mkfs.ext4: %w: %s", err, out)
	}
	return nil
}

// power is the time from one power-on to the cut.
type power struct {
	folder, image string
	rng           *rand.Rand
	last          bool // look what is there, and no more
	pending       int
	console       string
}

// on tells how many seconds of the readings seen before are lost, fires on,
// cuts, and leaves in seen the last reading that was shown.
func (p *power) on(seen *moment) (lostS float64, err error) {
	d, err := openDrive(p.image)
	if err != nil {
		return 0, err
	}
	dir, err := os.MkdirTemp("", "calx-rig")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(dir)
	l, err := net.Listen("unix", filepath.Join(dir, "disk"))
	if err != nil {
		return 0, err
	}
	defer l.Close()
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			// The emulator's end of the line ends it.
			go func() { _ = d.serve(c) }()
		}
	}()
	m, err := powerOn(p.folder, filepath.Join(dir, "disk"))
	if err != nil {
		return 0, err
	}
	defer func() {
		if err != nil {
			p.console = m.log()
		}
		off := m.powerOff()
		var cut error
		p.pending, cut = d.cut(p.rng)
		err = errors.Join(err, off, cut)
	}()
	if lostS, err = missing(m, *seen); err != nil || p.last {
		return lostS, err
	}
	return lostS, p.fireUntilDark(m, d, seen)
}

// missing compares what the log holds with what was seen before the cut.
func missing(m *machine, seen moment) (float64, error) {
	if seen.firing == 0 {
		return 0, nil
	}
	said, err := m.order("kept")
	if err != nil {
		return 0, err
	}
	kept, err := parseMoment(said)
	switch {
	case err != nil:
		return 0, err
	case kept.firing > seen.firing:
		return 0, nil
	case kept.firing < seen.firing:
		return 0, fmt.Errorf("firing %d is gone; the last one is %d", seen.firing, kept.firing)
	}
	return max(0, seen.sinceS-kept.sinceS), nil
}

func (p *power) fireUntilDark(m *machine, d *drive, seen *moment) error {
	if err := serve(m); err != nil {
		return err
	}
	armed := false
	for end := time.Now().Add(cutWithin); time.Now().Before(end); {
		select {
		case <-d.dark:
			return nil
		case <-time.After(askEvery):
		}
		said, err := m.answerUnlessDark("acked", d.dark)
		switch {
		case err == nil && said == "":
			return nil // dark
		case errors.Is(err, errReset):
			if err := serve(m); err != nil {
				return err
			}
		case err != nil && strings.Contains(err.Error(), "no firing"):
			// The interrupted one may still be looked at: ask again then.
			if _, err := m.answerUnlessDark("fire", d.dark); err != nil {
				continue
			}
		case err != nil:
			return err
		default:
			if *seen, err = parseMoment(said); err != nil {
				return err
			}
			if !armed {
				armed = true
				d.arm(leastFuse + p.rng.IntN(mostFuse-leastFuse))
			}
		}
	}
	return errors.New("the disk is not written to")
}

// serve has calx serve; on a busy computer it may take more than one try.
func serve(m *machine) (err error) {
	for range startTries {
		if _, err = m.order("serve"); err == nil {
			return nil
		}
	}
	return err
}

// answerUnlessDark is order for a board whose disk may stop answering: then it
// returns nothing.
func (m *machine) answerUnlessDark(words string, dark <-chan struct{}) (string, error) {
	type result struct {
		said string
		err  error
	}
	done := make(chan result, 1)
	go func() {
		said, err := m.order(words)
		done <- result{said, err}
	}()
	select {
	case r := <-done:
		return r.said, r.err
	case <-dark:
		return "", nil
	}
}

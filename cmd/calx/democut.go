package main

import (
	"context"
	"errors"
	"path/filepath"
	"time"

	"calx/cmd/calx/board"
	"calx/cmd/calx/config"
	"calx/cmd/calx/station"
	"calx/controller"
	"calx/storage"
)

// connect opens what a process holds, and puts a station on it.
func (s *show) connect() (err error) {
	if s.probes, err = board.OpenProbes(s.channels, time.Second); err != nil {
		return err
	}
	if s.out, err = board.OpenOutput(config.Heater{Pin: s.bench.HeatPin(), Main: s.bench.MainPin(), Air: s.bench.AirPin()}); err != nil {
		return err
	}
	// A pin of the bench can always be read.
	if s.door, err = board.OpenDoor(config.Door{Pin: s.bench.DoorPin()}, func(error) {}); err != nil {
		return err
	}
	if s.log, err = storage.Open(filepath.Join(s.dir, logName), nil); err != nil {
		return err
	}
	p := s.parts
	p.Log, p.Chamber, p.Heater, p.Doorway = s.log, s.probes[0], s.out, s.door
	p.NoiseC = s.probes[0].NoiseC
	for i, o := range s.probes {
		p.Channels = append(p.Channels, o.Channel)
		if i > 0 {
			p.Others = append(p.Others, o)
		}
	}
	s.station = station.New(p)
	return nil
}

// disconnect lets go of it again.
func (s *show) disconnect() error {
	var errs []error
	if s.log != nil {
		errs = append(errs, s.log.Close())
	}
	if s.out != nil {
		errs = append(errs, s.out.Close())
	}
	if s.door != nil {
		errs = append(errs, s.door.Close())
	}
	for _, p := range s.probes {
		errs = append(errs, p.Close())
	}
	s.log, s.out, s.door, s.probes = nil, nil, nil, nil
	return errors.Join(errs...)
}

// bootTime is how long the simulated board takes from power to calx.
const bootTime = 40 * time.Second

// restart is the power coming back after a cut: all that calx knows is what it
// had written down.
func (s *show) restart(ctx context.Context) (said string, goesOn bool, err error) {
	if err := s.disconnect(); err != nil {
		return "", false, err
	}
	if _, err := s.bench.PowerBack(ctx, bootTime); err != nil {
		return "", false, err
	}
	if err := s.connect(); err != nil {
		return "", false, err
	}
	return s.station.InterruptedOne(ctx, 0)
}

// answer is the person of the demo, who comes after a while when a firing asks
// for one, and gives up when it cannot go on.
func (s *show) answer(cs controller.State) {
	const comesAfter, givesUpAfter = 600, 1800 // ticks
	if s.asked++; cs.Asks == "" {
		s.asked = 0
	}
	// A command that is refused has said why.
	switch s.asked {
	case comesAfter:
		_ = s.station.Command(controller.Resume)
	case givesUpAfter:
		_ = s.station.Command(controller.Stop)
	}
}

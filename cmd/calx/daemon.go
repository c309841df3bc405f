package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"log"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"calx/cmd/calx/board"
	"calx/cmd/calx/config"
	"calx/cmd/calx/outbox"
	"calx/cmd/calx/plug"
	"calx/cmd/calx/station"
	"calx/cmd/calx/web"
	"calx/controller"
	"calx/controller/identify"
	"calx/controller/resume"
	"calx/sim/bench"
	"calx/sim/chip"
	"calx/sim/kiln"
	"calx/sim/quantity"
	"calx/storage"
)

// daemon is everything calx serve holds open.
type daemon struct {
	cfg      *config.Config
	say      *log.Logger
	kiln     kiln.Params
	kilnText string
	speed    float64
	bench    *bench.Bench // nil on a real kiln
	clock    controller.Clock
	probes   []*board.Probe
	out      board.Output
	door     *board.Door // nil: no switch
	log      *storage.Log
	station  *station.Station
	metrics  *web.Metrics
	handler  http.Handler
	notify   *notifier
	teller   *teller
	outbox   *outbox.Outbox
}

// longestPeriod is the longest time between two ticks: each renews the lease
// of the heat, and a lease holds two seconds.
const longestPeriod = time.Second

// openDaemon opens what cfg names. A speed above 0 puts a simulated kiln in
// the place of the real one.
func openDaemon(cfg *config.Config, speed float64, say *log.Logger) (d *daemon, err error) {
	d = &daemon{cfg: cfg, say: say, speed: speed}
	defer func() {
		if err != nil {
			err = errors.Join(err, d.close())
			d = nil
		}
	}()
	if speed == 0 {
		// Before anything else can fail: whoever ran before may have left it on.
		if err = plug.AllOff(board.Wiring(cfg.Heater).Specs()...); err != nil {
			return d, err
		}
		if p := cfg.PeriodD(); p > longestPeriod {
			return d, fmt.Errorf("period is %v; with a heater it must be %v or less, since each reading renews the heat for two seconds", p, longestPeriod)
		}
		d.clock = newRealClock()
		if err = board.Init(); err != nil {
			return d, err
		}
	}
	if d.kilnText, d.kiln, err = kilnOf(cfg); err != nil {
		return d, err
	}
	data := cfg.Path(cfg.Data)
	if err = os.MkdirAll(data, 0o750); err != nil {
		return d, fmt.Errorf("data: %w", err)
	}
	if d.log, err = storage.Open(filepath.Join(data, logName), nil); err != nil {
		return d, err
	}
	if speed > 0 {
		if err = d.openBench(); err != nil {
			return d, err
		}
	}
	if d.probes, err = board.OpenProbes(d.cfg.Channels, d.cfg.PeriodD()); err != nil {
		return d, err
	}
	if d.out, err = board.OpenOutput(d.cfg.Heater); err != nil {
		return d, err
	}
	if d.door, err = board.OpenDoor(d.cfg.Door, d.doorTrouble); err != nil {
		return d, err
	}
	return d, d.build()
}

// kilnOf reads the kiln file beside the configuration, or a shipped one.
func kilnOf(cfg *config.Config) (string, kiln.Params, error) {
	file := cfg.Path(cfg.Kiln)
	data, err := os.ReadFile(file)
	if errors.Is(err, os.ErrNotExist) {
		file = cfg.Kiln
		if data, err = kiln.ShippedFile(cfg.Kiln); err != nil {
			err = fmt.Errorf("kiln: there is no file %s, and no kiln of that name comes with calx; there are %s", cfg.Path(cfg.Kiln), strings.Join(kiln.Shipped(), ", "))
		}
	}
	if err != nil {
		return "", kiln.Params{}, err
	}
	p, err := kiln.Load(file, data)
	return string(data), p, err
}

// openBench puts the simulated kiln where the configuration has the real one.
// It has one thermocouple.
func (d *daemon) openBench() error {
	cfg := *d.cfg
	i := 0
	for cfg.Channels[i].Role != "chamber" {
		i++
	}
	chamber := cfg.Channels[i]
	model, err := chip.ParseModel(chamber.Chip)
	if err != nil {
		return err
	}
	start, from := warmed(d.log, d.kiln, time.Now())
	d.bench, err = bench.New(bench.Options{Kiln: d.kiln, AmbientC: 20, Model: model, Seed: uint64(start.UnixNano()), Speed: d.speed, MainsSwing: 0.015, Start: start, From: from, Main: cfg.Heater.Main != ""})
	if err != nil {
		return err
	}
	chamber.Port, chamber.Type = d.bench.Port(), d.kiln.Probe.Type
	cfg.Channels = []config.Channel{chamber}
	h := config.Heater{Pin: d.bench.HeatPin(), Relay: cfg.Heater.Relay, LeastOn: cfg.Heater.LeastOn, LeastOff: cfg.Heater.LeastOff}
	if cfg.Heater.Air != "" {
		h.Air = d.bench.AirPin()
	}
	h.Main = d.bench.MainPin()
	cfg.Heater = h
	if cfg.Door.Fitted() {
		cfg.Door = config.Door{Pin: d.bench.DoorPin()}
	}
	d.cfg, d.clock = &cfg, d.bench
	return nil
}

// build makes station and handler of what is open.
func (d *daemon) build() error {
	rc, err := d.cfg.RelayConfig()
	if err != nil {
		return err
	}
	settings, err := json.Marshal(d.cfg)
	if err != nil {
		return err
	}
	plant := identify.Plant(d.kiln, 20)
	limits := identify.Guard(d.kiln, plant)
	if d.bench != nil {
		limits.Doubt = simulatedDoubt
	}
	metrics := web.NewMetrics(version, d.cfg.PeriodD())
	d.metrics = metrics
	d.notify, d.teller = newNotifier(), newTeller(d.say)
	d.outbox = outbox.New(outbox.Options{
		Log: d.log, Config: d.cfg, Kiln: d.kiln.Name, Zone: houseZone(), Wall: d.clock.Wall, Logf: d.say.Printf,
		Status: func() station.Status { return d.station.Status() },
	})
	parts := station.Parts{
		Log: d.log, Chamber: d.probes[0], Heater: d.out, Dead: d.out.Dead(), Clock: d.clock, NoiseC: d.probes[0].NoiseC,
		KilnName: d.kiln.Name, KilnText: d.kilnText, Config: string(settings), Plant: plant, Guard: limits,
		Relay: rc, Period: d.cfg.PeriodD(), Zone: houseZone(), Units: d.cfg.Units, Version: version, Boot: bootID(), Uptime: uptime,
		Monitor: monitors{metrics, d.outbox, d.teller, d.notify}, // the watchdog is petted last
	}
	if d.door != nil {
		parts.Doorway = d.door
	}
	if parts.AfterCut, err = resume.ParsePolicy(d.cfg.AfterCut); err != nil {
		return err
	}
	if d.bench != nil {
		parts.Boot, parts.Uptime = "", nil // this machine's clock is not the workshop's
	}
	for i, p := range d.probes {
		parts.Channels = append(parts.Channels, p.Channel)
		if i > 0 {
			parts.Others = append(parts.Others, p)
		}
	}
	d.station = station.New(parts)
	d.handler = web.New(web.Options{Station: d.station, Log: d.log, Metrics: metrics, Period: d.cfg.PeriodD(), Logf: d.say.Printf, Teller: d.outbox})
	return nil
}

// doorTrouble is told when the door switch cannot be read, and when it can
// again.
func (d *daemon) doorTrouble(err error) {
	if err != nil {
		d.say.Printf("the door switch cannot be read, so the door counts as open and the heat is off: %v", err)
		return
	}
	d.say.Print("the door switch can be read again")
}

func (d *daemon) resumeWithin() time.Duration { return quantity.Std(d.cfg.ResumeWithin) }

// close lets go of everything: the heat first.
func (d *daemon) close() error {
	var errs []error
	if d.out != nil {
		errs = append(errs, d.out.Close())
	}
	if d.door != nil {
		errs = append(errs, d.door.Close())
	}
	for _, p := range d.probes {
		errs = append(errs, p.Close())
	}
	if d.log != nil {
		errs = append(errs, d.log.Close())
	}
	if d.bench != nil {
		errs = append(errs, d.bench.Close())
	}
	if d.teller != nil {
		d.teller.close()
	}
	return errors.Join(errs...)
}

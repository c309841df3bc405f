package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"calx/cmd/calx/board"
	"calx/cmd/calx/chart"
	"calx/cmd/calx/config"
	"calx/cmd/calx/inside"
	"calx/cmd/calx/station"
	"calx/cmd/calx/summary"
	"calx/controller"
	"calx/controller/identify"
	"calx/controller/relay"
	"calx/controller/warden"
	"calx/profile"
	"calx/sim/bench"
	"calx/sim/chip"
	"calx/sim/kiln"
	"calx/storage"
	"calx/storage/record"
)

type demoCmd struct {
	Headless bool     `help:"No prompt and no progress, whatever the terminal."`
	Speed    string   `help:"Simulated seconds a second, or max." default:"7200" placeholder:"N|max"`
	JSON     string   `name:"json" help:"Write the result object to this file; - for standard output." placeholder:"FILE"`
	Kiln     string   `help:"Kiln file, or the name of a shipped kiln." default:"bench-9l-brick" placeholder:"FILE"`
	Profile  string   `help:"Profile file, or the name of a shipped profile." default:"demo-woody-pods" placeholder:"FILE"`
	Mould    []string `help:"Mould file, or the name of a shipped mould; may be given several times; none for an empty kiln. Otherwise the woody pod, or a smaller mould where that does not fit." sep:"none" placeholder:"FILE"`
	Faults   string   `help:"File of mishaps: what goes wrong, and when." placeholder:"FILE"`
	Seed     uint64   `help:"Of all noise; the same seed gives the same firing." default:"1"`
	Data     string   `help:"Folder for the log and the picture; a temporary one otherwise." placeholder:"DIR" type:"path"`
	Chip     string   `help:"Amplifier: max31855, max31856 or max6675." default:"max31855"`
	unitsFlag
}

// demoResult is the object that --json writes.
type demoResult struct {
	summary.Summary
	Kiln      string  `json:"kiln"`
	Seed      uint64  `json:"seed"`
	Data      string  `json:"data"`
	PeakTrueC float64 `json:"peak_true_c"` // of the junction itself
	WallS     float64 `json:"wall_s"`      // how long the simulation took
}

// afterTripS is how much of the cooling is recorded after a guard has ended
// the firing: enough to see that the heat is off.
const afterTripS = 1800

func (d *demoCmd) Run(e *env) error {
	speed, err := d.speed()
	if err != nil {
		return usageError{err}
	}
	kilnText, p, err := loadKiln(d.Kiln)
	if err != nil {
		return err
	}
	profileText, err := loadProfile(d.Profile)
	if err != nil {
		return err
	}
	moulds, err := d.moulds(p)
	if err != nil {
		return err
	}
	o := bench.Options{Kiln: p, AmbientC: 20, Seed: d.Seed, Speed: speed, MainsSwing: 0.015, Main: true, Lease: warden.DefaultLease,
		Start: time.Date(2026, 1, 9, 19, 0, 0, 0, time.UTC)}
	if o.Model, err = chip.ParseModel(d.Chip); err != nil {
		return usageError{err}
	}
	if d.Faults != "" {
		text, err := os.ReadFile(d.Faults)
		if err != nil {
			return err
		}
		if o.Mishaps, err = bench.ParseMishaps(d.Faults, text); err != nil {
			return err
		}
		o.Second = secondFor(o.Mishaps, o.Model)
	}
	dir, err := d.folder()
	if err != nil {
		return err
	}
	s, err := openShow(o, dir, d.Chip, kilnText)
	if err != nil {
		return err
	}
	defer s.close()
	return d.fire(e, s, station.Request{Name: "demo: " + filepath.Base(d.Profile), Profile: profileText, Moulds: mouldTexts(moulds)}, dir)
}

// secondFor fits a second probe, a little further from the elements, where a
// mishap is to befall it.
func secondFor(ms []bench.Mishap, m chip.Model) *bench.Second {
	if !slices.ContainsFunc(ms, func(m bench.Mishap) bool { return m.On == bench.OnSecond }) {
		return nil
	}
	return &bench.Second{Model: m, Spread: -0.01}
}

// moulds are those asked for, or the first of the usual ones that fits.
func (d *demoCmd) moulds(p kiln.Params) ([]inside.File, error) {
	if len(d.Mould) > 0 {
		files, err := loadMoulds(d.Mould)
		return files, errors.Join(err, inside.Fits(files, p))
	}
	for _, name := range []string{"woody-pod-90", "test-plug-60", "thin-leaf-65"} {
		files, err := loadMoulds([]string{name})
		if err != nil {
			return nil, err
		}
		if inside.Fits(files, p) == nil {
			return files, nil
		}
	}
	return nil, nil
}

func (d *demoCmd) speed() (float64, error) {
	if d.Speed == "max" {
		return 0, nil
	}
	v, err := strconv.ParseFloat(d.Speed, 64)
	if err != nil || !(v > 0) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("--speed is %q; it must be a number above 0, or max", d.Speed)
	}
	return v, nil
}

// folder is where log and picture go.
func (d *demoCmd) folder() (string, error) {
	if d.Data == "" {
		return os.MkdirTemp("", "calx-demo-")
	}
	return d.Data, os.MkdirAll(d.Data, 0o755)
}

// show is a daemon on a simulated kiln: everything between the SPI frame and
// the log is the real thing.
type show struct {
	bench    *bench.Bench
	dir      string
	channels []config.Channel // the chamber first
	parts    station.Parts    // all but what connect opens
	asked    int              // ticks that the firing has waited for a person
	probes   []*board.Probe
	out      board.Output
	door     *board.Door
	log      *storage.Log
	station  *station.Station
	truth    []record.Reading // the readings with the true junction in place of the measured
	peakC    float64
}

func openShow(o bench.Options, dir, model, kilnText string) (s *show, err error) {
	s = &show{peakC: math.Inf(-1)}
	defer func() {
		if err != nil {
			s.close()
			s = nil
		}
	}()
	if s.bench, err = bench.New(o); err != nil {
		return s, err
	}
	s.dir, s.channels = dir, []config.Channel{{Role: "chamber", Chip: model, Port: s.bench.Port(), Type: o.Kiln.Probe.Type}}
	if o.Second != nil {
		s.channels = append(s.channels, config.Channel{Role: "chamber 2", Chip: model, Port: s.bench.SecondPort(), Type: o.Kiln.Probe.Type})
	}
	plant := identify.Plant(o.Kiln, o.AmbientC)
	limits := identify.Guard(o.Kiln, plant)
	limits.Doubt = simulatedDoubt
	rc, err := relayOf(o.Kiln)
	if err != nil {
		return s, err
	}
	s.parts = station.Parts{
		Clock: s.bench, KilnName: o.Kiln.Name, KilnText: kilnText, Plant: plant, Guard: limits, Relay: rc,
		Version: version, Boot: "simulated",
		Until: func(cs controller.State, out controller.Output) bool {
			s.note(out)
			s.answer(cs)
			return out.Ended && (cs.TripCode == "" || out.Record.Since >= s.trippedAt(cs)+afterTripS*time.Second)
		},
	}
	return s, s.connect()
}

// simulatedDoubt is how well a simulated kiln is known: its file is what it is,
// but for the mains and what stands in it.
const simulatedDoubt = 0.1

// note keeps the true junction beside the reading.
func (s *show) note(out controller.Output) {
	c := s.bench.Truth().JunctionC
	s.peakC = math.Max(s.peakC, c)
	r := out.Record
	r.Channels, r.Observer = []record.Sample{{HotC: c}}, nil
	if s.truth == nil {
		s.truth = make([]record.Reading, 0, int(1.1*s.station.Status().Firing.PlannedS)) // a second each, and some more
	}
	s.truth = append(s.truth, r)
}

// trippedAt is when the firing ended.
func (s *show) trippedAt(controller.State) time.Duration {
	for i := len(s.truth) - 1; i >= 0; i-- {
		if s.truth[i].Phase < record.Done {
			return s.truth[i].Since
		}
	}
	return 0
}

func (s *show) close() {
	_ = s.disconnect()
	if s.bench != nil {
		_ = s.bench.Close()
	}
}

// relayOf is what the relay of a kiln file can bear.
func relayOf(p kiln.Params) (relay.Config, error) {
	k, err := relay.ParseKind(p.Relay.Kind)
	if err != nil {
		return relay.Config{}, err
	}
	c := relay.DefaultConfig(k)
	if k == relay.Contactor {
		c.LeastOnS, c.LeastOffS = float64(p.Relay.LeastOn), float64(p.Relay.LeastOff)
		if p.Relay.MostCycles > 0 {
			c.CyclesPerH = float64(p.Relay.MostCycles) * 3600
		}
	}
	return c, c.Check()
}

func (d *demoCmd) fire(e *env, s *show, r station.Request, dir string) error {
	p, err := profile.Parse(r.Profile)
	if err != nil {
		return fmt.Errorf("%s:\n%w", d.Profile, err)
	}
	f := d.fahrenheit(p.Fahrenheit)
	if t := s.station.Status().Trip; t != nil { // of an earlier demo in the same folder: there is no kiln to look at
		if err := s.station.Clear(t.Firing); err != nil {
			return err
		}
	}
	id, err := s.station.Start(r)
	if err != nil {
		return err
	}
	quiet := d.Headless || d.JSON == "-"
	if !quiet {
		e.printf("Firing %q on the simulated kiln %q. Log and picture go to %s\n\n", filepath.Base(d.Profile), s.station.Status().Kiln, dir)
	}
	began := time.Now()
	for goesOn := true; goesOn; {
		stop := func() {}
		if e.tty && !quiet {
			stop = e.progress(s.station, f)
		}
		err = s.station.RunOne(e.ctx)
		stop()
		goesOn = errors.Is(err, bench.ErrPowerCut)
		for errors.Is(err, bench.ErrPowerCut) { // it may go again before calx is up
			var said string
			said, goesOn, err = s.restart(e.ctx)
			if said != "" && !quiet {
				e.printf("%s\n\n", wrap(said, e.width, 0))
			}
		}
	}
	took := time.Since(began)
	if err != nil && !errors.Is(err, context.Canceled) {
		return err
	}
	return d.report(e, s, id, dir, f, quiet, took)
}

// report reads the firing back from the log and shows it.
func (d *demoCmd) report(e *env, s *show, id uint64, dir string, f, quiet bool, took time.Duration) error {
	fr, err := readFiring(s.log, id)
	if err != nil {
		return err
	}
	res := demoResult{Summary: fr.summary(), Kiln: s.station.Status().Kiln, Seed: d.Seed, Data: dir, PeakTrueC: s.peakC, WallS: took.Seconds()}
	// Control quality is judged by the junction itself, which only a simulation
	// can know; a probe that lies would otherwise grade itself.
	t := summary.Summarise(fr.head, s.truth, fr.events)
	res.RMSEC, res.OvershootC, res.HoldStdC = t.RMSEC, t.OvershootC, t.HoldStdC
	if d.JSON != "" {
		if err := writeResult(e, d.JSON, res); err != nil {
			return err
		}
	}
	picture := filepath.Join(dir, "firing.png")
	if err := writeFile(picture, func(w *os.File) error { return chart.PNG(w, fr.chart(f), 1280, 800) }); err != nil {
		return err
	}
	if quiet {
		return nil
	}
	if err := fr.print(e, f); err != nil {
		return err
	}
	e.printf("\nPicture: %s\nAgain:   calx show --data %s %d\nSimulated %.1f h in %.2f s.\n", picture, dir, id, res.DurationS/3600, took.Seconds())
	return nil
}

func writeResult(e *env, file string, v any) error {
	if file == "-" {
		return e.writeJSON(v)
	}
	return writeFile(file, func(w *os.File) error {
		enc := json.NewEncoder(w)
		enc.SetEscapeHTML(false)
		enc.SetIndent("", "  ")
		return enc.Encode(v)
	})
}

// writeFile creates a file and says when it could not be written to the end.
func writeFile(name string, write func(*os.File) error) error {
	w, err := os.Create(name)
	if err != nil {
		return err
	}
	return errors.Join(write(w), w.Close())
}

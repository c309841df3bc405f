package main

import (
	"context"
	"errors"
	"fmt"
	"log"
	"math"
	"net"

	"calx/cmd/calx/config"
	"calx/cmd/calx/web"
	"calx/storage"
)

type serveCmd struct {
	configFlag
	Bench float64 `help:"Try it without a kiln: put a simulated one behind the unchanged daemon, at this many simulated seconds a second. Needs no calx.yaml." placeholder:"SPEED"`
}

// benchConfig is what --bench runs on without a calx.yaml.
const benchConfig = `
kiln: bench-9l-brick
channels:
  - {role: chamber, chip: max31856, port: SPI0.0, type: K}
heater: {pin: GPIO17, relay: ssr}
`

func (c *serveCmd) Run(e *env) error {
	if c.Bench < 0 || math.IsNaN(c.Bench) || math.IsInf(c.Bench, 0) {
		return usageError{fmt.Errorf("--bench is %g; it must be a number above 0", c.Bench)}
	}
	cfg, err := c.configuration()
	if err != nil {
		return err
	}
	// journald and a terminal both know the time; plain lines suit either.
	say := log.New(e.err, "", 0)
	d, err := openDaemon(cfg, c.Bench, say)
	if err != nil {
		return err
	}
	return errors.Join(d.run(e.ctx), d.close())
}

func (c *serveCmd) configuration() (*config.Config, error) {
	cfg, err := c.load()
	switch {
	case err != nil || cfg != nil:
		return cfg, err
	case c.Bench != 0:
		return config.Parse("calx.yaml", []byte(benchConfig))
	}
	return nil, errors.New("there is no calx.yaml in this folder and none in /etc/calx; name one with --config FILE, or try calx without a kiln: calx serve --bench 60")
}

// run reads, fires and answers until ctx ends. The heat is off when it
// returns.
func (d *daemon) run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	l, err := net.Listen("tcp", d.cfg.Listen)
	if err != nil {
		return fmt.Errorf("listen: %s in calx.yaml cannot be had: %w; another calx may be running, or the address is not this board's", d.cfg.Listen, err)
	}
	d.greet(l.Addr())
	served := make(chan struct{})
	go func() {
		defer close(served)
		if err := web.Serve(ctx, l, d.handler, d.say); err != nil {
			d.say.Printf("nobody is answered any more: %v; a firing goes on; restart calx when it is done", err)
		}
	}()
	told := make(chan struct{})
	go func() {
		defer close(told)
		d.outbox.Run(ctx)
	}()
	mended := make(chan struct{})
	go func() {
		defer close(mended)
		text, err := d.station.Interrupted(ctx, d.resumeWithin())
		if err != nil && !errors.Is(err, context.Canceled) {
			d.say.Printf("the firing that was interrupted cannot be dealt with: %v", err)
		} else if text != "" {
			d.say.Print(text)
			d.tellOfInterruption(text)
		}
	}()
	kept := make(chan struct{})
	go func() {
		defer close(kept)
		d.keepHealth(ctx)
	}()
	err = d.station.Run(ctx)
	d.notify.stopping()
	cancel()
	<-mended
	<-kept
	<-served
	<-told
	if errors.Is(err, context.Canceled) && !errors.Is(err, storage.ErrNotDurable) {
		d.say.Print("asked to end; the heat is off")
		return nil
	}
	return err
}

// greet says what calx runs on, and what it lacks.
func (d *daemon) greet(at net.Addr) {
	h := d.cfg.Heater
	d.say.Printf("calx %s, kiln %s; answers at %s", version, d.kiln.Name, at)
	if d.bench != nil {
		d.say.Printf("no kiln is heated: a simulated one stands behind the daemon, at %g simulated seconds a second", d.speed)
		return
	}
	if h.Heartbeat == "" {
		d.say.Print("heater.heartbeat is not set: nothing opens the relay when this board dies")
	}
	if h.Main == "" {
		d.say.Print("heater.main is not set: when the heat relay welds, calx has nothing else to open")
	}
	if h.Watchdog == "" {
		d.say.Print("heater.watchdog is not set: nothing restarts this board when it hangs")
	}
	if a, ok := at.(*net.TCPAddr); ok && !a.IP.IsLoopback() {
		d.say.Printf("whoever reaches %s can fire this kiln: there is no password", at)
	}
}

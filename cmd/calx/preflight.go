package main

import (
	"errors"
	"fmt"
	"time"

	"calx/cmd/calx/config"
	"calx/cmd/calx/outbox"
	"calx/controller/tidings"
	"calx/sim/kiln"
	"calx/storage"
	"calx/storage/record"
)

// preflightFlags are those of calx check --before-firing.
type preflightFlags struct {
	BeforeFiring bool `help:"Look at everything before a firing: probes, outputs, kiln, log, disk, clock, messages; and at the profile named, if any. Changes nothing."`
	Relay        bool `help:"With --before-firing: let the daemon heat for a moment, and see the chamber follow. Guarded as every firing is, and kept in the log as one."`
	Tell         bool `help:"With --before-firing: send a test message to everybody in calx.yaml."`
}

// preflight is the object that --json writes.
type preflight struct {
	OK     bool     `json:"ok"` // nothing fails
	Passes int      `json:"passes"`
	Warns  int      `json:"warns"`
	Fails  int      `json:"fails"`
	Looked []looked `json:"looked"`
}

// beforeFiring looks, judges and prints.
func (c *checkCmd) beforeFiring(e *env, by checking) error {
	b, err := c.gather(e, by)
	if err != nil {
		return err
	}
	res := preflight{Looked: b.judgement()}
	for _, l := range res.Looked {
		switch l.Grade {
		case passes:
			res.Passes++
		case warns:
			res.Warns++
		default:
			res.Fails++
		}
	}
	res.OK = res.Fails == 0
	if c.JSON {
		err = e.writeJSON(res)
	} else {
		res.print(e)
	}
	if !res.OK {
		err = errors.Join(err, fmt.Errorf("%s; do not fire before that is mended", countOf(float64(res.Fails), "thing")+" failed"))
	}
	return err
}

// gather asks everybody who knows something. Nothing is changed, unless the
// flags say so; the outputs are the warden's and are not touched from here.
func (c *checkCmd) gather(e *env, by checking) (*before, error) {
	b := &before{now: time.Now().In(houseZone()), quiet: asleep(nil)}
	for _, m := range by.moulds {
		b.moulds = append(b.moulds, m.Params)
	}
	file := c.find()
	var cfg *config.Config
	if file != "" {
		f := by.check(file)
		b.config = &f
		if cfg, _ = config.Load(file); cfg != nil { // what is wrong with it is in f
			b.fahrenheit = cfg.Fahrenheit()
			b.quiet = asleep(cfg.Tell)
		}
	}
	b.fahrenheit = c.fahrenheit(b.fahrenheit)
	if by.kiln != nil {
		b.kiln = &by.kiln.p
	}
	b.daemon = c.ask(e)
	if b.kiln == nil && b.daemon.err == nil {
		if p, err := shippedKiln(b.daemon.status.Kiln); err == nil {
			b.kiln = &p
		}
	}
	b.log = c.readLog(e)
	if cfg != nil && c.At == "" {
		b.disk = diskOf(cfg.Path(cfg.Data))
	}
	if synchronised, known := clockState(); known {
		b.clock = &clockFacts{synchronised}
	}
	if len(c.Files) > 1 {
		return nil, usageError{errors.New("one firing at a time: name one profile")}
	}
	if len(c.Files) == 1 {
		f := by.check(c.Files[0])
		if f.Kind != profileKind && f.OK {
			return nil, usageError{fmt.Errorf("%s is a %s; name the profile that is to be fired", c.Files[0], f.Kind)}
		}
		b.profile = &f
	}
	if c.Relay && b.daemon.err == nil {
		b.pulse = c.tryRelay(e, b)
	}
	return b, nil
}

func shippedKiln(name string) (kiln.Params, error) {
	data, err := kiln.ShippedFile(name)
	if err != nil {
		return kiln.Params{}, err
	}
	return kiln.Load(name, data)
}

// ask asks the daemon how it stands.
func (c *checkCmd) ask(e *env) *daemonFacts {
	d := &daemonFacts{}
	cl, err := c.client()
	if err == nil {
		d.status, err = cl.status(e.ctx)
	}
	if err != nil {
		d.err = err
		return d
	}
	var st outbox.State
	if cl.get(e.ctx, "/api/tell", &st) == nil {
		d.tell = &st
	}
	if c.Tell && d.tell != nil && len(d.tell.Destinations) > 0 {
		var res tellTest
		if err := (&tellCmd{daemonFlag: c.daemonFlag}).testByDaemon(e.ctx, &res); err != nil {
			res.Answers = []outbox.Answer{{Name: "the test", Error: err.Error()}}
		}
		d.tried = res.Answers
	}
	return d
}

// readLog reads every record of the log, or of a copy where a daemon has it.
// Opening it has checked its pages.
func (c *checkCmd) readLog(e *env) *logFacts {
	l, err := c.open(e.ctx)
	var none usageError
	switch {
	case errors.As(err, &none), errors.Is(err, storage.ErrMissing):
		return nil // there is none yet: the daemon makes it
	case err != nil:
		return &logFacts{err: err}
	}
	defer l.Close()
	f := &logFacts{bytes: l.Stats().FileBytes}
	heads, err := l.Firings()
	f.hurt(err)
	for _, h := range heads {
		var first, last time.Duration
		n := 0
		f.hurt(l.Readings(h.ID, 0, 0, func(r *record.Reading) error {
			if n == 0 {
				first = r.Since
			}
			n++
			last = r.Since
			f.seen(r.Wall)
			return nil
		}))
		f.fired += last - first
		f.seen(h.Ended)
		_, err := l.Events(h.ID)
		f.hurt(err)
	}
	return f
}

func (f *logFacts) hurt(err error) {
	if err != nil {
		f.damage = append(f.damage, firstLineOf(err.Error()))
	}
}

func (f *logFacts) seen(at time.Time) {
	if at.After(f.last) {
		f.last = at
	}
}

// usualSleep is when people sleep where calx.yaml names no quiet hours.
const usualSleep = "22:00 to 07:00"

// asleep is when nobody wants to be up: the quiet hours of calx.yaml.
func asleep(tell []config.Destination) func(time.Time) bool {
	var all []tidings.Quiet
	for _, d := range tell {
		if q, err := tidings.ParseQuiet(d.Quiet); err == nil {
			all = append(all, q)
		}
	}
	if len(all) == 0 {
		q, _ := tidings.ParseQuiet(usualSleep) // a constant that can be read
		all = append(all, q)
	}
	return func(t time.Time) bool {
		for _, q := range all {
			if q.At(t) {
				return true
			}
		}
		return false
	}
}

// print lists what was looked at: the grade, the thing, what was found.
func (p preflight) print(e *env) {
	const widest, indent = 10, 18
	colours := map[grade]string{passes: green, warns: yellow, fails: red}
	for _, l := range p.Looked {
		e.printf("%s  %-*s  %s\n", e.paint(colours[l.Grade], string(l.Grade)), widest, l.At, wrap(printable(l.Text), e.width, indent))
		if l.Do != "" {
			e.printf("%*s%s\n", indent, "", e.paint(faint, wrap("do: "+printable(l.Do), e.width, indent)))
		}
	}
	e.printf("\n%d pass, %d warn, %d fail\n", p.Passes, p.Warns, p.Fails)
	e.printf("%s\n", wrap("calx is not the safety device: see that the limit controller is set, the kiln's surroundings clear, extraction on, and somebody within reach of the switch at the wall", e.width, 0))
}

package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"calx/controller/identify"
	"calx/profile"
	"calx/sim/kiln"
	"calx/sim/quantity"
	"calx/storage"
	"calx/storage/record"
)

type fitCmd struct {
	Firings  []string       `arg:"" optional:"" help:"Numbers of the firings to fit; otherwise the newest that can be, at most three." placeholder:"N"`
	Kiln     string         `help:"Kiln file to begin with, or the name of a shipped kiln; otherwise the one that the newest firing ran on." placeholder:"FILE" type:"path"`
	Out      string         `short:"o" help:"Write the fitted kiln to this file; otherwise beside the old one, with the day in its name. Never over a file." placeholder:"FILE" type:"path"`
	Power    quantity.Power `help:"What a meter showed the hot elements to draw, for example 2.31 kW; thermometers alone cannot tell." placeholder:"POWER"`
	StepTest bool           `help:"Show a short firing that tells a new kiln well, and how to run it; fits nothing."`
	DryRun   bool           `help:"Fit and show, and write no file."`
	logFlags
	jsonFlag
	unitsFlag
}

// mostFitted is how many firings are taken when none is named.
const mostFitted = 3

// stepTestProfile is the shipped profile of --step-test.
const stepTestProfile = "kiln-step-test"

// Run fits the kiln to recorded firings and writes it to a new file. On any
// error nothing is written.
func (c *fitCmd) Run(e *env) error {
	if c.StepTest {
		return c.showStepTest(e)
	}
	l, err := c.open(e.ctx)
	if err != nil {
		return err
	}
	return errors.Join(c.fit(e, l.Log), l.Close())
}

func (c *fitCmd) fit(e *env, l *storage.Log) error {
	chosen, err := c.choose(l)
	if err != nil {
		return err
	}
	prior, err := c.prior(chosen)
	if err != nil {
		return err
	}
	day := time.Now()
	out, err := c.target(prior, day)
	if err != nil {
		return err
	}
	var recs []identify.Recorded
	for _, f := range chosen {
		recs = append(recs, recordedOf(f, prior))
	}
	began := time.Now()
	got, err := identify.Fit(prior, recs, identify.FitOptions{MeteredW: float64(c.Power)})
	if err != nil {
		return fmt.Errorf("%w\nnothing was written", err)
	}
	res := newFitResult(chosen, prior, got, out, time.Since(began))
	text, err := fittedText(prior, got, chosen, day)
	if err != nil {
		return err
	}
	if out != "" {
		if err := writeNew(out, text); err != nil {
			return err
		}
	}
	if c.JSON {
		return e.writeJSON(res)
	}
	c.print(e, res, chosen[len(chosen)-1].head.Units == "F")
	return nil
}

// choose reads the firings that are named, or the newest usable ones of one
// kiln, oldest first.
func (c *fitCmd) choose(l *storage.Log) (out []*firing, err error) {
	heads, err := l.Firings()
	if err != nil {
		return nil, err
	}
	if len(c.Firings) > 0 {
		return c.named(l)
	}
	var why error
	for _, h := range slices.Backward(heads) {
		if h.Outcome == "" || len(out) == mostFitted {
			continue
		}
		f, damage := readFiring(l, h.ID)
		if f == nil || damage != nil {
			why = errors.Join(why, damage)
			continue
		}
		p, err := c.kilnOf(f)
		if err == nil && len(out) > 0 && sameKiln(out[0], f) != nil {
			continue
		}
		if err == nil {
			err = identify.Usable(p, recordedOf(f, p))
		}
		if err != nil {
			if why == nil {
				why = err
			}
			continue
		}
		out = append([]*firing{f}, out...)
	}
	switch {
	case len(heads) == 0:
		return nil, errors.New("the log holds no firing yet; calx fit --step-test shows a short one that tells a kiln well")
	case len(out) == 0:
		return nil, fmt.Errorf("no firing in the log can be fitted: %w\ncalx fit --step-test shows a short one that tells a kiln well", why)
	}
	return out, nil
}

func (c *fitCmd) named(l *storage.Log) (out []*firing, err error) {
	seen := map[uint64]bool{}
	for _, n := range c.Firings {
		id, err := firingArg{Firing: n}.pick(l)
		if err != nil {
			return nil, err
		}
		if seen[id] {
			return nil, usageError{fmt.Errorf("firing %d is named twice", id)}
		}
		seen[id] = true
		f, err := readFiring(l, id)
		if err != nil {
			return nil, err
		}
		if f.head.Outcome == "" {
			return nil, fmt.Errorf("firing %d is still going on; fit it when it has ended", id)
		}
		if _, err := c.kilnOf(f); err != nil {
			return nil, err
		}
		if len(out) > 0 {
			if err := sameKiln(out[0], f); err != nil {
				return nil, err
			}
		}
		out = append(out, f)
	}
	slices.SortFunc(out, func(a, b *firing) int { return int(a.head.ID) - int(b.head.ID) })
	return out, nil
}

// kilnOf is the kiln that a firing ran on, by its own record.
func (c *fitCmd) kilnOf(f *firing) (kiln.Params, error) {
	if f.head.Kiln == "" && c.Kiln != "" {
		_, p, err := loadKiln(c.Kiln)
		return p, err
	}
	p, err := kiln.Load(fmt.Sprintf("kiln file of firing %d", f.head.ID), []byte(f.head.Kiln))
	if err != nil {
		return p, fmt.Errorf("firing %d was recorded by calx %s, and this calx (%s) cannot use its kiln file; name one with --kiln: %w", f.head.ID, f.head.Version, version, err)
	}
	return p, nil
}

// sameKiln refuses firings of kilns that differ in what no fit changes.
func sameKiln(a, b *firing) error {
	p, err := kiln.Load("kiln", []byte(a.head.Kiln))
	if err != nil {
		return nil // told by kilnOf, or none was kept
	}
	q, err := kiln.Load("kiln", []byte(b.head.Kiln))
	if err != nil {
		return nil
	}
	box := func(p kiln.Params) kiln.Chamber { c := p.Chamber; c.Convection = 0; return c }
	if p.Name != q.Name || box(p) != box(q) || len(p.Walls) != len(q.Walls) {
		return fmt.Errorf("firing %d ran on the kiln %s and firing %d on %s; fit the firings of one kiln at a time", a.head.ID, p.Name, b.head.ID, q.Name)
	}
	return nil
}

// prior is the kiln file that the fit begins with.
func (c *fitCmd) prior(chosen []*firing) (kiln.Params, error) {
	if c.Kiln != "" {
		_, p, err := loadKiln(c.Kiln)
		return p, err
	}
	return c.kilnOf(chosen[len(chosen)-1])
}

// target is where the fitted kiln goes: beside the kiln file that is in use.
func (c *fitCmd) target(p kiln.Params, day time.Time) (string, error) {
	if c.DryRun {
		return "", nil
	}
	out := c.Out
	if out == "" {
		out = filepath.Join(c.folder(), fmt.Sprintf("%s-fitted-%s.yaml", p.Name, day.Format(time.DateOnly)))
	}
	switch _, err := os.Lstat(out); {
	case err == nil:
		return "", fmt.Errorf("%s is there already, and calx writes over no kiln file; name another with --out FILE", out)
	case !errors.Is(err, fs.ErrNotExist):
		return "", err
	}
	return out, nil
}

// folder is that of the kiln file named, or of the one in calx.yaml, or this.
func (c *fitCmd) folder() string {
	if c.Kiln != "" {
		if _, err := os.Stat(c.Kiln); err == nil {
			return filepath.Dir(c.Kiln)
		}
		return "."
	}
	if conf, err := c.load(); err == nil && conf != nil {
		return filepath.Dir(conf.Path(conf.Kiln))
	}
	return "."
}

// writeNew writes a file that must not be there yet.
func writeNew(name string, text []byte) error {
	w, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = w.Write(text)
	return errors.Join(err, w.Sync(), w.Close())
}

func (c *fitCmd) showStepTest(e *env) error {
	text, err := profile.ShippedText(stepTestProfile)
	if err != nil {
		return err
	}
	if c.JSON {
		return e.writeJSON(struct {
			Name    string `json:"name"`
			Profile string `json:"profile"`
		}{stepTestProfile, text})
	}
	e.printf("%s\n", text)
	e.printf("%s\n", wrap("It is a firing like any other, with all its guards: empty the kiln of moulds, leave the shelves in, shut the door, stay in the house. Start it with", e.width, 0))
	e.printf("  calx fire %s\n", stepTestProfile)
	e.printf("%s\n  calx fit\n", "and when it has ended")
	return nil
}

// fittedText is the new kiln file.
func fittedText(prior kiln.Params, got identify.Fitted, chosen []*firing, day time.Time) ([]byte, error) {
	p := got.Params
	p.Fitted = &kiln.Fitted{
		When:     day.Format(time.DateOnly),
		Residual: quantity.TemperatureDifference(threeDigits(got.ResidualC)),
		Doubt:    quantity.Fraction(threeDigits(100*min(got.Doubt, 1)) / 100),
	}
	for _, f := range chosen {
		p.Fitted.Firings = append(p.Fitted.Firings, firingName(f.head))
	}
	notes := map[string]string{}
	for _, x := range got.Estimates {
		if x.Path == "" {
			continue // it is the moulds', not the kiln's
		}
		notes[x.Path] = fmt.Sprintf("%s: the file said %s; %s", x.Name, x.Prior, estimateWords(x))
	}
	head := []string{
		fmt.Sprintf("The kiln %s as its firings show it, fitted by calx %s on %s.", prior.Name, version, day.Format(time.DateOnly)),
		"What the firings do not tell is as in the kiln file before.",
	}
	return p.Text(head, notes)
}

func firingName(h record.Firing) string {
	s := fmt.Sprintf("firing %d of %s", h.ID, h.Started.Local().Format(time.DateOnly))
	if h.Name != "" {
		s += ", " + printable(h.Name)
	}
	return s
}

func threeDigits(v float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64)
	if err != nil {
		panic("BUG: a number that was written cannot be read: " + err.Error())
	}
	return r
}

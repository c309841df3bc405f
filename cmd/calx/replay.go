package main

import (
	"errors"
	"fmt"
	"time"

	"calx/cmd/calx/rerun"
)

type replayCmd struct {
	firingArg
	Simulate bool `help:"Instead of the recorded inputs, fire the same plan on the simulated kiln and lay it over the record. Any of the what-if flags implies it."`
	whatIfFlags
	pictureFlags
	logFlags
	jsonFlag
	unitsFlag
}

// replayResult is the object that --json writes for a replay with the same
// inputs.
type replayResult struct {
	ID      uint64  `json:"id"`
	Name    string  `json:"name"`
	Same    bool    `json:"same"`    // every output came out again, bit for bit
	Version string  `json:"version"` // of the calx that wrote the record
	TookS   float64 `json:"took_s"`
	rerun.Result
}

// errParted is the exit of a replay that parts from its record.
var errParted = errors.New("the replay parts from the record")

// Run feeds a firing's recorded readings to the controller again and compares
// what comes out.
func (c *replayCmd) Run(e *env) error {
	f, damage := c.read(e, c.logFlags)
	if f == nil {
		return damage
	}
	if c.Simulate || c.asked() {
		return errors.Join(c.lay(e, f), damage)
	}
	if c.PNG != "" || c.SVG != "" {
		return usageError{errors.New("--png and --svg draw a simulation; add --simulate, or use calx show")}
	}
	return errors.Join(c.same(e, f), damage)
}

// lay fires the plan on the simulated kiln and shows it over the record.
func (c *replayCmd) lay(e *env, f *firing) error {
	w, h, err := c.size()
	if err != nil {
		return err
	}
	s, err := c.simulate(f)
	if err != nil {
		return fmt.Errorf("firing %d: %w", f.head.ID, err)
	}
	fahrenheit := c.fahrenheit(f.head.Units == "F")
	if c.PNG != "" || c.SVG != "" {
		pic := s.chart(fahrenheit)
		pic.Title = s.title()
		if err := c.pictureFlags.draw(e, pic, w, h, c.JSON); err != nil {
			return err
		}
	}
	switch {
	case c.JSON:
		return e.writeJSON(s.result())
	case c.PNG == "" && c.SVG == "":
		return s.print(e, fahrenheit)
	}
	return nil
}

func (c *replayCmd) same(e *env, f *firing) error {
	began := time.Now()
	r, err := rerun.Same(f.head, f.readings, f.events)
	if err != nil {
		return fmt.Errorf("firing %d: %w", f.head.ID, err)
	}
	res := replayResult{ID: f.head.ID, Name: f.head.Name, Same: r.Same(), Version: f.head.Version, TookS: time.Since(began).Seconds(), Result: r}
	if c.JSON {
		err = e.writeJSON(res)
	} else {
		c.print(e, res)
	}
	if err == nil && !res.Same {
		err = errParted
	}
	return err
}

func (c *replayCmd) print(e *env, r replayResult) {
	name := fmt.Sprintf("firing %d", r.ID)
	if r.Name != "" {
		name += fmt.Sprintf(" %q", printable(r.Name))
	}
	e.printf("%s, replayed with the same inputs in %.1f s\n", name, r.TookS)
	switch d := r.First; {
	case d != nil:
		what := "reading"
		if d.Event {
			what = "event"
		}
		e.printf("%s\n", e.paint(red, fmt.Sprintf("%s %d, %s after the start, differs in %s", what, d.Seq, span(seconds(d.SinceS)), d.Field)))
		e.printf("  recorded  %s\n  replayed  %s\n", printable(d.Recorded), printable(d.Replayed))
		e.printf("%d readings and %d events before it agree, bit for bit\n", r.Readings, r.Events)
	case r.Stopped != "":
		e.printf("%d readings and %d events agree, bit for bit; then %s\n", r.Readings, r.Events, r.Stopped)
	default:
		e.printf("%s\n", e.paint(green, fmt.Sprintf("%d readings and %d events agree, bit for bit", r.Readings, r.Events)))
	}
	for _, w := range r.warnings() {
		e.printf("%s\n", wrap(w, e.width, 0))
	}
}

// warnings say what may explain a difference, or what an agreement rests on.
func (r replayResult) warnings() []string {
	var out []string
	s := r.Settings
	if s.Guessed {
		out = append(out, "The log is from before relay, noise and time zone were kept; they were taken from the kiln file and the chip.")
	} else if s.Arch != r.Arch {
		out = append(out, fmt.Sprintf("The record was made on %s and replayed on %s: where one fuses a multiplication with an addition and the other does not, the last bits differ.", s.Arch, r.Arch))
	}
	if !s.Guessed && s.Figures != r.Figures {
		out = append(out, "This calx makes other figures of the kiln file than the one that fired, so its law and guards are not the same.")
	}
	if r.First != nil && r.Version != version {
		out = append(out, fmt.Sprintf("The record was written by calx %s; this is calx %s.", r.Version, version))
	}
	return out
}

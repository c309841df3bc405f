package main

import (
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"
	"time"

	"calx/cmd/calx/chart"
	"calx/cmd/calx/inside"
	"calx/cmd/calx/summary"
	"calx/profile"
	"calx/sim/kiln"
	"calx/storage"
	"calx/storage/record"
)

// logName is the file of the log within the data folder.
const logName = "calx.db"

// firing is one firing as the log keeps it.
type firing struct {
	head     record.Firing
	readings []record.Reading
	events   []record.Event
	prof     *profile.Profile // nil when its text cannot be read any more
	plan     *profile.Timeline
}

// mostReadings is for how many readings room is made at once, whatever a head
// says: a week of them.
const mostReadings = 7 * 24 * 3600

// readFiring reads a whole firing. What is damaged is left out and named in
// the error; the rest is returned with it.
func readFiring(log *storage.Log, id uint64) (*firing, error) {
	head, err := log.Firing(id)
	if err != nil {
		return nil, err
	}
	f := &firing{head: head, readings: make([]record.Reading, 0, min(head.Readings, mostReadings))}
	damage := log.Readings(id, 0, 0, func(r *record.Reading) error {
		f.readings = append(f.readings, *r)
		return nil
	})
	f.events, err = log.Events(id)
	f.parse()
	return f, errors.Join(damage, err)
}

// parse lays out the plan, as far as its text can still be read.
func (f *firing) parse() {
	if p, err := profile.Parse(f.head.Profile); err == nil {
		f.prof = p
		f.plan = profile.Unroll(p, f.outlook(p))
	}
}

// outlook is how the plan looked at the start: the kiln is taken from the
// log, so an old firing is judged by the kiln it ran on.
func (f *firing) outlook(prof *profile.Profile) profile.Outlook {
	o := profile.Outlook{StartC: roomC, Start: f.head.Started.Local()}
	for _, r := range f.readings {
		if c := summary.ChamberC(f.head, r); c == c {
			o.StartC = c
			break
		}
	}
	if p, err := kiln.Load("kiln", []byte(f.head.Kiln)); err == nil {
		k := oven{p: p, env: p.Envelope(roomC)} // once: each call of Params.FullPowerRate runs the kiln anew
		o = k.outlook(o)
		if files, err := inside.ReadAll(f.head.Moulds); err == nil {
			// Moulds that no longer fit what calx knows only cost the length of
			// the holds that wait for them.
			_ = k.expect(files, prof, &o, f.head.Beliefs)
		}
	}
	return o
}

func (f *firing) summary() summary.Summary {
	s := summary.Summarise(f.head, f.readings, f.events)
	if len(f.head.Moulds) > 0 {
		s.Evidence = inside.KeptBasis(f.head.Beliefs)
	}
	if f.prof != nil {
		s = s.Planned(f.prof, f.plan)
	}
	return s
}

func (f *firing) chart(fahrenheit bool) chart.Firing {
	c := chart.FromRecords(f.head, f.readings, f.events)
	c.Start = c.Start.Local()
	c.Fahrenheit = fahrenheit
	c.Extra = insideCurves(f.head, f.readings)
	for i := range c.Events {
		c.Events[i].Label = withoutBounds(c.Events[i].Label)
	}
	if f.prof != nil {
		c.CeilingC, c.Plan = f.prof.CeilingC, chart.Plan(f.plan)
	}
	if f.head.Outcome == "" && len(f.readings) > 0 {
		c.Now = f.readings[len(f.readings)-1].Since
	}
	return c
}

// bounds are what follows the first comma of a sentence in quotes.
var bounds = regexp.MustCompile(`("hold until [^",]*),[^"]*"`)

// withoutBounds leaves the bounds out of a hold, so that a short line still has
// room for what came of it.
func withoutBounds(label string) string { return bounds.ReplaceAllString(label, `$1"`) }

// print shows the firing in the terminal: figures, then the curve.
func (f *firing) print(e *env, fahrenheit bool) error {
	if err := summary.WriteSummary(e.out, f.summary(), fahrenheit, e.color); err != nil {
		return err
	}
	e.printf("\n")
	c, o := f.chart(fahrenheit), e.sketch()
	o.Height += len(c.Extra) // what is added does not push out what happened
	return chart.Sketch(e.out, c, o)
}

// sketch sizes a sketch for this terminal.
func (e *env) sketch() chart.SketchOpts {
	return chart.SketchOpts{Width: min(e.width, 120), Height: min(max(e.height-2, 20), 32), Color: e.color, Unicode: unicode()}
}

// unicode reports whether the locale can show more than seven bits.
func unicode() bool {
	for _, v := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if s := os.Getenv(v); s != "" {
			return strings.Contains(strings.ToLower(strings.ReplaceAll(s, "-", "")), "utf8")
		}
	}
	return os.Getenv("TERM") != "linux"
}

// loadKiln reads a kiln file, or a shipped kiln by its name.
func loadKiln(name string) (text string, p kiln.Params, err error) {
	data, err := os.ReadFile(name)
	if err != nil {
		shipped, err2 := kiln.ShippedFile(name)
		if err2 != nil {
			return "", p, fmt.Errorf("kiln: there is no file %s, and no kiln of that name comes with calx; there are %s", name, strings.Join(kiln.Shipped(), ", "))
		}
		data = shipped
	}
	p, err = kiln.Load(name, data)
	return string(data), p, err
}

// loadProfile reads a profile file, or a shipped profile by its name.
func loadProfile(name string) (string, error) {
	data, err := os.ReadFile(name)
	if err == nil {
		return string(data), nil
	}
	text, err2 := profile.ShippedText(name)
	if err2 != nil {
		return "", fmt.Errorf("profile: there is no file %s, and no profile of that name comes with calx; there are %s", name, strings.Join(profile.Shipped(), ", "))
	}
	return text, nil
}

// hours words a duration as people read a firing: 13 h 20 min.
func hours(d time.Duration) string {
	m := int(d.Round(time.Minute) / time.Minute)
	switch {
	case m < 60:
		return fmt.Sprintf("%d min", m)
	case m%60 == 0:
		return fmt.Sprintf("%d h", m/60)
	}
	return fmt.Sprintf("%d h %02d min", m/60, m%60)
}

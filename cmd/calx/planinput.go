package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"calx/profile/plan"
	"calx/sim/kiln"
	"calx/sim/mould"
	"calx/sim/quantity"
)

// input turns the command into what a plan is made from.
func (c *planCmd) input(now time.Time) (plan.Input, error) {
	var in plan.Input
	conf, err := c.load()
	if err != nil && (c.Config != "" || c.Kiln == "") {
		return in, err
	}
	unitsInF := conf != nil && conf.Units == "F"
	in.Fahrenheit = c.fahrenheit(unitsInF)
	if err := c.numbers(&in); err != nil {
		return in, usageError{err}
	}
	if err := c.times(&in, now); err != nil {
		return in, usageError{err}
	}
	switch {
	case c.Kiln != "":
		_, in.Kiln, err = loadKiln(c.Kiln)
	case conf != nil:
		var k *oven
		if k, err = configuredOven(conf); err == nil {
			in.Kiln = k.p
		}
	default:
		return in, usageError{fmt.Errorf("no kiln to plan for: there is no calx.yaml here; name a kiln file with --kiln, or one that comes with calx: %s", strings.Join(kiln.Shipped(), ", "))}
	}
	files, err2 := loadMoulds(c.Moulds)
	for _, f := range files {
		in.Moulds = append(in.Moulds, f.Params)
	}
	if err := errors.Join(err, err2); err != nil { // all that is wrong with the files, at once
		return in, err
	}
	if len(files) == 0 {
		return in, usageError{errors.New("no mould to plan for: none stands for an empty kiln")}
	}
	return in, nil
}

// The usual flask temperature at the pour, °C: round in both units; common
// practice for bronze, no source.
const (
	usualPourC = 540
	usualPourF = 1000
)

func (c *planCmd) numbers(in *plan.Input) (err error) {
	if in.AmbientC, err = flagTemperature("--room", c.Room); err != nil {
		return err
	}
	switch c.PourTemp {
	case "none":
		if c.PourLimit != "" {
			return errors.New("--pour-limit is given, but --pour-temp is none; give the temperature of the flask at the pour")
		}
	case "":
		in.PourC = usualPourC
		if in.Fahrenheit {
			in.PourC = (usualPourF - 32) * 5 / 9.0
		}
	default:
		if in.PourC, err = flagTemperature("--pour-temp", c.PourTemp); err != nil {
			return err
		}
	}
	if c.PourLimit != "" {
		if in.LeastC, err = flagTemperature("--pour-limit", c.PourLimit); err != nil {
			return err
		}
	}
	if in.Clear, err = chance(c.Chance); err != nil {
		return err
	}
	if c.Price < 0 {
		return fmt.Errorf("--price is %g; it must be the price of a kilowatt-hour, such as 0.30", c.Price)
	}
	in.PricePerKWh, in.AirOn = c.Price, c.Air
	return nil
}

func flagTemperature(flag, text string) (float64, error) {
	var t quantity.Temperature
	if err := t.Parse(text); err != nil {
		return 0, fmt.Errorf("%s: %w", flag, err)
	}
	return float64(t), nil
}

// chance reads a percentage.
func chance(s string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(s, "%")), 64)
	const least, most = 50, 99.9
	if err != nil || !(v >= least && v <= most) {
		return 0, fmt.Errorf("--chance is %q; it must be a percentage from 50 to 99.9, such as 95", s)
	}
	return v / 100, nil
}

// times reads from when on and until when; a pour without a date is the first
// after the earliest start.
func (c *planCmd) times(in *plan.Input, now time.Time) (err error) {
	now = now.Truncate(time.Minute).Add(time.Minute) // nobody starts in the past
	in.Now = now
	if c.Earliest != "now" {
		if in.Now, err = clockTime("--earliest", c.Earliest, now); err != nil {
			return err
		}
	}
	if c.Pour == "" {
		return nil
	}
	in.PourAt, err = clockTime("--pour", c.Pour, in.Now)
	if err == nil && !in.PourAt.After(in.Now) {
		err = fmt.Errorf("--pour is %s, which is not after the earliest start, %s", day(in.PourAt), day(in.Now))
	}
	return err
}

// clockTime reads a point in local time, 24-hour clock: with a date, with the
// name of a day, or the next time the clock shows it after from.
func clockTime(flag, s string, from time.Time) (time.Time, error) {
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04"} {
		if t, err := time.ParseInLocation(layout, s, from.Location()); err == nil {
			return t, nil
		}
	}
	bad := fmt.Errorf("%s is %q; it must be a time such as 14:00, \"Sat 14:00\", \"tomorrow 14:00\" or \"2026-11-28 14:00\", 24-hour clock", flag, s)
	words := strings.Fields(s)
	if len(words) == 0 || len(words) > 2 {
		return from, bad
	}
	clock, err := time.Parse("15:04", words[len(words)-1])
	if err != nil {
		return from, bad
	}
	on := func(day int) time.Time {
		return time.Date(from.Year(), from.Month(), from.Day()+day, clock.Hour(), clock.Minute(), 0, 0, from.Location())
	}
	first := 0
	if !on(0).After(from) {
		first = 1
	}
	if len(words) == 1 {
		return on(first), nil
	}
	switch name := strings.ToLower(words[0]); name {
	case "today":
		return on(0), nil
	case "tomorrow":
		return on(1), nil
	default:
		const least, week = 3, 7
		for d := first; d < first+week; d++ {
			if long := strings.ToLower(on(d).Weekday().String()); len(name) >= least && strings.HasPrefix(long, name) {
				return on(d), nil
			}
		}
	}
	return from, bad
}

// mouldTitle names what is in the kiln: "2 × woody-pod-90, cone-150".
func mouldTitle(ms []mould.Params) string {
	var out []string
	for _, m := range ms {
		if m.Count > 1 {
			out = append(out, fmt.Sprintf("%d × %s", m.Count, m.Name))
			continue
		}
		out = append(out, m.Name)
	}
	return strings.Join(out, ", ")
}

// day words a point in time with its day: "Sat 28 Nov 14:00".
func day(t time.Time) string { return t.Format("Mon 2 Jan 15:04") }

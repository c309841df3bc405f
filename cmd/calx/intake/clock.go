package intake

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// clock turns the first column into times since the first row.
type clock struct {
	o     Options
	kind  string        // of Options.TimeUnit, once known
	begun bool          // there was a first row
	zero  time.Duration // of the first row, of times that only count
	first time.Time     // of the first row, of dates
	last  time.Duration // of a clock without a date
	days  time.Duration // midnights passed by it
}

// layouts of dates: ISO 8601 and its usual relatives, and the day first with
// points. With slashes and the year last nobody can tell day from month.
var layouts = []string{
	time.RFC3339Nano, "2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04:05 Z07:00", "2006-01-02T15:04Z07:00", "2006-01-02T15:04", "2006-01-02 15:04",
	"20060102T150405Z07:00", "20060102T150405", "2006/01/02 15:04:05", "2006/01/02 15:04", "2.1.2006 15:04:05", "2.1.2006 15:04",
}

func (c *clock) read(text string) (time.Duration, error) {
	if c.kind == "" {
		c.kind = c.o.TimeUnit
		if c.kind == "" {
			var err error
			if c.kind, err = kindOf(text); err != nil {
				return 0, err
			}
		}
	}
	if c.kind == "iso" {
		return c.date(text)
	}
	d, err := c.elapsed(text)
	if err != nil {
		return 0, err
	}
	if !c.begun {
		c.begun, c.zero = true, d
	}
	if c.kind == "hms" {
		const day, back = 24 * time.Hour, 12 * time.Hour
		if d < c.last-back { // a clock that passed midnight
			c.days += day
		}
		c.last = d
		d += c.days
	}
	return d - c.zero, nil
}

// kindOf finds out what the first time is, where that leaves no doubt.
func kindOf(text string) (string, error) {
	if _, err := parseDate(text, time.UTC); err == nil {
		return "iso", nil
	}
	if _, err := decimal(text, 0); err == nil {
		return "", fmt.Errorf("time: read %q, a number; say what it counts with --time-unit s, min or h", clip(text))
	}
	if _, err := hms(text); err == nil {
		return "hms", nil
	}
	return "", badDate(text)
}

func (c *clock) date(text string) (time.Duration, error) {
	zone := c.o.Zone
	if zone == nil {
		zone = time.UTC
	}
	t, err := parseDate(text, zone)
	if err != nil {
		return 0, err
	}
	if !c.begun {
		c.begun, c.first = true, t
	}
	return t.Sub(c.first), nil
}

func parseDate(text string, zone *time.Location) (time.Time, error) {
	text = strings.Replace(text, ",", ".", 1) // ISO 8601 allows either before a fraction
	for _, l := range layouts {
		if t, err := time.ParseInLocation(l, text, zone); err == nil {
			if y := t.Year(); y < 1970 || y > 2200 {
				return t, fmt.Errorf("time: read %q, in the year %d", clip(text), y)
			}
			return t, nil
		}
	}
	return time.Time{}, badDate(text)
}

func badDate(text string) error {
	return fmt.Errorf("time: read %q; it must be a date such as 2026-01-31 19:05:00, a clock such as 1:02:03, or a number with --time-unit", clip(text))
}

// elapsed reads a time that counts from some start.
func (c *clock) elapsed(text string) (time.Duration, error) {
	if c.kind == "hms" {
		return hms(text)
	}
	v, err := decimal(text, c.o.Decimal)
	if err != nil {
		return 0, fmt.Errorf("time: %w", err)
	}
	unit := map[string]float64{"ms": 1e-3, "s": 1, "min": 60, "h": 3600}[c.kind]
	s := v * unit
	const mostS = 1e10 // more seconds than three centuries; it may count from 1970
	if !(s >= -mostS && s <= mostS) {
		return 0, fmt.Errorf("time: read %q; it must be a number of %s", clip(text), c.kind)
	}
	return time.Duration(s*1e3+0.5) * time.Millisecond, nil
}

// hms reads 1:02:03, 1:02:03.5 or, as hours and minutes, 19:05.
func hms(text string) (time.Duration, error) {
	parts := strings.Split(strings.Replace(text, ",", ".", 1), ":")
	wrong := fmt.Errorf("time: read %q; it must be hours, minutes and seconds, such as 1:02:03", clip(text))
	if len(parts) != 2 && len(parts) != 3 {
		return 0, wrong
	}
	s := 0.0
	for i, p := range parts {
		v, err := strconv.ParseFloat(p, 64)
		if err != nil || !(v >= 0 && v < 60 || i == 0 && v >= 0 && v < 2000) || i < 2 && v != float64(int(v)) {
			return 0, wrong
		}
		s += v * [...]float64{3600, 60, 1}[i]
	}
	return time.Duration(s*1e3+0.5) * time.Millisecond, nil
}

package chart

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// tick is one labelled place on an axis.
type tick struct {
	at    float64 // in the axis's own unit; for time axes seconds since the start
	label string
}

// roundSteps are the distances between temperature labels that people count in.
var roundSteps = []float64{1, 2, 5, 10, 20, 50, 100, 200, 250, 500, 1000}

// roundStep is the smallest round step that puts at most n ticks over span.
func roundStep(span float64, n int) float64 {
	for _, s := range roundSteps {
		if span/s <= float64(max(n, 1)) {
			return s
		}
	}
	return math.Ceil(span/float64(max(n, 1))/1000) * 1000
}

// tempTicks labels [lo, hi] with at most about n round numbers.
func tempTicks(lo, hi float64, n int) []tick {
	step := roundStep(hi-lo, n)
	var out []tick
	for i := math.Ceil(lo / step); i*step <= hi; i++ {
		out = append(out, tick{i * step, strconv.Itoa(int(i * step))})
	}
	return out
}

// clockSteps are the distances between time labels; every one up to a day
// divides the day, so that midnight is always a tick.
var clockSteps = []time.Duration{
	time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 3 * time.Hour, 4 * time.Hour, 6 * time.Hour, 12 * time.Hour,
	24 * time.Hour, 48 * time.Hour, 96 * time.Hour, 192 * time.Hour, 384 * time.Hour,
}

func clockStep(span time.Duration, n int) time.Duration {
	for _, s := range clockSteps {
		if span/s <= time.Duration(max(n, 1)) {
			return s
		}
	}
	return (span/time.Duration(max(n, 1)) + 1).Truncate(time.Second) + time.Second
}

// hourTicks labels time since the start: whole hours, or h:mm below that.
func hourTicks(end time.Duration, n int) []tick {
	step := clockStep(end, n)
	var out []tick
	for t := time.Duration(0); t <= end; t += step {
		s := fmt.Sprintf("%d", int(t.Hours()))
		if step < time.Hour {
			s = fmt.Sprintf("%d:%02d", int(t.Hours()), int(t.Minutes())%60)
		}
		out = append(out, tick{t.Seconds(), s})
	}
	return out
}

// wallTicks labels the wall clock at the place start is in. Ticks stand on
// round local hours through a change to or from summer time; midnight carries
// the name of the day that begins.
func wallTicks(start time.Time, end time.Duration, n int) []tick {
	if start.IsZero() {
		return nil
	}
	step := clockStep(end, n)
	days := int(max(step/(24*time.Hour), 1))
	y, m, d := start.Date()
	last := start.Add(end)
	var out []tick
	for day := 0; ; day += days {
		midnight := time.Date(y, m, d+day, 0, 0, 0, 0, start.Location())
		if midnight.After(last) {
			return out
		}
		for of := time.Duration(0); of < 24*time.Hour; of += step {
			t := time.Date(y, m, d+day, int(of.Hours()), int(of.Minutes())%60, 0, 0, start.Location())
			skipped := t.Hour() != int(of.Hours()) // the hour that summer time leaves out
			if skipped || t.Before(start) || t.After(last) {
				continue
			}
			out = append(out, tick{t.Sub(start).Seconds(), clockLabel(t, of, step)})
		}
	}
}

func clockLabel(t time.Time, ofDay, step time.Duration) string {
	switch {
	case step >= 24*time.Hour:
		return t.Format("Mon 2")
	case ofDay == 0:
		return t.Format("Mon")
	}
	return t.Format("15:04")
}

// The layouts of the start in facts.
const (
	fullDate  = "Mon 2 Jan 2006 15:04 MST"
	quietDate = "Mon 2 Jan 15:04"
)

// facts is what stands beside the title: when, if a layout is given, how long,
// how hot.
func (f Firing) facts(layout string) string {
	var parts []string
	if layout != "" && !f.Start.IsZero() {
		parts = append(parts, f.Start.Format(layout))
	}
	if f.Now > 0 {
		parts = append(parts, "running for "+hoursMinutes(f.Now))
	} else if n := len(f.Points); n > 0 {
		parts = append(parts, hoursMinutes(f.Points[n-1].Since))
	}
	if p, ok := f.peak(); ok {
		d := degrees(f.Fahrenheit)
		parts = append(parts, fmt.Sprintf("peak %.0f %s", d.of(p.v), d))
	} else {
		parts = append(parts, "no readings yet")
	}
	return strings.Join(parts, " · ")
}

// hoursMinutes writes a duration as people say it: "20 h 12 min".
func hoursMinutes(d time.Duration) string {
	d = d.Round(time.Minute)
	h, m := int(d.Hours()), int(d.Minutes())%60
	switch {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %d min", h, m)
}

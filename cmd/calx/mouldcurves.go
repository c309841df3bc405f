package main

import (
	"fmt"
	"math"
	"time"

	"calx/cmd/calx/chart"
	"calx/cmd/calx/inside"
	"calx/cmd/calx/summary"
	"calx/storage/record"
)

// mouldNames are the names of what stood in the kiln; numbers where their files
// cannot be read any more.
func mouldNames(head record.Firing) []string {
	if files, err := inside.ReadAll(head.Moulds); err == nil {
		return inside.Names(files)
	}
	out := make([]string, len(head.Moulds))
	for i := range out {
		out[i] = fmt.Sprintf("mould %d", i+1)
	}
	return out
}

// insideEvery is how far apart the points of a curve of the inside are: as far
// as the observer's steps.
const insideEvery = 20 * time.Second

// insideCurves are the inside of the moulds over a firing: the core of every
// kind; of all together the wettest, the least burnt, and the chance.
func insideCurves(head record.Firing, readings []record.Reading) []chart.Series {
	names := mouldNames(head)
	var c insideSeries
	for i := range readings {
		r := &readings[i]
		if n := r.Moulds(); n == 0 || n != len(names) {
			continue
		}
		c.add(names, r, i == len(readings)-1, summary.GapAfter(head))
	}
	return c.all
}

// insideSeries are the curves in the making.
type insideSeries struct {
	all  []chart.Series
	last time.Duration // of the newest point
	seen time.Duration // of the newest reading
}

func (c *insideSeries) add(names []string, r *record.Reading, final bool, gapAfter time.Duration) {
	if c.all == nil {
		c.begin(names)
	} else if r.Since-c.seen >= gapAfter {
		c.put(c.seen+1, func(int) float64 { return math.NaN() })
	} else if r.Since-c.last < insideEvery && !final {
		c.seen = r.Since
		return
	}
	wet, burnt := 0.0, 1.0
	for i := range names {
		m := r.Mould(i)
		wet, burnt = max(wet, m.WaterLeft), min(burnt, m.Clear)
	}
	c.put(r.Since, func(i int) float64 {
		switch i - len(names) {
		case 0:
			return shown(wet)
		case 1:
			return shown(burnt)
		case 2:
			return shown(r.ClearChance())
		}
		return r.Mould(i).CoreC
	})
	c.seen, c.last = r.Since, r.Since
}

// shown is a share, or 0 for what is nothing in a drawing.
func shown(v float64) float64 {
	const least = 0.002
	if v < least {
		return 0
	}
	return v
}

func (c *insideSeries) begin(names []string) {
	for _, n := range names {
		name := "core"
		if len(names) > 1 {
			name += " " + n
		}
		c.all = append(c.all, chart.Series{Name: name})
	}
	for _, n := range []string{"water left", "burnt", "clear chance"} {
		c.all = append(c.all, chart.Series{Name: n, Fraction: true})
	}
}

func (c *insideSeries) put(at time.Duration, value func(i int) float64) {
	for i := range c.all {
		c.all[i].Samples = append(c.all[i].Samples, chart.Sample{Since: at, Value: value(i)})
	}
}

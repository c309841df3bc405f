package chart

import (
	"math"
	"time"
)

// dot is one value of a curve; NaN is a gap.
type dot struct {
	t time.Duration
	v float64
}

// decimate thins a curve to what n columns over [0, end] can show: of every
// column the first, the lowest, the highest and the last value, in order of
// time. Joined by straight lines they light the same pixels as the whole curve
// (Jugel, Jerzak, Hackenbroich and Markl, "M4: A Visualization-Oriented Time
// Series Data Aggregation", PVLDB 7(10), 2014). A gap at least one column wide
// stays, as a single NaN; a shorter one cannot be seen and is joined, and is
// left to gaps. Example: 72 000 readings on 900 columns give at most 3 600 dots.
func decimate(in []dot, end time.Duration, n int) []dot {
	width := max(end/time.Duration(max(n, 1)), 1)
	out := make([]dot, 0, min(len(in), 4*n))
	var c column
	last := time.Duration(-1)
	broken := false
	for _, d := range in {
		if math.IsNaN(d.v) {
			broken = true
			continue
		}
		gap := broken && last >= 0 && d.t-last >= width
		if gap || c.n > 0 && d.t/width != c.first.t/width {
			out = c.flush(out)
		}
		if gap {
			out = append(out, dot{last, math.NaN()})
		}
		c.add(d)
		last, broken = d.t, false
	}
	return c.flush(out)
}

// column gathers the values that share one column of pixels.
type column struct {
	n                     int
	first, low, high, end dot
}

func (c *column) add(d dot) {
	if c.n == 0 {
		*c = column{first: d, low: d, high: d}
	}
	if d.v < c.low.v {
		c.low = d
	}
	if d.v > c.high.v {
		c.high = d
	}
	c.end = d
	c.n++
}

// flush appends what the column keeps and empties it.
func (c *column) flush(out []dot) []dot {
	if c.n == 0 {
		return out
	}
	a, b := c.low, c.high
	if b.t < a.t {
		a, b = b, a
	}
	from := len(out)
	for _, d := range [...]dot{c.first, a, b, c.end} {
		if len(out) == from || out[len(out)-1] != d {
			out = append(out, d)
		}
	}
	c.n = 0
	return out
}

// runs splits a curve at its gaps.
func runs(in []dot) [][]dot {
	var out [][]dot
	from := 0
	for i, d := range in {
		if math.IsNaN(d.v) {
			if i > from {
				out = append(out, in[from:i])
			}
			from = i + 1
		}
	}
	if from < len(in) {
		out = append(out, in[from:])
	}
	return out
}

// stretch is a span of time without a value.
type stretch struct{ from, to time.Duration }

// gaps lists where a curve has no value, from the last good one to the next;
// stretches closer than near become one.
func gaps(in []dot, near time.Duration) []stretch {
	var out []stretch
	for i := 0; i < len(in); i++ {
		if !math.IsNaN(in[i].v) {
			continue
		}
		g := stretch{in[max(i-1, 0)].t, in[i].t}
		for i < len(in) && math.IsNaN(in[i].v) {
			g.to = in[i].t
			i++
		}
		if i < len(in) {
			g.to = in[i].t
		}
		if n := len(out); n > 0 && g.from-out[n-1].to < near {
			out[n-1].to = g.to
			continue
		}
		out = append(out, g)
	}
	return out
}

// level is what a quantity that holds until the next reading did within one
// column.
type level struct {
	low, high, mean float64 // NaN without any value
}

// levels spreads a sampled-and-held curve over n columns of [0, end]: each
// value counts for as long as it stood, and low and high miss none.
func levels(in []dot, end time.Duration, n int) []level {
	out := make([]level, n)
	weight := make([]float64, n)
	for i := range out {
		out[i] = level{low: math.NaN(), high: math.NaN(), mean: math.NaN()}
	}
	perColumn := float64(end) / float64(n)
	for i, d := range in {
		until := d.t + 1
		if i+1 < len(in) {
			until = max(in[i+1].t, until)
		}
		if math.IsNaN(d.v) {
			continue
		}
		a, b := float64(d.t)/perColumn, float64(until)/perColumn
		for c := max(int(a), 0); c < n && float64(c) < b; c++ {
			share := min(b, float64(c+1)) - max(a, float64(c))
			out[c].count(d.v, share, &weight[c])
		}
		if int(a) >= n { // a reading at the very end belongs to the last column
			out[n-1].count(d.v, b-a, &weight[n-1])
		}
	}
	return out
}

func (l *level) count(v, share float64, weight *float64) {
	if *weight == 0 {
		*l = level{v, v, v}
		*weight = share
		return
	}
	l.low, l.high = min(l.low, v), max(l.high, v)
	*weight += share
	l.mean += (v - l.mean) * share / *weight
}

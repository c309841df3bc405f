package profile

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// scale is the unit of a temperature, a difference or a rate.
type scale byte

const (
	celsius    scale = 'C'
	fahrenheit scale = 'F'
)

func scaleOf(isF bool) scale {
	if isF {
		return fahrenheit
	}
	return celsius
}

// toC converts a temperature: T_C = (T_F − 32)·5/9, exact by definition of the
// Fahrenheit scale (NIST SP 811, 2008, appendix B.8). 302 F is 150 °C.
func (u scale) toC(t float64) float64 {
	if u == fahrenheit {
		t = (t - 32) * 5 / 9
	}
	return onGrid(t)
}

// diffToC converts a difference or a rate: 5/9 only, no offset. 27 F is 15 K.
func (u scale) diffToC(d float64) float64 {
	if u == fahrenheit {
		d = d * 5 / 9
	}
	return onGrid(d)
}

// show writes a temperature in °C as a person would write it in this unit.
func (u scale) show(c float64) string {
	t := c
	if u == fahrenheit {
		t = c*9/5 + 32
	}
	return shortest(t, onGrid(c), u.toC) + " " + string(u)
}

// showDiff writes a difference in °C in this unit.
func (u scale) showDiff(c float64) string {
	d := c
	if u == fahrenheit {
		d = c * 9 / 5
	}
	return shortest(d, onGrid(c), u.diffToC) + " " + string(u)
}

// about writes a computed temperature, rounded to a whole degree.
func (u scale) about(c float64) string {
	if u == fahrenheit {
		c = c*9/5 + 32
	}
	return whole(c) + " " + string(u)
}

// aboutDiff writes a computed difference or rate, rounded to a whole degree.
func (u scale) aboutDiff(d float64) string {
	if u == fahrenheit {
		d = d * 9 / 5
	}
	return whole(d) + " " + string(u)
}

// perGrid is the number of grid steps in one unit: a millionth of a degree is
// far below anything measurable and far above the rounding error of the C to F
// conversion, which is what makes the round trip exact.
const perGrid = 1e6

// onGrid rounds to the grid. Adding 0 turns −0 into 0.
func onGrid(x float64) float64 { return math.Round(x*perGrid)/perGrid + 0 }

// gridDigits is enough decimals to name every grid value in either unit.
const gridDigits = 7

// shortest writes x with the fewest decimals that read back as want.
func shortest(x, want float64, back func(float64) float64) string {
	for n := range gridDigits {
		s := strconv.FormatFloat(x, 'f', n, 64)
		if v, err := strconv.ParseFloat(s, 64); err == nil && back(v) == want {
			return strings.TrimPrefix(s, negativeZero(s))
		}
	}
	return strconv.FormatFloat(x, 'f', gridDigits, 64)
}

// negativeZero gives the sign to strip from "-0" and "-0.00".
func negativeZero(s string) string {
	if strings.HasPrefix(s, "-") && strings.Trim(s, "-0.") == "" {
		return "-"
	}
	return ""
}

func whole(x float64) string { return strconv.FormatFloat(math.Round(x)+0, 'f', 0, 64) }

// tick is the grid of durations.
const tick = time.Millisecond

// seconds converts to a duration on the grid, saturating beyond what the
// checks accept so that they can refuse it.
func seconds(s float64) time.Duration {
	const far = 2 * maxTime
	switch {
	case !(s < far.Seconds()):
		return far
	case s < 0:
		return -tick
	}
	return time.Duration(math.Round(s*1000)) * tick
}

// span writes a duration as "2 h 30 min", "30 s" or "0 min".
func span(d time.Duration) string {
	d = d.Round(tick)
	var parts []string
	if h := d / time.Hour; h > 0 {
		parts = append(parts, strconv.FormatInt(int64(h), 10)+" h")
	}
	if m := d % time.Hour / time.Minute; m > 0 {
		parts = append(parts, strconv.FormatInt(int64(m), 10)+" min")
	}
	if s := d % time.Minute; s > 0 {
		parts = append(parts, strconv.FormatFloat(s.Seconds(), 'f', -1, 64)+" s")
	}
	if len(parts) == 0 {
		return "0 min"
	}
	return strings.Join(parts, " ")
}

// roughly rounds a computed duration for reading: to 5 min above 1 h, else to
// the minute.
func roughly(d time.Duration) string {
	if d > time.Hour {
		return span(d.Round(5 * time.Minute))
	}
	return span(d.Round(time.Minute))
}

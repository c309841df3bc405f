package plan

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// words writes figures for people: temperatures in their unit.
type words struct{ fahrenheit bool }

func (u words) unit() string {
	if u.fahrenheit {
		return " F"
	}
	return " C"
}

// temp writes a temperature in °C, to the degree.
func (u words) temp(c float64) string {
	if u.fahrenheit {
		c = c*9/5 + 32
	}
	return whole(c) + u.unit()
}

// diff writes a difference in K, to the degree.
func (u words) diff(k float64) string {
	if u.fahrenheit {
		k = k * 9 / 5
	}
	return whole(k) + u.unit()
}

// exact writes a difference in K to a tenth of a degree.
func (u words) exact(k float64) string {
	if u.fahrenheit {
		k = k * 9 / 5
	}
	return strconv.FormatFloat(math.Round(k*10)/10, 'f', -1, 64) + u.unit()
}

// span writes the range of a window.
func (u words) span(lowC, highC float64) string {
	return strings.TrimSuffix(u.temp(lowC), u.unit()) + " to " + u.temp(highC)
}

func (u words) rate(perH float64) string { return u.diff(perH) + "/h" }

func whole(x float64) string { return strconv.FormatFloat(math.Round(x)+0, 'f', 0, 64) }

// mass writes kilograms: 182 g, 1.54 kg.
func mass(kg float64) string {
	if kg < 0.9995 {
		return whole(kg*1000) + " g"
	}
	return strconv.FormatFloat(kg, 'f', 2, 64) + " kg"
}

// took writes a duration to the minute.
func took(d time.Duration) string {
	d = d.Round(time.Minute)
	h, m := d/time.Hour, d%time.Hour/time.Minute
	switch {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %d min", h, m)
}

func percent(p float64) string { return strconv.FormatFloat(math.Round(p*1000)/10, 'g', -1, 64) + " %" }

// index writes a steam index.
func index(v float64) string { return strconv.FormatFloat(v, 'g', 2, 64) }

// clock writes a moment: Sat 14:00, with the date when it is a week off.
func clock(t, now time.Time) string {
	const week = 6 * 24 * time.Hour
	if !now.IsZero() && t.Sub(now) < week {
		return t.Format("Mon 15:04")
	}
	return t.Format("Mon 2 Jan 15:04")
}

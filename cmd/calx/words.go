package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// SGR parameters of ECMA-48 (5th edition, 8.3.117), all from the sixteen
// colours that a terminal's own theme keeps legible.
const (
	bold   = "1"
	faint  = "2"
	red    = "31"
	green  = "32"
	yellow = "33"
)

// paint colours s where colour is wanted.
func (e *env) paint(sgr, s string) string { return paintIf(e.color, sgr, s) }

func paintIf(color bool, sgr, s string) string {
	if !color || sgr == "" || s == "" {
		return s
	}
	return "\x1b[" + sgr + "m" + s + "\x1b[0m"
}

// seconds is a duration of JSON.
func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// inUnit is a temperature in the unit shown.
func inUnit(c float64, fahrenheit bool) float64 {
	if fahrenheit {
		return c*9/5 + 32
	}
	return c
}

// degree is the unit shown.
func degree(fahrenheit bool) string {
	if fahrenheit {
		return "°F"
	}
	return "°C"
}

// wholeTemperature words a temperature without decimals.
func wholeTemperature(c float64, fahrenheit bool) string {
	return fmt.Sprintf("%.0f %s", inUnit(c, fahrenheit), degree(fahrenheit))
}

// difference words a difference of temperatures: no offset in °F.
func difference(c float64, decimals int, fahrenheit bool) string {
	if fahrenheit {
		c *= 9.0 / 5
	}
	return fmt.Sprintf("%.*f %s", decimals, c, degree(fahrenheit))
}

// printable drops what would move the cursor or change colours: names and
// notices may come from elsewhere.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\t' || r == '\n':
			return ' '
		case !strconv.IsPrint(r):
			return -1
		}
		return r
	}, s)
}

// span words a duration with seconds where they matter: 40 s, 12 min, 2 h 05 min.
func span(d time.Duration) string {
	if d = d.Round(time.Second); d < 2*time.Minute {
		return fmt.Sprintf("%d s", int(d/time.Second))
	}
	return hours(d)
}

// wrap breaks s so that it fits a terminal of that width when every line but
// the first is indented and the first begins as far in.
func wrap(s string, width, indent int) string {
	var b strings.Builder
	used := indent
	for i, w := range strings.Fields(s) {
		n := utf8.RuneCountInString(w)
		switch {
		case i == 0:
		case used+1+n > width:
			b.WriteString("\n" + strings.Repeat(" ", indent))
			used = indent
		default:
			b.WriteByte(' ')
			used++
		}
		b.WriteString(w)
		used += n
	}
	return b.String()
}

// kWh words an energy: two decimals where one would hide it.
func kWh(v float64) string {
	if v < 1 {
		return fmt.Sprintf("%.2f kWh", v)
	}
	return fmt.Sprintf("%.1f kWh", v)
}

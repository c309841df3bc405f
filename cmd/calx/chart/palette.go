package chart

import (
	"image/color"
	"math"

	"calx/storage/record"
)

const fullTurn = 2 * math.Pi

// The palette: warm paper, dark ink, one deep and one warm curve. Measured and
// planned differ in lightness and width as well as hue, so they stay apart for
// every kind of colour vision and in grey; severities differ in shape as well.
var (
	paper    = rgb(0xFCFBF8)
	ink      = rgb(0x24292E)
	muted    = rgb(0x5D646B)
	rule     = rgb(0xE5E2DB) // grid
	edge     = rgb(0xA9A69F) // frames and ticks
	deep     = rgb(0x0C3F63) // measured
	ochre    = rgb(0xC68118) // setpoint
	reed     = rgb(0x6F6850) // the plan as made at the start
	slate    = rgb(0x7F93A8) // duty
	haze     = rgb(0xD3DCE4) // duty, lowest to highest
	madder   = rgb(0xA3243B) // ceiling and alarms
	umber    = rgb(0x8A5A00) // warnings
	blank    = rgb(0xEBD9D2) // no reading
	pending  = rgb(0x3B6E57) // now
	extraInk = []color.NRGBA{rgb(0x7A3E8E), rgb(0x3B6E57), rgb(0x9C5221), rgb(0x4C4C4C)}
)

func rgb(hex uint32) color.NRGBA {
	return color.NRGBA{R: uint8(hex >> 16), G: uint8(hex >> 8), B: uint8(hex), A: 0xff}
}

// extraPen sets further curves apart by dashes as well as by colour.
func extraPen(i int, u float64) pen {
	dashes := [][]float64{{0.5, 0.25}, {0.15, 0.2}, {0.8, 0.2, 0.15, 0.2}, nil}[i%len(extraInk)]
	p := pen{color: extraInk[i%len(extraInk)], width: 0.11 * u}
	for _, d := range dashes {
		p.dashes = append(p.dashes, d*u)
	}
	return p
}

// markInk is the colour of an event.
func markInk(v record.Severity) color.NRGBA {
	switch v {
	case record.Alarm:
		return madder
	case record.Warn:
		return umber
	}
	return muted
}

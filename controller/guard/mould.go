package guard

import (
	"fmt"

	"calx/controller/notice"
)

// Inside is what the observer says of the moulds.
type Inside struct {
	Known bool    // there are moulds, and they are followed
	Water float64 // free water left in the wettest, 0..1
	Char  float64 // char left in the worst piece, of its dry mass, 0..1
}

const (
	someWater = 0.02
	someChar  = 0.005
	// Up to charC gypsum-bonded investment bears char. Above, it gives off
	// sulfur dioxide, and breaks down (common practice; 730 °C).
	charC, charOverC, charMostC, charForS = 730, 5, 25, 60
	// Free water boils between these, °C, at the surface and, later, in the
	// core; and this fast, °C/h, a chamber may rise meanwhile before steam lifts
	// the wall (common practice, no source).
	steamFromC, steamToC, steamCPerH = 95, 180, 240
	// Cristobalite and quartz invert between these, °C, and lengthen: faster
	// than this, °C/h, a wall cracks (common practice, no source).
	lowFromC, lowToC, highFromC, highToC, invertCPerH = 200, 280, 550, 600, 420
	overRateS                                         = 300
)

// aboveChar keeps the heat off above what the investment bears while char is
// left.
func aboveChar(l *Limits, h *History) Finding {
	if !h.Inside.Known || h.Inside.Char < someChar || !h.Believed() || h.HotC <= charC+charOverC {
		return Finding{}
	}
	v := Withhold
	if h.AboveCharS >= charForS {
		v = Trip
	}
	return Finding{v, notice.CharLeft, fmt.Sprintf("the chamber is at %s, and %.1f %% of the pattern is left as char: above %s the investment breaks down in it",
		l.temp(h.HotC), h.Inside.Char*100, l.temp(charC))}
}

// tooFast keeps the heat off when the chamber rises through steam or an
// inversion faster than a mould bears, whatever the profile asks for.
func tooFast(l *Limits, h *History) Finding {
	rise, ok := h.rise(overRateS)
	if !h.Inside.Known || !ok || !h.Believed() {
		return Finding{}
	}
	perH := rise * 3600 / overRateS
	in := func(from, to float64) bool { return h.HotC >= from && h.HotC < to }
	switch {
	case h.Inside.Water >= someWater && in(steamFromC, steamToC) && perH > steamCPerH:
		return Finding{Withhold, notice.SteamFast, fmt.Sprintf("the chamber rises by %s/h at %s, and %.0f %% of the free water is left", l.delta(perH), l.temp(h.HotC), h.Inside.Water*100)}
	case (in(lowFromC, lowToC) || in(highFromC, highToC)) && perH > invertCPerH:
		return Finding{Withhold, notice.InvertFast, fmt.Sprintf("the chamber rises by %s/h at %s, where silica inverts", l.delta(perH), l.temp(h.HotC))}
	}
	return Finding{}
}

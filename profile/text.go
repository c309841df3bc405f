package profile

import (
	"fmt"
	"strings"
)

// String writes the profile in the language: the ceiling first, then one step
// a line, every value in the unit the person wrote. Comments are not kept.
// Parse reads it back as the same profile, apart from Line, when the profile
// is a valid one.
func (p *Profile) String() string {
	var b strings.Builder
	u := scaleOf(p.Fahrenheit)
	if p.CeilingC != 0 {
		b.WriteString("never above " + u.show(p.CeilingC) + "\n")
	}
	for _, s := range p.Steps {
		b.WriteString(sentenceOf(s, u) + "\n")
	}
	return b.String()
}

// Sentence writes step i, from 0, in the profile's unit: `hold 2 h`. It is
// empty when there is no such step.
func (p *Profile) Sentence(i int) string {
	if i < 0 || i >= len(p.Steps) {
		return ""
	}
	return sentenceOf(p.Steps[i], scaleOf(p.Fahrenheit))
}

// Sentence writes one step in °C, for places that have no profile at hand.
func Sentence(s Step) string { return sentenceOf(s, celsius) }

func sentenceOf(s Step, u scale) string {
	switch s.Kind {
	case Heat, Cool:
		return verb(s.Kind) + " to " + u.show(s.TargetC) + paceOf(s, u)
	case Hold:
		return "hold " + endOf(s, u) + boundsOf(s)
	case Wait:
		return "wait until below " + u.show(s.TargetC)
	case Air:
		if s.On {
			return "air on"
		}
		return "air off"
	case Tell:
		return "tell " + quote(s.Message)
	}
	return "unknown step"
}

func verb(k Kind) string {
	if k == Cool {
		return "cool"
	}
	return "heat"
}

func paceOf(s Step, u scale) string {
	switch s.Pace {
	case ByRate:
		return " at " + u.showDiff(s.RateCPerH) + "/h"
	case InTime:
		return " in " + span(s.For)
	case Fastest:
		return " as fast as possible"
	case Unpowered:
		return " unpowered"
	}
	return ""
}

func endOf(s Step, u scale) string {
	switch s.Until {
	case Elapsed:
		return span(s.For)
	case ClockTime:
		return "until " + timeOfDay(s)
	case UntilDry:
		return "until dry"
	case UntilCore:
		return "until core within " + u.showDiff(s.WithinC)
	case UntilClear:
		return "until clear " + percentOf(s.Clear)
	case UntilStopped:
		return "until stopped"
	case UntilDoor:
		return "until door opens"
	}
	return "until"
}

func boundsOf(s Step) string {
	out := ""
	if s.AtLeast != 0 {
		out += ", at least " + span(s.AtLeast)
	}
	if s.AtMost != 0 {
		out += ", at most " + span(s.AtMost)
	}
	return out
}

func timeOfDay(s Step) string { return fmt.Sprintf("%02d:%02d", s.Hour, s.Minute) }

func percentOf(p float64) string {
	back := func(x float64) float64 { return onGrid(x / 100) }
	return shortest(p*100, onGrid(p), back) + "%"
}

// spell writes one part of a step, for complaints about a step without text.
func (s placed) spell(p part) string {
	switch p {
	case partTarget:
		return s.unit.show(s.TargetC)
	case partRate:
		return s.unit.showDiff(s.RateCPerH) + "/h"
	case partFor:
		return span(s.For)
	case partUntil:
		return strings.TrimPrefix(endOf(s.Step, s.unit), "until ")
	case partWithin:
		return s.unit.showDiff(s.WithinC)
	case partClear:
		return percentOf(s.Clear)
	case partClock:
		return timeOfDay(s.Step)
	case partAtLeast:
		return "at least " + span(s.AtLeast)
	case partAtMost:
		return "at most " + span(s.AtMost)
	case partMessage:
		return s.Message
	}
	return sentenceOf(s.Step, s.unit)
}

package profile

import (
	"strings"

	"github.com/alecthomas/participle/v2/lexer"
)

// part is a piece of a sentence that a complaint can point at.
type part uint8

const (
	partSentence part = iota
	partTarget
	partRate
	partPace
	partFor
	partUntil
	partWithin
	partClear
	partClock
	partAtLeast
	partAtMost
	partMessage
)

// spot is where a part stands, what it reads and its unit.
type spot struct {
	col  int
	got  string
	unit scale
}

// placed is a step with what is needed to complain about it. Kind 0 marks a
// line that could not be read.
type placed struct {
	Step
	index int           // in the profile, from 0; used when Line is 0
	unit  scale         // for parts without a spot
	marks map[part]spot // nil when the step did not come from text
}

// fault complains about a part.
func (s placed) fault(p part, want string) *Error {
	if s.Line == 0 || s.marks == nil {
		return &Error{Line: s.Line, Step: s.index + 1, Got: s.spell(p), Want: want}
	}
	m, ok := s.marks[p]
	if !ok {
		m = s.marks[partSentence]
	}
	return &Error{Line: s.Line, Col: m.col, Got: m.got, Want: want}
}

// show writes a temperature in the unit that part was written in.
func (s placed) show(p part, c float64) string { return s.scaleAt(p).show(c) }

func (s placed) scaleAt(p part) scale {
	if u := s.marks[p].unit; u != 0 {
		return u
	}
	return s.unit
}

// builder turns a sentence into a step.
type builder struct {
	line    string
	out     placed
	ceiling bool
	unit    scale // first unit in the sentence; 0 for none
	err     *Error
}

func (b *builder) mark(p part, e extent, u scale) {
	at := placeError(b.line, 0, e)
	b.out.marks[p] = spot{at.Col, at.Got, u}
	if b.unit == 0 {
		b.unit = u
	}
}

// over gives the extent of a run of tokens.
func over(ts []lexer.Token) extent {
	e := from(&ts[0])
	for i := range ts {
		if !ts[i].EOF() {
			e.to(&ts[i])
		}
	}
	return e
}

func (b *builder) sentence(s *sentence, ts tokens) {
	b.mark(partSentence, over(ts), 0)
	o := &b.out
	switch {
	case s.Never != nil:
		b.ceiling = true
		b.target(*s.Never)
	case s.Heat != nil:
		o.Kind = Heat
		b.move(s.Heat)
	case s.Cool != nil:
		o.Kind = Cool
		b.move(s.Cool)
	case s.Hold != nil:
		o.Kind = Hold
		b.hold(s.Hold)
	case s.Wait != nil:
		o.Kind = Wait
		b.target(*s.Wait)
	case s.Tell != nil:
		o.Kind, o.Message = Tell, s.Tell.text
		b.mark(partMessage, s.Tell.extent, 0)
	default:
		o.Kind, o.On = Air, strings.EqualFold(s.Air, "on")
	}
}

func (b *builder) target(t temperature) {
	b.out.TargetC = t.c
	b.mark(partTarget, t.extent, t.unit)
}

func (b *builder) move(m *move) {
	b.target(m.To)
	o := &b.out
	switch {
	case m.Rate != nil:
		o.Pace, o.RateCPerH = ByRate, m.Rate.cPerH
		b.mark(partRate, m.Rate.extent, m.Rate.unit)
	case m.In != nil:
		o.Pace, o.For = InTime, m.In.d
		b.mark(partFor, m.In.extent, 0)
	case m.Fastest:
		o.Pace = Fastest
	default:
		o.Pace = Unpowered
		b.mark(partPace, from(&m.Tokens[len(m.Tokens)-1]), 0)
	}
}

func (b *builder) hold(h *hold) {
	o := &b.out
	if h.For != nil {
		o.Until, o.For = Elapsed, h.For.d
		b.mark(partFor, h.For.extent, 0)
	} else {
		b.until(h.Until)
	}
	for i := range h.Bounds {
		b.bound(&h.Bounds[i])
	}
}

func (b *builder) until(u *until) {
	o := &b.out
	b.mark(partUntil, over(u.Tokens), 0)
	switch {
	case u.Dry:
		o.Until = UntilDry
	case u.Core != nil:
		o.Until, o.WithinC = UntilCore, u.Core.c
		b.mark(partWithin, u.Core.extent, u.Core.unit)
	case u.Clear != nil:
		o.Until, o.Clear = UntilClear, u.Clear.p
		b.mark(partClear, u.Clear.extent, 0)
	case u.Stopped:
		o.Until = UntilStopped
	case u.Door:
		o.Until = UntilDoor
	default:
		o.Until, o.Hour, o.Minute = ClockTime, u.Clock.hour, u.Clock.minute
		b.mark(partClock, u.Clock.extent, 0)
	}
}

// bound files "at least" or "at most", each once.
func (b *builder) bound(w *bound) {
	p, name, d := partAtMost, "at most", &b.out.AtMost
	if w.Least {
		p, name, d = partAtLeast, "at least", &b.out.AtLeast
	}
	if _, again := b.out.marks[p]; again && b.err == nil {
		b.err = placeError(b.line, b.out.Line, over(w.Tokens))
		b.err.Want = `says "` + name + `" a second time; keep one`
	}
	*d = w.Time.d
	b.mark(p, over(w.Tokens), 0)
}

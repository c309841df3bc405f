package profile

import (
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/alecthomas/participle/v2"
	"github.com/alecthomas/participle/v2/lexer"
)

// timeUnits are the accepted names of the units of time, in small letters.
var timeUnits = map[string]time.Duration{
	"h": time.Hour, "hr": time.Hour, "hrs": time.Hour, "hour": time.Hour, "hours": time.Hour,
	"min": time.Minute, "mins": time.Minute, "minute": time.Minute, "minutes": time.Minute,
	"s": time.Second, "sec": time.Second, "secs": time.Second, "second": time.Second, "seconds": time.Second,
}

// length is a duration such as "2 h 30 min" or "1 1/2 h".
type length struct {
	extent
	d time.Duration
}

// Parse reads the value for the grammar.
func (v *length) Parse(lex *lexer.PeekingLexer) error {
	v.extent = from(lex.Peek())
	total, last := 0.0, time.Duration(math.MaxInt64)
	for first := true; first || lex.Peek().Type == number; first = false {
		x, e, err := readMixed(lex)
		if err != nil {
			return err
		}
		t := lex.Peek()
		u, ok := timeUnits[strings.ToLower(t.Value)]
		switch {
		case x < 0:
			return &slip{extent: e, want: "is below zero; a time counts forward, such as 2 h"}
		case !ok && t.Type == word && !keywords[strings.ToLower(t.Value)]:
			e.to(t)
			return &slip{extent: e, want: "is not in h, min or s; write it like 2 h 30 min"}
		case !ok:
			return &slip{extent: e, want: "is that h, min or s? write it like 2 h or 30 min"}
		case u >= last:
			e.to(t)
			return &slip{extent: e, want: "comes out of order; write hours, then minutes, then seconds, each once"}
		}
		v.to(lex.Next())
		total, last = total+float64(x*u.Seconds()), u
	}
	v.d = seconds(total)
	return nil
}

// readMixed takes "1.5", "1/2" or "1 1/2".
func readMixed(lex *lexer.PeekingLexer) (float64, extent, error) {
	x, e, err := readNumber(lex, "a duration belongs here, such as 2 h, 90 min or 1 1/2 h")
	if err != nil {
		return 0, e, err
	}
	if lex.Peek().Value == "/" {
		return readBelow(lex, x, e)
	}
	before := lex.MakeCheckpoint()
	if lex.Peek().Type != number {
		return x, e, nil
	}
	top, _, err := readNumber(lex, "")
	if err != nil || lex.Peek().Value != "/" {
		lex.LoadCheckpoint(before)
		return x, e, nil
	}
	part, e, err := readBelow(lex, top, e)
	return x + part, e, err
}

// readBelow takes the "/2" of a fraction.
func readBelow(lex *lexer.PeekingLexer, top float64, e extent) (float64, extent, error) {
	e.to(lex.Next())
	below, b, err := readNumber(lex, "a fraction is written like 1/2")
	if err != nil {
		return 0, e, err
	}
	e.end = b.end
	if !(below > 0) || top < 0 {
		return 0, e, &slip{extent: e, want: "is not a fraction of a time; write it like 1/2"}
	}
	return top / below, e, nil
}

// clock is "14:00".
type clock struct {
	extent
	hour, minute int
}

// Parse reads the value for the grammar; it leaves words to the other ends of
// a hold.
func (v *clock) Parse(lex *lexer.PeekingLexer) error {
	t := lex.Peek()
	h, m, found := strings.Cut(t.Value, ":")
	v.extent = from(t)
	switch {
	case t.Type == number:
		return &slip{extent: v.extent, want: "is not a time of day; write it on the 24-hour clock like 14:00"}
	case t.Type != clockTime || !found:
		return participle.NextMatch
	}
	v.hour, _ = strconv.Atoi(h) // the lexer lets only digits through
	v.minute, _ = strconv.Atoi(m)
	lex.Next()
	return nil
}

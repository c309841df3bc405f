package profile

import (
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/alecthomas/participle/v2/lexer"
)

// The leaves of the grammar: values with units. They are read by hand because
// only here is it known what a half-written value most likely meant.

// extent is where a value stands in its line, in bytes.
type extent struct{ start, end int }

// to stretches the extent over a token.
func (e *extent) to(t *lexer.Token) { e.end = t.Pos.Offset + len(t.Value) }

func from(t *lexer.Token) extent {
	return extent{t.Pos.Offset, t.Pos.Offset + len(t.Value)}
}

// slip is a complaint about a stretch of the line.
type slip struct {
	extent
	want  string
	guess bool // a misspelt keyword is likely
}

func (s *slip) Error() string { return s.want }

// scales are the accepted names of the units, in small letters.
var scales = map[string]scale{
	"c": celsius, "°c": celsius, "ºc": celsius, "℃": celsius, "degc": celsius, "celsius": celsius,
	"f": fahrenheit, "°f": fahrenheit, "ºf": fahrenheit, "℉": fahrenheit, "degf": fahrenheit, "fahrenheit": fahrenheit,
}

// degreeWords may stand alone before C or F.
var degreeWords = map[string]bool{"°": true, "º": true, "deg": true, "degree": true, "degrees": true}

// readNumber takes a plain decimal number; need says what it is for.
func readNumber(lex *lexer.PeekingLexer, need string) (float64, extent, error) {
	t := lex.Peek()
	switch t.Type {
	case number:
	case decimalComma:
		return 0, extent{}, &slip{extent: from(t), want: "numbers take a point and no comma; write " +
			strings.ReplaceAll(t.Value, ",", ".") + ", or leave the comma out if it marks thousands"}
	default:
		return 0, extent{}, &slip{extent: from(t), want: need, guess: true}
	}
	v, err := strconv.ParseFloat(strings.Replace(t.Value, "−", "-", 1), 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, extent{}, &slip{extent: from(t), want: "is too large a number"}
	}
	lex.Next()
	return v, from(t), nil
}

// readScale takes C or F behind a number that stands at e.
func readScale(lex *lexer.PeekingLexer, e *extent, value float64) (scale, error) {
	degree := degreeWords[strings.ToLower(lex.Peek().Value)]
	if degree {
		e.to(lex.Next())
	}
	t := lex.Peek()
	if u, ok := scales[strings.ToLower(t.Value)]; ok {
		e.to(lex.Next())
		return u, nil
	}
	n := strconv.FormatFloat(value, 'f', -1, 64)
	write := "write " + n + " C or " + n + " F"
	if t.Type == word && !keywords[strings.ToLower(t.Value)] {
		e.to(t)
		return 0, &slip{extent: *e, want: "is not in C or F; " + write}
	}
	return 0, &slip{extent: *e, want: "is that C or F? " + write}
}

// temperature is "150 C".
type temperature struct {
	extent
	c    float64
	unit scale
}

// Parse reads the value for the grammar.
func (v *temperature) Parse(lex *lexer.PeekingLexer) error {
	x, e, err := readNumber(lex, "a temperature belongs here, such as 150 C or 302 F")
	if err != nil {
		return err
	}
	u, err := readScale(lex, &e, x)
	*v = temperature{e, u.toC(x), u}
	return err
}

// difference is "15 C" that is not a point on the scale.
type difference struct {
	extent
	c    float64
	unit scale
}

// Parse reads the value for the grammar.
func (v *difference) Parse(lex *lexer.PeekingLexer) error {
	x, e, err := readNumber(lex, "a difference belongs here, such as 15 C or 27 F")
	if err != nil {
		return err
	}
	u, err := readScale(lex, &e, x)
	*v = difference{e, u.diffToC(x), u}
	return err
}

// rate is "60 C/h", "3 F/min" or "60 C per hour".
type rate struct {
	extent
	cPerH float64
	unit  scale
}

// Parse reads the value for the grammar.
func (v *rate) Parse(lex *lexer.PeekingLexer) error {
	x, e, err := readNumber(lex, "a rate belongs here, such as 60 C/h or 3 F/min")
	if err != nil {
		return err
	}
	v.extent = e
	if v.unit, err = readScale(lex, &v.extent, x); err != nil {
		return err
	}
	n := strconv.FormatFloat(x, 'f', -1, 64) + " " + string(v.unit)
	wrong := "a rate is per hour or per minute; write " + n + "/h or " + n + "/min"
	per := lex.Peek()
	if per.Value != "/" && !strings.EqualFold(per.Value, "per") {
		return &slip{extent: v.extent, want: wrong}
	}
	v.to(lex.Next())
	t := lex.Peek()
	every := timeUnits[strings.ToLower(t.Value)]
	if t.Type == word {
		v.to(lex.Next())
	}
	if every < time.Minute {
		return &slip{extent: v.extent, want: wrong}
	}
	v.cPerH = v.unit.diffToC(x * float64(time.Hour/every))
	return nil
}

// percent is "95%".
type percent struct {
	extent
	p float64 // 0..1
}

// Parse reads the value for the grammar.
func (v *percent) Parse(lex *lexer.PeekingLexer) error {
	x, e, err := readNumber(lex, "a percentage belongs here, such as 95%")
	if err != nil {
		return err
	}
	t := lex.Peek()
	if t.Value != "%" && !strings.EqualFold(t.Value, "percent") {
		return &slip{extent: e, want: "is missing its %; write the chance that the pattern is clear like 95%"}
	}
	e.to(lex.Next())
	*v = percent{e, onGrid(x / 100)}
	return nil
}

package profile

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/alecthomas/participle/v2/lexer"
)

// Limits of a text: far above any real firing, low enough that a wrong file is
// refused at once.
const (
	maxText  = 1 << 20 // bytes; 500 of the longest lines fit
	maxLines = 2000
	maxLine  = 500 // characters; a message of 200, each escaped, fits
	maxSteps = 500
)

// Parse reads a profile. On failure it returns no profile and an Errors with
// everything that is wrong, in line order: each line is read by itself, so one
// bad line hides no other.
func Parse(text string) (*Profile, error) {
	if len(text) > maxText {
		return nil, Errors{{Line: 1, Want: fmt.Sprintf("the text is %d kB long; "+
			"a profile has at most %d kB, is this the right file?", len(text)>>10, maxText>>10)}}
	}
	r, all := &reader{}, lines(text)
	if len(all) > maxLines {
		return nil, Errors{{Line: maxLines + 1, Want: fmt.Sprintf("the text has %d lines; "+
			"a profile has at most %d, is this the right file?", len(all), maxLines)}}
	}
	for i, line := range all {
		r.line(line, i+1)
	}
	if r.steps() == 0 && len(r.errs) == 0 {
		r.errs = append(r.errs, &Error{Line: 1, Want: "there is no step here; " +
			`write at least one, such as "heat to 150 C at 60 C/h"`})
	}
	r.errs = append(r.errs, check(r.ceiling, r.placed)...)
	if len(r.errs) > 0 {
		slices.SortStableFunc(r.errs, func(a, b *Error) int {
			return cmp.Or(a.Line-b.Line, a.Col-b.Col)
		})
		return nil, r.errs
	}
	return r.profile(), nil
}

// lines splits at any of the three line ends, without a byte order mark.
func lines(text string) []string {
	text = strings.TrimPrefix(text, "\uFEFF")
	return strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text), "\n")
}

// reader gathers a profile line by line.
type reader struct {
	ceiling *placed // nil until there is one
	placed  []placed
	unit    scale // of the first value with a unit; 0 until then
	errs    Errors
}

func (r *reader) steps() int { return len(r.placed) }

// line reads one line into a step, the ceiling or an error.
func (r *reader) line(line string, no int) {
	switch {
	case !utf8.ValidString(line):
		r.bad(&Error{Line: no, Want: "is not plain UTF-8 text; save the file as UTF-8"})
		return
	case utf8.RuneCountInString(line) > maxLine:
		r.bad(&Error{Line: no, Want: fmt.Sprintf("is longer than %d characters; "+
			"write one short sentence a line", maxLine)})
		return
	}
	ts, err := cut(line)
	if err == nil && ts[0].EOF() {
		return
	}
	var s *sentence
	if err == nil {
		s, err = read(ts)
	}
	if err != nil {
		r.bad(explain(err, line, no, ts))
		return
	}
	b := builder{line: line, out: placed{Step: Step{Line: no}, unit: celsius, marks: map[part]spot{}}}
	b.sentence(s, ts)
	if r.unit == 0 {
		r.unit = b.unit
	}
	r.keep(b)
}

// bad notes a line that is no step; what stands before it is then unknown.
func (r *reader) bad(e *Error) {
	r.errs = append(r.errs, e)
	r.placed = append(r.placed, placed{})
}

// keep files a finished sentence.
func (r *reader) keep(b builder) {
	switch {
	case b.err != nil:
		r.bad(b.err)
	case !b.ceiling:
		if r.steps() == maxSteps {
			r.errs = append(r.errs, b.out.fault(partSentence,
				fmt.Sprintf("is step %d; a profile has at most %d", maxSteps+1, maxSteps)))
		}
		r.placed = append(r.placed, b.out)
	case r.ceiling != nil:
		r.errs = append(r.errs, b.out.fault(partTarget, fmt.Sprintf(
			"is a second ceiling, line %d already says %s; keep one",
			r.ceiling.Line, r.ceiling.show(partTarget, r.ceiling.TargetC))))
	default:
		r.ceiling = &b.out
	}
}

func (r *reader) profile() *Profile {
	p := &Profile{Fahrenheit: r.unit == fahrenheit}
	if r.ceiling != nil {
		p.CeilingC = r.ceiling.TargetC
	}
	for _, s := range r.placed {
		p.Steps = append(p.Steps, s.Step)
	}
	return p
}

// read runs the grammar over one line.
func read(ts tokens) (*sentence, error) {
	rest := ts
	lex, err := lexer.Upgrade(&rest)
	if err != nil {
		return nil, err
	}
	return parser.ParseFromLexer(lex)
}

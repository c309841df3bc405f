package profile

import (
	"fmt"
	"strings"
	"unicode"
)

// Error is one thing wrong with a profile. Its text reads
//
//	line 4, column 9: read "800 C": is above your ceiling of 735 C; write …
type Error struct {
	Line int    // line in the text, from 1; 0 when the profile did not come from text
	Step int    // step it is about, from 1; 0 when it is about none
	Col  int    // column in characters, from 1; 0 when unknown
	Got  string // what was read; empty when the line ended too early
	Want string // what is wrong with it and what would be right
}

// Error names the place, what was read and what would be right.
func (e *Error) Error() string {
	read := "the line ends too early"
	switch {
	case strings.HasPrefix(e.Got, `"`): // it brings its own quotes
		read = `read ` + clip(e.Got)
	case e.Got != "":
		read = `read "` + clip(e.Got) + `"`
	case e.Col == 0:
		return e.place() + e.Want
	}
	return e.place() + read + ": " + e.Want
}

func (e *Error) place() string {
	switch {
	case e.Line > 0 && e.Col > 0:
		return fmt.Sprintf("line %d, column %d: ", e.Line, e.Col)
	case e.Line > 0:
		return fmt.Sprintf("line %d: ", e.Line)
	case e.Step > 0:
		return fmt.Sprintf("step %d: ", e.Step)
	}
	return ""
}

// clipAt keeps a quoted piece of text readable in a message.
const clipAt = 40

// clip shortens s and replaces what would upset a terminal.
func clip(s string) string {
	r := []rune(strings.Map(printable, s))
	if len(r) > clipAt {
		return string(r[:clipAt]) + "…"
	}
	return string(r)
}

func printable(r rune) rune {
	if unicode.IsGraphic(r) {
		return r
	}
	return unicode.ReplacementChar
}

// Errors is everything wrong with a profile, in line order, never empty.
type Errors []*Error

// Error prints one problem a line.
func (e Errors) Error() string {
	lines := make([]string, len(e))
	for i, one := range e {
		lines[i] = one.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives the single problems, for errors.As.
func (e Errors) Unwrap() []error {
	all := make([]error, len(e))
	for i, one := range e {
		all[i] = one
	}
	return all
}

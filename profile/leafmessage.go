package profile

import (
	"strings"

	"github.com/alecthomas/participle/v2/lexer"
)

// quoted is a message in quotes.
type quoted struct {
	extent
	text string
}

// Parse reads the value for the grammar.
func (v *quoted) Parse(lex *lexer.PeekingLexer) error {
	t := lex.Peek()
	v.extent = from(t)
	switch t.Type {
	case message:
		lex.Next()
		v.text = unquote(t.Value)
		return nil
	case openMessage:
		return &slip{extent: v.extent, want: `has no closing quote; write tell "open the vent"`}
	}
	return &slip{extent: v.extent, want: `the message belongs in quotes here; write tell "open the vent"`}
}

// unquote takes the quotes off and resolves \" and \\.
func unquote(s string) string {
	r := []rune(s)
	r = r[1 : len(r)-1]
	out := make([]rune, 0, len(r))
	for i := 0; i < len(r); i++ {
		if r[i] == '\\' && i+1 < len(r) {
			i++
		}
		out = append(out, r[i])
	}
	return string(out)
}

// quote is the inverse of unquote.
func quote(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

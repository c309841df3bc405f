package profile

import (
	"io"

	"github.com/alecthomas/participle/v2/lexer"
)

// words cuts a line into tokens. The last rule matches any character, so the
// lexer itself never fails and every complaint is ours. Rules with a small
// first letter are dropped.
var words = lexer.MustSimple([]lexer.SimpleRule{
	{Name: "comment", Pattern: `#.*`},
	{Name: "space", Pattern: `[\s\p{Z}]+`},
	{Name: "Message", Pattern: `"(?:\\.|[^"\\])*"|[“”„](?:\\.|[^“”\\])*[“”]`},
	{Name: "OpenMessage", Pattern: `["“”„].*`},
	{Name: "Clock", Pattern: `\d{1,2}:\d{2}\b`},
	{Name: "DecimalComma", Pattern: `[-−]?\d+,\d+`},
	{Name: "Number", Pattern: `[-−]?(?:\d+(?:\.\d+)?|\.\d+)`},
	{Name: "Word", Pattern: `[\p{L}°℃℉]+`},
	{Name: "Mark", Pattern: `[,/%]`},
	{Name: "Other", Pattern: `(?s:.)`},
})

var (
	symbols      = words.Symbols()
	message      = symbols["Message"]
	openMessage  = symbols["OpenMessage"]
	clockTime    = symbols["Clock"]
	decimalComma = symbols["DecimalComma"]
	number       = symbols["Number"]
	word         = symbols["Word"]
)

// tokens replays cut tokens to the parser.
type tokens []lexer.Token

// Next hands out the next token, EOF for ever after the last.
func (t *tokens) Next() (lexer.Token, error) {
	first := (*t)[0]
	if !first.EOF() {
		*t = (*t)[1:]
	}
	return first, nil
}

// cut gives the tokens of a line, always closed by an EOF that sits right
// behind the last word, before any comment.
func cut(line string) (tokens, error) {
	lex, err := words.LexString("", line)
	if err != nil {
		return nil, err
	}
	all, err := lexer.ConsumeAll(lex)
	if err != nil && err != io.EOF {
		return nil, err
	}
	if n := len(all); n > 1 {
		last := all[n-2]
		all[n-1].Pos = last.Pos
		all[n-1].Pos.Advance(last.Value)
	}
	return all, nil
}

package profile

import (
	"github.com/alecthomas/participle/v2"
	"github.com/alecthomas/participle/v2/lexer"
)

// sentence is one line. Exactly one field is set.
type sentence struct {
	Never *temperature `parser:"  'never' 'above' @@"`
	Heat  *move        `parser:"| 'heat' 'to' @@"`
	Cool  *move        `parser:"| 'cool' 'to' @@"`
	Hold  *hold        `parser:"| 'hold' @@"`
	Wait  *temperature `parser:"| 'wait' 'until' 'below' @@"`
	Air   string       `parser:"| 'air' @('on' | 'off')"`
	Tell  *quoted      `parser:"| 'tell' @@"`
}

type move struct {
	To        temperature `parser:"@@"`
	Rate      *rate       `parser:"( 'at' @@"`
	In        *length     `parser:"| 'in' @@"`
	Fastest   bool        `parser:"| @('as' 'fast' 'as' 'possible')"`
	Unpowered bool        `parser:"| @'unpowered' )"`
	Tokens    []lexer.Token
}

type hold struct {
	Until  *until  `parser:"( 'until' @@"`
	For    *length `parser:"| @@ )"`
	Bounds []bound `parser:"( ','? @@ )*"`
	Tokens []lexer.Token
}

type until struct {
	Dry     bool        `parser:"  @'dry'"`
	Core    *difference `parser:"| 'core' 'within' @@"`
	Clear   *percent    `parser:"| 'clear' @@"`
	Stopped bool        `parser:"| @'stopped'"`
	Door    bool        `parser:"| @( 'the'? 'door' 'opens' )"`
	Clock   *clock      `parser:"| @@"`
	Tokens  []lexer.Token
}

type bound struct {
	Least  bool   `parser:"'at' ( @'least' | 'most' )"`
	Time   length `parser:"@@"`
	Tokens []lexer.Token
}

var parser = participle.MustBuild[sentence](
	participle.Lexer(words), participle.CaseInsensitive("Word"))

// starts are the first words of a sentence, as a list to read out.
const starts = "never, heat, cool, hold, wait, air or tell"

// vocabulary lists, by first word, what else may stand in the sentence.
var vocabulary = map[string][]string{
	"never": {"above"},
	"heat":  {"to", "at", "in", "as", "fast", "possible"},
	"cool":  {"to", "at", "in", "as", "fast", "possible", "unpowered"},
	"hold": {"until", "dry", "core", "within", "clear", "stopped", "the", "door", "opens", "at",
		"least", "most"},
	"wait": {"until", "below"},
	"air":  {"on", "off"},
	"tell": {},
}

// usage shows, by first word, how the sentence is written.
var usage = map[string]string{
	"never": `write "never above 735 C"`,
	"heat": `write "heat to 150 C at 60 C/h", "heat to 150 C in 3 h" or ` +
		`"heat to 150 C as fast as possible"`,
	"cool": `write "cool to 540 C at 100 C/h", "cool to 540 C in 2 h", ` +
		`"cool to 540 C unpowered" or "cool to 540 C as fast as possible"`,
	"hold": `write "hold 2 h", "hold until 14:00", or "hold until" with ` +
		`"dry", "core within 15 C", "clear 95%", "stopped" or "door opens" and then ", at most 3 h"`,
	"wait": `write "wait until below 45 C"`,
	"air":  `write "air on" or "air off"`,
	"tell": `write tell "open the vent"`,
}

// keywords are all words that may follow a value, so that a missing unit is
// told from a wrong one.
var keywords = allKeywords()

func allKeywords() map[string]bool {
	all := map[string]bool{}
	for first, rest := range vocabulary {
		all[first] = true
		for _, w := range rest {
			all[w] = true
		}
	}
	return all
}

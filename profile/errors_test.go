package profile

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	heatUsage = `write "heat to 150 C at 60 C/h", "heat to 150 C in 3 h" or "heat to 150 C as fast as possible"`
	holdUsage = `write "hold 2 h", "hold until 14:00", or "hold until" with "dry", "core within 15 C", "clear 95%", "stopped" or "door opens" and then ", at most 3 h"`
	starting  = `a sentence starts with never, heat, cool, hold, wait, air or tell`
)

func TestErrors(t *testing.T) {
	rows := []struct{ name, text, want string }{
		{"above the ceiling", "never above 735 C\nhold 1 h\n\nheat to 800 C at 60 C/h",
			`line 4, column 9: read "800 C": is above your ceiling of 735 C; write 735 C or lower, or raise "never above"`},
		{"above the ceiling, in F", "never above 735 C\nheat to 1400 F at 60 C/h",
			`line 2, column 9: read "1400 F": is above your ceiling of 1355 F; write 1355 F or lower, or raise "never above"`},
		{"ceiling at the end", "heat to 800 C at 60 C/h\nnever above 735 C",
			`line 1, column 9: read "800 C": is above your ceiling of 735 C; write 735 C or lower, or raise "never above"`},
		{"cool above the ceiling", "never above 735 C\ncool to 800 C unpowered",
			`line 2, column 9: read "800 C": is above your ceiling of 735 C; write 735 C or lower, or raise "never above"`},
		{"two ceilings", "never above 735 C\nnever above 1300 F\nhold 1 h",
			`line 2, column 13: read "1300 F": is a second ceiling, line 1 already says 735 C; keep one`},
		{"ceiling too low", "never above 0 C\nhold 1 h",
			`line 1, column 13: read "0 C": is no ceiling; write one above 0 C and up to 1400 C`},

		{"heat down", "heat to 370 C at 60 C/h\nheat to 150 C at 60 C/h",
			`line 2, column 9: read "150 C": is below the 370 C before it; write "cool to 150 C" to go down, or heat to more than 370 C`},
		{"cool up", "heat to 302 F at 60 C/h\nhold 1 h\ncool to 700 F unpowered",
			`line 3, column 9: read "700 F": is above the 302 F before it; write "heat to 700 F" to go up, or cool to less than 302 F`},
		{"heat below what was waited for", "wait until below 45 C\nheat to 40 C at 10 C/h",
			`line 2, column 9: read "40 C": is below the 45 C before it; write "cool to 40 C" to go down, or heat to more than 45 C`},
		{"too hot", "heat to 1401 C at 60 C/h",
			`line 1, column 9: read "1401 C": is out of range; a target lies between -20 C and 1400 C`},
		{"too cold", "cool to -5 F unpowered",
			`line 1, column 9: read "-5 F": is out of range; a target lies between -4 F and 2552 F`},

		{"rate zero", "heat to 150 C at 0 C/h",
			`line 1, column 18: read "0 C/h": is not a rate; write it above zero, the word heat or cool gives the direction`},
		{"rate negative", "cool to 150 C at -60 C/h",
			`line 1, column 18: read "-60 C/h": is not a rate; write it above zero, the word heat or cool gives the direction`},
		{"rate tiny", "heat to 150 C at 0.01 C/min",
			`line 1, column 18: read "0.01 C/min": is slower than 1 C/h; write a faster rate, or "hold" to stay where it is`},
		{"rate absurd", "heat to 150 C at 200 F/min",
			`line 1, column 18: read "200 F/min": is more than any kiln can do; write a rate up to 9000 F/h`},
		{"rate implied", "heat to 20 C at 60 C/h\nheat to 720 C in 5 min",
			`line 2, column 18: read "5 min": is too short for 700 C, that is faster than 5000 C/h; give it more time`},
		{"rate without time", "heat to 150 C at 60 C",
			`line 1, column 18: read "60 C": a rate is per hour or per minute; write 60 C/h or 60 C/min`},
		{"rate a second", "heat to 150 C at 1 C/s",
			`line 1, column 18: read "1 C/s": a rate is per hour or per minute; write 1 C/h or 1 C/min`},
		{"rate without unit", "heat to 150 C at 60/h",
			`line 1, column 18: read "60": is that C or F? write 60 C or 60 F`},
		{"heat unpowered", "heat to 150 C unpowered",
			`line 1, column 15: read "unpowered": is how a kiln cools; write "as fast as possible" to heat at full power`},

		{"no unit", "heat to 150 at 60 C/h", `line 1, column 9: read "150": is that C or F? write 150 C or 150 F`},
		{"kelvin", "heat to 423 K at 60 C/h", `line 1, column 9: read "423 K": is not in C or F; write 423 C or 423 F`},
		{"scientific", "heat to 1e2 C at 60 C/h", `line 1, column 9: read "1e": is not in C or F; write 1 C or 1 F`},
		{"not a number", "heat to NaN C at 60 C/h", `line 1, column 9: read "NaN": a temperature belongs here, such as 150 C or 302 F`},
		{"infinite", "heat to inf at 60 C/h", `line 1, column 9: read "inf": did you mean "in"? a temperature belongs here, such as 150 C or 302 F`},
		{"overflow", "heat to " + strings.Repeat("9", 400) + " C at 60 C/h",
			`line 1, column 9: read "` + strings.Repeat("9", 40) + `…": is too large a number`},
		{"decimal comma", "hold 1,5 h",
			`line 1, column 6: read "1,5": numbers take a point and no comma; write 1.5, or leave the comma out if it marks thousands`},

		{"time zero", "hold 0 h", `line 1, column 6: read "0 h": takes no time; write a duration above zero, such as 30 min`},
		{"time negative", "hold -2 h", `line 1, column 6: read "-2": is below zero; a time counts forward, such as 2 h`},
		{"time too long", "hold 1000000 h", `line 1, column 6: read "1000000 h": is longer than 30 days (720 h); write a shorter time`},
		{"time without unit", "hold 2", `line 1, column 6: read "2": is that h, min or s? write it like 2 h or 30 min`},
		{"time without second unit", "hold 2h30", `line 1, column 8: read "30": is that h, min or s? write it like 2 h or 30 min`},
		{"time in days", "hold 2 days", `line 1, column 6: read "2 days": is not in h, min or s; write it like 2 h 30 min`},
		{"time upside down", "hold 30 min 2 h",
			`line 1, column 13: read "2 h": comes out of order; write hours, then minutes, then seconds, each once`},
		{"fraction", "hold 1/0 h", `line 1, column 6: read "1/0": is not a fraction of a time; write it like 1/2`},
		{"half a fraction", "hold 1/ h", `line 1, column 9: read "h": a fraction is written like 1/2`},

		{"clock out of range", "hold until 24:00", `line 1, column 12: read "24:00": is no time of day; write it between 00:00 and 23:59`},
		{"clock without minutes", "hold until 2 pm", `line 1, column 12: read "2": is not a time of day; write it on the 24-hour clock like 14:00`},
		{"clock of twelve hours", "hold until 2:30 pm", `line 1, column 17: read "pm": the time of day is on the 24-hour clock; write 2 pm as 14:00`},
		{"clock bounded", "hold until 14:00, at most 3 h",
			`line 1, column 19: read "at most 3 h": this hold already ends at a time of day; leave "at most" out`},

		{"no longest time", "hold until dry",
			`line 1, column 12: read "dry": has no longest time, and nobody may be there to end it; write "hold until dry, at most 6 h" with your own time`},
		{"no longest time, core in F", "hold until core within 27 F, at least 1 h",
			`line 1, column 12: read "core within 27 F": has no longest time, and nobody may be there to end it; write "hold until core within 27 F, at least 1 h, at most 6 h" with your own time`},
		{"no longest time, stopped", "hold until stopped",
			`line 1, column 12: read "stopped": has no longest time, and nobody may be there to end it; write "hold until stopped, at most 6 h" with your own time`},
		{"longest time zero", "hold until dry, at most 0 h",
			`line 1, column 17: read "at most 0 h": takes no time; write a duration above zero, such as 30 min`},
		{"least above most", "hold until dry, at least 5 h, at most 3 h",
			`line 1, column 17: read "at least 5 h": is longer than at most 3 h; make it 3 h or less`},
		{"most twice", "hold until dry, at most 5 h, at most 3 h",
			`line 1, column 30: read "at most 3 h": says "at most" a second time; keep one`},
		{"least of stopped", "hold until stopped, at least 1 h, at most 2 h",
			`line 1, column 21: read "at least 1 h": somebody ends this hold; only "at most" goes with it`},
		{"bounded time", "hold 2 h, at least 1 h",
			`line 1, column 11: read "at least 1 h": this hold already says how long it is; leave "at least" out`},
		{"clear too sure", "hold until clear 100%, at most 3 h",
			`line 1, column 18: read "100%": is out of range; write a chance between 1% and 99.9%, no hold can promise 100%`},
		{"clear without percent", "hold until clear 0.95, at most 3 h",
			`line 1, column 18: read "0.95": is missing its %; write the chance that the pattern is clear like 95%`},
		{"core not near", "hold until core within 0 C, at most 3 h",
			`line 1, column 24: read "0 C": is not a nearness; write a difference above zero and up to 200 C`},

		{"misspelt start", "haet to 150 C at 60 C/h", `line 1, column 1: read "haet": did you mean "heat"? ` + starting},
		{"unknown start", "ramp to 150 C", `line 1, column 1: read "ramp": ` + starting},
		{"misspelt word", "hold untill dry", `line 1, column 6: read "untill": did you mean "until"? does not fit here; ` + holdUsage},
		{"misspelt bound", "hold until dry, at moost 3 h", `line 1, column 20: read "moost": did you mean "most"? does not fit here; ` + holdUsage},
		{"missing word", "heat 150 C at 60 C/h", `line 1, column 6: read "150": does not fit here; ` + heatUsage},
		{"missing pace", "heat to 150 C  # slowly", `line 1, column 14: the line ends too early: ` + heatUsage},
		{"missing all", "hold", `line 1, column 5: the line ends too early: ` + holdUsage},
		{"too much", "air on now", `line 1, column 8: read "now": does not fit here; write "air on" or "air off"`},
		{"missing word in wait", "wait below 45 C", `line 1, column 6: read "below": does not fit here; write "wait until below 45 C"`},
		{"strange character", "heat to 150 C at 60 C/h;", `line 1, column 24: read ";": does not fit here; ` + heatUsage},
		{"column in characters", "tell “ö” x", `line 1, column 10: read "x": does not fit here; write tell "open the vent"`},

		{"message unterminated", `tell "open`, `line 1, column 6: read "open: has no closing quote; write tell "open the vent"`},
		{"message bare", `tell open`, `line 1, column 6: read "open": the message belongs in quotes here; write tell "open the vent"`},
		{"message empty", `tell " "`, `line 1, column 6: read " ": says nothing; write tell "open the vent"`},
		{"message long", `tell "` + strings.Repeat("x", 201) + `"`,
			`line 1, column 6: read "` + strings.Repeat("x", 39) + `…: is 201 characters long; a message has at most 200`},
		{"message with control", "tell \"a\x1bb\"", "line 1, column 6: read \"a\uFFFDb\": has a control character in it; write plain text on one line"},

		{"nothing", "", `line 1: there is no step here; write at least one, such as "heat to 150 C at 60 C/h"`},
		{"only a ceiling", "# x\nnever above 735 C\n", `line 1: there is no step here; write at least one, such as "heat to 150 C at 60 C/h"`},
		{"not utf-8", "hold 1 h\nhold 2 \xff", `line 2: is not plain UTF-8 text; save the file as UTF-8`},
		{"long line", "hold 1 h\n#" + strings.Repeat("x", 500), `line 2: is longer than 500 characters; write one short sentence a line`},
		{"long file", strings.Repeat("\n", 2000), `line 2001: the text has 2001 lines; a profile has at most 2000, is this the right file?`},
		{"large file", strings.Repeat(" ", 2<<20), `line 1: the text is 2048 kB long; a profile has at most 1024 kB, is this the right file?`},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			p, err := Parse(r.text)
			require.Error(t, err)
			assert.Nil(t, p)
			assert.Equal(t, r.want, err.Error())
		})
	}
}

func TestManySteps(t *testing.T) {
	_, err := Parse(strings.Repeat("hold 1 h\n", 501))
	assert.EqualError(t, err, `line 501, column 1: read "hold 1 h": is step 501; a profile has at most 500`)
}

func TestAllErrorsInLineOrder(t *testing.T) {
	_, err := Parse("heat to 800 C at 0 C/h\nfoo\nheat to 150 C at 60 C/h # unknown what came before\nhold 3\nnever above 735 C\n")
	var all Errors
	require.ErrorAs(t, err, &all)
	var places []string
	for _, e := range all {
		places = append(places, fmt.Sprintf("%d:%d %s", e.Line, e.Col, e.Got))
	}
	assert.Equal(t, []string{"1:9 800 C", "1:18 0 C/h", "2:1 foo", "4:6 3"}, places)
	var first *Error
	require.True(t, errors.As(err, &first))
	assert.Equal(t, 1, first.Line)
}

func TestCheckNamesSteps(t *testing.T) {
	p := &Profile{CeilingC: 735, Fahrenheit: true, Steps: []Step{
		{Kind: Hold, Until: UntilDry},
		{Kind: Heat, TargetC: 750, Pace: ByRate, RateCPerH: 60},
		{Kind: Heat, TargetC: 751},
		{Kind: 99},
	}}
	assert.EqualError(t, p.Check(), `step 1: read "dry": has no longest time, and nobody may be there to end it; write "hold until dry, at most 6 h" with your own time
step 2: read "1382 F": is above your ceiling of 1355 F; write 1355 F or lower, or raise "never above"
step 3: read "heat to 1383.8 F": does not say how fast; `+heatUsage+`
step 3: read "1383.8 F": is above your ceiling of 1355 F; write 1355 F or lower, or raise "never above"
step 4: read "unknown step": is no kind of step; it is one of heat, cool, hold, wait, air and tell`)
	assert.EqualError(t, (&Profile{}).Check(), "there is no step in this profile; it needs at least one")
}

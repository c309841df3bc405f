// Package profile is the language a firing is written in: it reads the text a
// founder keeps in a notebook, says in plain words what is wrong with it, and
// unrolls it over time. It is pure: it opens nothing, drives nothing and knows
// no kiln beyond the few figures of an Outlook.
//
// # The language
//
// One sentence a line. # starts a comment, blank lines are free, capitals and
// extra spaces do not matter.
//
//	never above 735 C                      the ceiling, once, anywhere in the text
//	heat to 150 C at 60 C/h                also C/min, F/h, F/min
//	heat to 150 C in 3 h
//	heat to 150 C as fast as possible
//	cool to 540 C at 100 C/h               also "in 2 h" and "as fast as possible"
//	cool to 540 C unpowered                heat off, at the kiln's own pace
//	hold 2 h                               also 90 min, 2 h 30 min, 1 1/2 h, 30 s
//	hold until 14:00                       local time, 24-hour clock
//	hold until dry, at most 8 h
//	hold until core within 15 C, at least 30 min, at most 3 h
//	hold until clear 95%, at least 3 h, at most 10 h
//	hold until stopped, at most 4 h
//	hold until door opens, at most 4 h
//	wait until below 45 C                  heat off
//	air on                                 also "air off"
//	tell "open the vent"                   a quote inside is written \"
//
// A hold that ends on an observation or on a person must say "at most": nobody
// may be awake to end it. Temperatures, differences and rates carry C or F
// (also °C, ℃, degC, celsius). Times carry h, min or s.
//
// # JSON
//
// The same profile as an object: °C, seconds and probabilities, the unit in the
// key. "units" only says how to show it. Schema gives the whole form.
//
//	{"version": 1, "units": "C", "never_above_c": 735, "steps": [
//	  {"do": "heat", "to_c": 150, "rate_c_per_h": 60},
//	  {"do": "hold", "until": "clear", "clear": 0.95, "at_most_s": 36000},
//	  {"do": "cool", "to_c": 540, "pace": "unpowered"}]}
//
// # Exactness
//
// Temperatures and rates are kept to a millionth of a degree, durations to a
// millisecond and probabilities to a millionth. On that grid every value
// prints as the decimal the person wrote (302 F is 150 °C inside and 302 F
// again on paper), so text and JSON round-trip exactly. A profile is printed in
// one unit, that of the first value with a unit in the text.
//
// For most uses: Parse, then Unroll; Profile.Sentence names a step in an event.
package profile

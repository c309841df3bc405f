// Package sheet works out what a caster needs on paper beside the bench:
// powder, water and clock for the investment, the volume of the pattern, the
// metal to melt, whether the reservoir will feed the piece, how much
// investment stands around it, and the temperatures of metal and flask.
//
// It exists so that each of these figures carries its source and how far that
// source was followed: read, from memory, common practice, or derived from
// other figures here. It plans no firing and knows no kiln. Start with [Make].
//
// Every number is SI, temperatures in °C.
package sheet

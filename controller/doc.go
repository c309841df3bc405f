// Package controller is a firing in progress. Its heart is Step, a pure
// function: state and input in, state and output out, with no clock, no I/O
// and no goroutine inside. So a night runs in under a second, a power cut is
// "load the state and go on", and a firing can be derived again from its log.
//
// Around it stands Loop, the one place that owns a ticker: it reads the
// thermometer, calls Step, renews the lease of the heat and hands the record to
// the journal. Start with Example, which drives a plant in twenty lines.
//
// Whatever is unknown means off: no valid reading, a late tick, an output that
// does not answer, a panic.
package controller

// Package tidings decides what of a firing is told to people, and when: which
// events and estimates become a message, how it is worded, who wants it, what
// waits until morning, what is repeated until somebody answers. It sends
// nothing. Pure: time and zone are arguments.
//
// A Follower makes messages of events and estimates, a Rule says when one of
// them is due at a destination, Bundle words what is sent at a time.
package tidings

import (
	"calx/storage/record"
)

// Kind is what a message is about.
type Kind string

// The kinds. They are stable: configuration and records use them.
const (
	Stage    Kind = "stage"    // the firing began, or a step did
	Clear    Kind = "clear"    // when the moulds are expected to be clear, and that they are
	Pour     Kind = "pour"     // the pour window is reached
	Person   Kind = "person"   // somebody must decide or do something
	Trouble  Kind = "trouble"  // something is not as it should be; calx goes on
	Trip     Kind = "trip"     // a guard ended the firing
	Finished Kind = "finished" // the firing is over, by plan or by hand
	Test     Kind = "test"     // somebody asked for it; every destination takes it
)

var kinds = []Kind{Stage, Clear, Pour, Person, Trouble, Trip, Finished}

// KindNames lists the kinds that a destination can choose from.
func KindNames() []string {
	out := make([]string, len(kinds))
	for i, k := range kinds {
		out[i] = string(k)
	}
	return out
}

// Repeats reports whether m is told again until somebody acknowledges it.
func Repeats(m *record.Message) bool {
	return m.Severity == record.Alarm && Kind(m.Kind) != Test
}

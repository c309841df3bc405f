package tidings

import (
	"slices"
	"time"

	"calx/storage/record"
)

// Passes says what quiet hours let through.
type Passes string

// What passes through quiet hours.
const (
	PassAlarm   Passes = "alarm"   // alarms: trips among them
	PassPerson  Passes = "person"  // these, and what needs a person
	PassNothing Passes = "nothing" // nothing at all
)

// Rule is what one destination wants to be told.
type Rule struct {
	From   uint8  // least severity, as record.Severity
	Kinds  []Kind // nil: all
	Quiet  Quiet
	Passes Passes
	Repeat time.Duration // an alarm again after this, until it is acknowledged
	Most   int           // times an alarm is told at most; at least 1
}

// Progress is how far a message has come at a destination.
type Progress struct {
	Times     int           // it reached the destination this often
	SinceSent time.Duration // since the last time
	Failed    int           // attempts in a row that failed since
	SinceTry  time.Duration // since the last of these
}

// Verdict is what is to be done with a message at a destination.
type Verdict uint8

// The verdicts.
const (
	Done   Verdict = iota // nothing more, or never anything
	Send                  // now
	Later                 // after a failure, or before a repeat
	Hushed                // quiet hours
)

const (
	// firstRetry and longestRetry bound the wait after a failed attempt, which
	// doubles: the network of a house comes back in seconds or in hours.
	firstRetry   = 15 * time.Second
	longestRetry = 15 * time.Minute
	// doublings is enough for firstRetry to pass longestRetry.
	doublings = 6
)

// Retry is how long to wait after so many attempts that failed in a row.
func Retry(failed int) time.Duration {
	if failed <= 0 {
		return 0
	}
	return min(firstRetry<<min(failed-1, doublings), longestRetry)
}

// Wants reports whether the destination is ever told of m.
func (r Rule) Wants(m *record.Message) bool {
	k := Kind(m.Kind)
	if k == Test {
		return true
	}
	return uint8(m.Severity) >= r.From && (r.Kinds == nil || slices.Contains(r.Kinds, k))
}

// Judge says what is to be done with m now; local is the clock on the wall, in
// the zone of the house.
//
// A message that reached nobody before it was acknowledged is still told once:
// one person's answer does not tell the others. What is not an alarm is told
// once.
func (r Rule) Judge(m *record.Message, p Progress, local time.Time) Verdict {
	switch {
	case !r.Wants(m):
		return Done
	case p.Times > 0 && (!Repeats(m) || !m.Acked.IsZero() || p.Times >= max(r.Most, 1)):
		return Done
	case p.Failed > 0 && p.SinceTry < Retry(p.Failed):
		return Later
	case p.Times > 0 && p.SinceSent < r.Repeat:
		return Later
	case r.Quiet.At(local) && !r.passes(m):
		return Hushed
	}
	return Send
}

func (r Rule) passes(m *record.Message) bool {
	switch {
	case Kind(m.Kind) == Test:
		return true
	case r.Passes == PassNothing:
		return false
	case m.Severity == record.Alarm:
		return true
	}
	return r.Passes == PassPerson && Kind(m.Kind) == Person
}

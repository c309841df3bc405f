// Package notice is the catalogue of what calx tells people: for each code how
// serious it is, what it means and what to do. Whoever reports something adds
// the values; nothing is worded twice. Pure.
package notice

import "fmt"

// Severity grades a notice.
type Severity uint8

// From everyday to heat stopped.
const (
	Info Severity = iota
	Warn
	Alarm // the heat is off for good, or somebody must act now
)

func (s Severity) String() string {
	switch s {
	case Warn:
		return "warn"
	case Alarm:
		return "alarm"
	}
	return "info"
}

// Notice is one entry of the catalogue.
type Notice struct {
	Code     string
	Severity Severity
	Means    string // one line for a list of alarms
	Do       string // what the person should do; empty when nothing
}

// The codes. They are stable: metrics, records and scripts use them.
const (
	Started        = "started"
	Step           = "step"
	Finished       = "finished"
	StoppedByHand  = "stopped"
	PausedByHand   = "paused"
	ResumedByHand  = "resumed"
	SteppedOn      = "stepped-on"
	Interrupted    = "resumed-after-interruption"
	WaitsForPerson = "waits-for-person"
	WayBack        = "way-back"
	CannotGoOn     = "cannot-go-on"
	Told           = "tell"
	HoldBack       = "hold-back"
	CaughtUp       = "caught-up"
	HoldCutShort   = "hold-at-most"
	HoldMet        = "hold-met"
	HoldAdrift     = "hold-adrift"
	NoReading      = "no-reading"
	AboveCeiling   = "above-ceiling"
	AboveKilnMax   = "above-kiln-maximum"
	RisingWhileOff = "rising-while-off"
	NotRising      = "full-power-not-rising"
	CannotReach    = "cannot-reach"
	LateTick       = "late-tick"
	ClockStepped   = "clock-stepped"
	LogBehind      = "log-behind"
	OutputDead     = "output-dead"
	ReadingBack    = "reading-back"
	ReadingJumped  = "reading-jumped"
	ReadingFrozen  = "reading-frozen"
	ReversedProbe  = "reversed-probe"
	MaybeAbove     = "may-be-too-hot"
)

var catalogue = []Notice{
	{Started, Info, "a firing began", ""},
	{Step, Info, "the next step of the profile began", ""},
	{Finished, Info, "the profile is done; heat is off", ""},
	{StoppedByHand, Info, "somebody stopped the firing; heat is off", ""},
	{PausedByHand, Info, "somebody paused the plan; the setpoint stays where it is", ""},
	{ResumedByHand, Info, "the plan goes on", ""},
	{SteppedOn, Info, "somebody ended the step early", ""},
	{Interrupted, Warn, "the firing went on after an interruption", "look at the curve: a long gap may need a longer hold"},
	{WaitsForPerson, Warn, "after an interruption a person must say whether the firing goes on; the heat is off meanwhile", "look at kiln and moulds, then calx resume to go on, or calx stop to end it"},
	{CannotGoOn, Warn, "somebody let an interrupted firing go on, and it cannot", "mend what is said, then calx resume once more"},
	{WayBack, Info, "after an interruption the plan goes back to where the moulds are, no faster than the profile", ""},
	{Told, Warn, "a message written into the profile", ""},
	{HoldBack, Warn, "the kiln cannot follow; the plan waits for it", "nothing, if the kiln is known to be weak; else look for a broken element, an open vent or low mains"},
	{CaughtUp, Info, "the kiln has caught up; the plan goes on", ""},
	{HoldCutShort, Warn, "a hold ended at its longest time, not on what it waited for", "decide whether to fire on: add a hold, or stop and inspect"},
	{HoldMet, Info, "a hold ended on what it waited for", ""},
	{HoldAdrift, Warn, "a hold stays away from its temperature; its clock runs all the same", "look at the curve: if the kiln file is far off, mend it; the flask was hotter or colder than planned"},
	{NoReading, Alarm, "no valid temperature", "check the probe, its two screws at the amplifier and the cable; the kiln cools meanwhile"},
	{ReadingJumped, Alarm, "the temperature leapt as no kiln can", "look whether the probe has slipped or was knocked, and whether its wires touch; the kiln may be hotter than it reads"},
	{ReadingFrozen, Alarm, "the temperature does not change by a single step for too long", "switch the board off and on again, then look at the amplifier and its wiring; the kiln may be hotter than it read"},
	{ReversedProbe, Alarm, "the temperature falls under heat, below what is possible", "swap the two wires of the probe at the amplifier; the kiln is hotter than it reads"},
	{AboveCeiling, Alarm, "the chamber is above the ceiling of the profile", "keep the door shut; if the temperature still rises, switch the kiln off at the wall: a relay may be welded"},
	{AboveKilnMax, Alarm, "the chamber is above what the kiln is built for", "switch the kiln off at the wall; find out why before firing again"},
	{MaybeAbove, Alarm, "the probe may read too low: by the heat it was given the chamber would be above its limit", "look whether the probe is of the type in calx.yaml and sits all the way in; then at elements and fuses: one that is dead looks the same from outside"},
	{RisingWhileOff, Alarm, "the temperature rises though the heat is off", "switch the kiln off at the wall: the relay may be welded shut"},
	{NotRising, Alarm, "full power, but the temperature does not rise as it should", "look whether the probe still sits in the chamber, then at elements, fuse, relay and door"},
	{CannotReach, Alarm, "full power for an hour and no nearer to the setpoint", "lower the target, or have the elements and the mains checked"},
	{LateTick, Warn, "the control loop was late; heat was off meanwhile", "see what else the board is doing"},
	{ClockStepped, Info, "the wall clock was set; the firing counts its own time and is not touched", ""},
	{LogBehind, Alarm, "readings cannot be written; they are kept in memory", "make room on the disk; the firing goes on meanwhile"},
	{OutputDead, Alarm, "the output of the heat relay does not answer", "switch the kiln off at the wall and look at the relay and its wiring"},
	{ReadingBack, Info, "a valid temperature again", ""},
}

// All lists the catalogue in a fixed order.
func All() []Notice { return append([]Notice(nil), catalogue...) }

// For looks a code up. An unknown code is a bug.
func For(code string) Notice {
	for _, n := range catalogue {
		if n.Code == code {
			return n
		}
	}
	panic(fmt.Sprintf("BUG: notice code %q is not in the catalogue", code))
}

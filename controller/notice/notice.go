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
	HeatLimited    = "heat-limited"
	HeatFree       = "heat-free"
	ReadsLow       = "reads-too-low"
	ElementWeak    = "element-weak"
	SupplySag      = "supply-sag"
	ColdJunction   = "cold-junction"
	ProbeSlipped   = "probe-slipped"
	NoisyReading   = "noisy-reading"
	ProbesApart    = "probes-apart"
	DoorOpen       = "door-open"
	DoorLong       = "door-open-long"
	DoorShut       = "door-shut"
	HeatLost       = "heat-lost"
	CharLeft       = "char-left"
	SteamFast      = "steam-too-fast"
	InvertFast     = "inversion-too-fast"
	BoilsWrong     = "boils-at-the-wrong-temperature"
	HoldBackLong   = "hold-back-long"
	ControlLost    = "control-lost"
	MainWelded     = "main-contactor-welded"
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
	{MaybeAbove, Alarm, "heat was limited for four hours in which the chamber gained nothing, because the probe may read too low", "look whether the probe is of the type in calx.yaml and sits all the way in; then at mains, elements and fuses: weak ones look the same from outside"},
	{HeatLimited, Alarm, "the probe reads too low, or mains or elements are weak; only so much heat is given as is safe either way, and the plan waits", "look whether the probe is of the type in calx.yaml and sits all the way in; then at mains, elements and fuses; after four hours without gain the firing ends"},
	{HeatFree, Info, "heat is no longer limited; the plan goes on", ""},
	{ReadsLow, Warn, "the heat given and the reading disagree: the probe reads too low, or elements or mains are weak", "look whether the probe is of the type in calx.yaml and sits all the way in; measure the elements; fit the kiln file after the firing"},
	{ElementWeak, Warn, "much less heat arrives than before: an element or a fuse has failed", "nothing tonight if the kiln follows; have elements and fuses measured before the next firing"},
	{SupplySag, Warn, "less heat arrives than before: the mains is low, or an element is weak", "nothing tonight if the kiln follows; what else runs on this circuit?"},
	{ColdJunction, Alarm, "the controller box is too hot or too cold; its error is added to the reading", "give the box air and take it out of the kiln's warmth"},
	{ProbeSlipped, Warn, "the reading fell at once: the probe has slipped, or its wires touch", "look at the probe; the kiln is hotter than it reads, and the ceiling now counts for the hotter"},
	{NoisyReading, Warn, "the reading jitters", "tighten the screws of the probe; keep its cable away from mains and relay"},
	{ProbesApart, Alarm, "two thermocouples in one chamber disagree", "find out which of them lies before firing again; the kiln may be as hot as the hotter one says"},
	{DoorOpen, Warn, "the door is open; no heat until it is shut", "shut the door"},
	{DoorLong, Warn, "the door has been open for long", "shut the door, or stop the firing"},
	{DoorShut, Info, "the door is shut; the firing goes on", ""},
	{HeatLost, Info, "heat was lost as through an open door", ""},
	{CharLeft, Alarm, "hotter than the investment bears while char is left", "hold below 730 °C (1346 °F) until clear; above it gypsum gives off sulfur dioxide: air the room"},
	{SteamFast, Warn, "the chamber rises too fast while water boils in the moulds; heat is held back", "lower the rate of this step, or hold near 150 °C (300 °F) until dry"},
	{InvertFast, Warn, "the chamber rises too fast through an inversion of silica; heat is held back", "lower the rate of this step"},
	{BoilsWrong, Warn, "the water in a flask boils at a temperature at which water does not", "the witness is of another type than calx.yaml says, or its wires are wrong; do not go by it"},
	{HoldBackLong, Warn, "the plan has waited for the kiln for long", "look whether the kiln still gains; else lower the target, or stop"},
	{ControlLost, Alarm, "the control loop was away for most of a while", "see what else the board is doing; the firing ended with the heat off"},
	{MainWelded, Alarm, "it goes on rising after the trip: the second contactor is welded too, or wired past", "pull the plug, or switch off at the wall"},
	{RisingWhileOff, Alarm, "the temperature rises though the heat is off", "switch the kiln off at the wall: the relay may be welded shut"},
	{NotRising, Alarm, "the heat that is asked for does not arrive", "look whether the probe still sits in the chamber, then at elements, fuse, relay and door"},
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

package controller

import (
	"encoding/json"
	"fmt"
	"time"

	"calx/controller/guard"
	"calx/controller/law"
	"calx/controller/relay"
	"calx/sensor"
	"calx/storage/record"
)

// State is a firing between two ticks: plain data. What it points to, the
// inside of the moulds, is never changed, only replaced. The zero value is a firing that has not begun.
type State struct {
	Begun    bool
	Now      time.Duration // monotonic time of the last tick, since the start
	WallMS   int64         // wall clock of the last tick, ms since 1970
	Seq      uint64        // number of the next reading
	EventSeq uint64        // number of the next event
	Phase    record.Phase
	Paused   bool
	Air      bool
	EnergyJ  float64
	Plan     Cursor
	Law      law.State
	Relay    relay.State
	History  guard.History
	Inside   Observed     // of the moulds; zero without any
	TripCode string       // why a guard ended the firing; "" = none did
	WaitS    float64      // how long the plan has been waiting, s
	FlowS    float64      // how long it has been moving, s
	Waiting  bool         // a hold-back was reported and not yet taken back
	NoData   bool         // a missing reading was reported and not yet taken back
	Back     bool         // after an interruption the plan has yet to meet the kiln
	Asks     string       // why a person must say whether the firing goes on; "" = nobody need
	Gap      *Gap         `json:",omitempty"` // not yet carried through the moulds; never changed, only replaced
	Restored bool         // read from a snapshot: nobody knows when the relay opened
	Told     []Telling    // what was told while the heat goes on; replaced, never changed
	Boils    []guard.Boil // of every witness; replaced, never changed
	LostS    float64      // time that nobody was in control, forgotten over ten minutes, s
	OpenS    float64      // time since a trip opened the contactors, s
	MainSaid bool         // that they do not open was told
	LongWait bool         // that a hold-back lasts was told
	LogSick  bool         // a sick log was reported and not yet taken back
}

// Cursor is the place in the profile.
type Cursor struct {
	Step     int     // index of the step; len(steps) when done
	Entered  bool    // the step has been begun
	SetC     float64 // setpoint as planned, °C
	FromC    float64 // SetC when the step was entered, °C
	HeldS    float64 // time of a hold that counts, s
	BackToC  float64 // after an interruption the plan climbs back to this, °C; 0 = it is there
	Door     bool    // the door was opened in a hold that waits for it
	Arrived  bool    // a hold has once been within its band
	Met      bool    // what a hold waited for has come
	StrayS   float64 // time a hold has been away from its temperature without full power, s
	Adrift   bool    // it has been away for so long that its clock runs all the same
	UntilMS  int64   // ClockTime: the wall clock that ends it, ms since 1970
	Unheated bool    // the step runs without heat
}

// Command is what a person pressed.
type Command uint8

// The commands.
const (
	Pause  Command = iota + 1 // freeze the plan; the setpoint stays
	Resume                    // go on after Pause, or after an interruption that asked for a person
	StepOn                    // end this step now
	Stop                      // end the firing, heat off
)

// Input is what one tick sees.
type Input struct {
	Now        time.Duration  // monotonic, since the firing began; never falls
	Wall       time.Time      // wall clock; may jump
	Chamber    sensor.Reading // the thermocouple that is controlled
	Others     []sensor.Reading
	Door       sensor.Door // where a switch is fitted
	Commands   []Command
	LogBehind  bool // the journal cannot write
	OutputDead bool // the output did not take the last command
}

// Output is what one tick asks for.
type Output struct {
	Heat   bool // heat relay closed until the next tick
	Air    bool // fresh-air relay closed
	Main   bool // second contactor closed: the firing may go on heating
	Record record.Reading
	Events []record.Event
	Ended  bool // nothing more will be heated in this firing
}

// Lines is the output as the heater takes it.
func (o Output) Lines() Lines { return Lines{Heat: o.Heat, Air: o.Air, Main: o.Main} }

// Outcome names how a firing ended: "finished", "stopped", "tripped", or ""
// while it runs.
func (s State) Outcome() string {
	switch s.Phase {
	case record.Done:
		return "finished"
	case record.Stopped:
		return "stopped"
	case record.Tripped:
		return "tripped"
	}
	return ""
}

// Snapshot is the state as bytes, for the journal.
func (s State) Snapshot() ([]byte, error) { return json.Marshal(s) }

// Restore reads a snapshot for a firing that goes on after an interruption:
// the relay counts as just opened and the guards start anew.
func Restore(b []byte) (State, error) {
	var s State
	if err := json.Unmarshal(b, &s); err != nil {
		return State{}, fmt.Errorf("controller: the snapshot of the firing cannot be read: %w", err)
	}
	if s.Plan.Step < 0 {
		return State{}, fmt.Errorf("controller: the snapshot of the firing is in step %d; the first is 0", s.Plan.Step)
	}
	return interrupted(s), nil
}

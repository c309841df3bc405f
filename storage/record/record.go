// Package record says what calx keeps of a firing, and how it looks as bytes.
// It knows no database: storage puts these bytes into one, export and replay
// read them back. Everything a firing can be re-derived from is here.
package record

import "time"

// Severity grades an event.
type Severity uint8

// From everyday to heat stopped.
const (
	Info Severity = iota
	Warn
	Alarm // a guard stopped the heat, or somebody must act now
)

// Firing is the head of one firing: written when it starts, mended when it
// ends.
type Firing struct {
	ID       uint64    // 1, 2, 3 … in the order they were started
	Name     string    // what the person called it; may be empty
	Started  time.Time // wall clock at the start, UTC
	Ended    time.Time // zero while it runs
	Boot     string    // identity of the boot it started in
	Outcome  string    // "" while it runs; "finished", "stopped", "tripped", "interrupted"
	Reason   string    // for people: why it ended as it did
	Profile  string    // the profile, in sentences
	Kiln     string    // the kiln file, YAML
	Moulds   []string  // the mould files, YAML, one for each kind of mould; nil when nobody said
	Beliefs  string    // what was held of the pieces in them when it began, JSON; "": the physics alone
	Config   string    // settings of the controller, JSON
	Channels []Channel // what each entry of Reading.Channels is
	PeriodMS uint32    // nominal time between readings
	Units    string    // "C" or "F": how the person reads it
	Version  string    // calx version that wrote it
	Readings uint64    // one more than the last Seq; 0 while it runs; storage keeps it
	AfterCut string    // what the person wanted after a power cut; "" in a log from before one could say
	Control  string    // all else that the controller was given, JSON; "" in a log from before it was kept
	Imported string    // where a firing comes from that was recorded elsewhere: the file it was read from; "" for calx's own
	Runs     []Run     // the turns that calx took at it: one when it began, one for each time it was taken up again
}

// Run is one process's turn at a firing. With it, how long an interruption
// lasted is known exactly when the board stayed up, whatever its clock shows.
type Run struct {
	Boot   string        // identity of the boot; "" unknown
	Since  time.Duration // time of the firing when the turn began
	Uptime time.Duration // the boot's monotonic clock at that moment; 0 unknown
}

// Channel is one thermocouple.
type Channel struct {
	Role string // "chamber", "witness 1" …
	Chip string // "max31855", "max31856", "max6675"
	Type string // thermocouple letter
	Port string // "SPI0.0"
}

// Sample is one channel of one reading. HotC is derived from the codes and is
// kept exactly (all 64 bits).
type Sample struct {
	HotC     float64 // °C; NaN when Fault is not 0
	ColdC    float64 // °C; NaN where the chip has none
	HotCode  int32   // as sent by the chip
	ColdCode int32   // as sent by the chip
	Fault    uint16  // sensor.Fault
}

// Phase is what the controller was doing.
type Phase uint8

// The phases of a firing.
const (
	Idle    Phase = iota
	Ramping       // following a ramp, up or down
	Holding       // at a hold whose clock runs
	Waiting       // the plan waits for the kiln: hold-back
	Paused        // a person paused it
	Cooling       // heat off by plan
	Done          // finished by plan
	Stopped       // ended by a person
	Tripped       // ended by a guard
)

// Names of the phases, in order.
var phaseNames = [...]string{"idle", "ramping", "holding", "waiting", "paused", "cooling", "done", "stopped", "tripped"}

func (p Phase) String() string {
	if int(p) < len(phaseNames) {
		return phaseNames[p]
	}
	return "unknown"
}

// Reading is what one tick of the controller leaves behind.
type Reading struct {
	Seq       uint64        // 0, 1, 2 … within the firing, without gaps
	Since     time.Duration // monotonic, since the firing started
	Wall      time.Time     // wall clock, UTC, to the millisecond; may jump
	Channels  []Sample      // as Firing.Channels
	SetpointC float64       // °C; NaN when there is none
	Duty      float64       // asked for, 0..1
	Relay     bool          // heat relay commanded on after this tick
	Air       bool          // fresh-air relay commanded on
	EnergyJ   float64       // since the start, from rated power and relay time
	Step      uint16        // index of the profile step, from 0
	Phase     Phase
	Door      uint8     // sensor.Door; 0 where no switch is fitted
	Observer  []float64 // state of the mould observer; nil without one
}

// Event is something a person may want to know later.
type Event struct {
	Seq      uint64        // 0, 1, 2 … within the firing
	Since    time.Duration // monotonic, since the firing started
	Wall     time.Time     // wall clock, UTC
	Code     string        // from the notice catalogue: "step", "hold-back", "trip-open" …
	Severity Severity
	Step     uint16
	Text     string // what happened and what calx did
	Hint     string // what to do; may be empty
}

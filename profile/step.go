package profile

import (
	"slices"
	"time"
)

// Kind is what a step does.
type Kind uint8

// The kinds of step. Ceiling sentences are not steps: see Profile.CeilingC.
const (
	Heat Kind = iota + 1 // raise the setpoint to TargetC
	Cool                 // lower the setpoint to TargetC
	Hold                 // keep the setpoint where it is until Until is met
	Wait                 // heat off until the chamber is below TargetC
	Air                  // switch the fresh-air relay to On
	Tell                 // tell the person Message, and go on
)

// Pace is how a Heat or Cool step moves.
type Pace uint8

// The paces of a ramp.
const (
	ByRate    Pace = iota + 1 // RateCPerH
	InTime                    // For
	Fastest                   // "as fast as possible": full power, or unpowered when cooling
	Unpowered                 // Cool only: heat off, at the kiln's own pace
)

// Until is what ends a Hold.
type Until uint8

// The ends of a hold. UntilDry, UntilCore and UntilClear need a mould.
const (
	Elapsed      Until = iota + 1 // For has passed
	ClockTime                     // the wall clock reads Hour:Minute
	UntilDry                      // no free water left in the mould
	UntilCore                     // the core is within WithinC of the setpoint
	UntilClear                    // the chance that the pattern is clear reaches Clear
	UntilStopped                  // somebody says step on
	UntilDoor                     // the door of the kiln is opened; needs a switch at it
)

// Step is one step of a profile. Fields that the Kind does not use are zero.
// Temperatures and rates lie on a grid of 1e-6 °C, durations of 1 ms and Clear
// of 1e-6 where a step comes from text or JSON. A Wait leaves the setpoint at
// TargetC, or where it was when that is lower.
type Step struct {
	Kind      Kind
	Line      int           // line in the text, from 1; 0 when it did not come from text
	TargetC   float64       // Heat, Cool, Wait: °C
	Pace      Pace          // Heat, Cool
	RateCPerH float64       // ByRate: °C per hour, always > 0
	For       time.Duration // InTime, Elapsed
	Until     Until         // Hold
	Hour      int           // ClockTime: 0..23, local time
	Minute    int           // ClockTime: 0..59
	WithinC   float64       // UntilCore: °C, > 0
	Clear     float64       // UntilClear: 0..1
	AtLeast   time.Duration // Hold that ends on an observation: 0 = none
	AtMost    time.Duration // Hold that ends on an observation or a person: 0 = none
	On        bool          // Air
	Message   string        // Tell
}

// Profile is a firing as a person wrote it.
type Profile struct {
	CeilingC   float64 // "never above": °C; 0 = none given
	Fahrenheit bool    // the person wrote °F; only for showing it back
	Steps      []Step
}

// inDegrees says whether anything in the profile has a unit to be shown in.
// Where nothing has one, text has no place to keep it either.
func (p *Profile) inDegrees() bool {
	return p.CeilingC != 0 || slices.ContainsFunc(p.Steps, func(s Step) bool {
		return s.Kind == Heat || s.Kind == Cool || s.Kind == Wait || s.Until == UntilCore
	})
}

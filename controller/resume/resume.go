package resume

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Policy is what a person wants after a power cut.
type Policy uint8

// The policies.
const (
	IfShort Policy = iota // go on by itself when less than ShortC was lost, else wait for a person
	GoOn                  // go on by itself whenever the moulds allow it
	Ask                   // always wait for a person
	End                   // end the firing
)

var names = [...]string{"go-on-if-short", "go-on", "ask", "end"}

// Names are the words for the policies, in their order.
func Names() []string { return append([]string(nil), names[:]...) }

func (p Policy) String() string { return names[p] }

// ParsePolicy reads a word; "" is the usual policy, IfShort.
func ParsePolicy(word string) (Policy, error) {
	if word == "" {
		return IfShort, nil
	}
	for i, n := range names {
		if word == n {
			return Policy(i), nil
		}
	}
	return IfShort, fmt.Errorf("read %q; it must be one of %s", word, strings.Join(names[:], ", "))
}

// ShortC is the loss below which an interruption is short, °C: a small kiln
// loses it in five to twenty minutes. Common practice, no source.
const ShortC = 30.0

// The cristobalite inversion of the investment, and where water boils, °C. A
// mould that falls through the whole inversion moves through it twice, and may
// have cracked. Common practice, no source.
const (
	inversionLowC, inversionHighC = 200.0, 280.0
	quartzLowC, quartzHighC       = 550.0, 600.0
	steamC                        = 100.0
)

// Case is a firing as the interruption left it, and the kiln as it is found.
type Case struct {
	Policy  Policy
	Tripped bool          // a guard had ended it, or a trip is latched
	MostGap time.Duration // the longest after which it goes on by itself; 0: any
	Gap     Gap
	BeforeC float64 // last reading that was believed, °C; NaN for none
	NowC    float64 // what the chamber has now, °C; NaN for none
	// NeedC is what the plan needs at the least, °C: the setpoint it must come
	// back to; the target of a cooling step; NaN when it needs no heat.
	NeedC    float64
	DoorOpen bool
	Moulds   bool   // somebody said what stands in the kiln
	Wet      bool   // there is free water in it, as far as is known
	Steam    bool   // the profile has a hold in which it can be steamed
	Damage   string // what of the record cannot be read; "" for nothing
	Waited   string // why it already waited for a person; "" when it did not
	InF      bool   // word temperatures in °F
}

// Action is what is to become of a firing.
type Action uint8

// From the safest.
const (
	Over    Action = iota // end its record; the heat stays off
	Wait                  // keep it open without heat until a person says what next
	Proceed               // go on by itself
)

func (a Action) String() string { return [...]string{"over", "waits for a person", "goes on"}[a] }

// Verdict is an action with its reason.
type Verdict struct {
	Do      Action
	Why     string // for people, without a full stop
	Passing bool   // the reason may go away within moments: a first reading, a clock that is set
}

// CostC is what an interruption cost, °C: how far the chamber fell, below what
// the plan needs of it. Cuts in a row add up, since the plan still needs what
// the first one took.
func (c Case) CostC() float64 {
	fell := math.Max(c.BeforeC-c.NowC, c.NeedC-c.NowC)
	if c.NeedC < c.BeforeC {
		fell = c.NeedC - c.NowC // a cooling step
	}
	if math.IsNaN(c.NeedC) || math.IsNaN(fell) {
		return 0
	}
	return math.Max(fell, 0)
}

// Judge decides. It never goes on past a trip, without a temperature, with the
// door open, or after a time that nobody knows.
func Judge(c Case) Verdict {
	was := "calx was interrupted for " + c.Gap.String()
	if c.Gap.Most < 0 {
		was = "calx was interrupted, nobody knows how long"
	}
	if c.Gap.By != "" {
		was += " (" + c.Gap.By + ")"
	}
	say := func(do Action, format string, a ...any) Verdict {
		return Verdict{Do: do, Why: was + fmt.Sprintf(format, a...)}
	}
	switch {
	case c.Tripped:
		return say(Over, ", and a guard had ended the firing before")
	case c.Policy == End:
		return say(Over, ", and the firing was to end at a power cut")
	case c.Waited != "":
		return Verdict{Do: Wait, Why: c.Waited}
	case math.IsNaN(c.NowC):
		v := say(Wait, ", and there is no valid temperature to go on from")
		v.Passing = true
		return v
	case c.DoorOpen:
		return say(Wait, ", and the door is open")
	case c.Policy == Ask:
		return say(Wait, "; the chamber went from %s to %s, and a person was to be asked", c.temp(c.BeforeC), c.temp(c.NowC))
	}
	return c.weigh(say)
}

// weigh looks at what was lost.
func (c Case) weigh(say func(Action, string, ...any) Verdict) Verdict {
	went := fmt.Sprintf("; the chamber went from %s to %s", c.temp(c.BeforeC), c.temp(c.NowC))
	if math.IsNaN(c.BeforeC) {
		went = "; the chamber is at " + c.temp(c.NowC)
	}
	cost := c.CostC()
	switch {
	case c.Gap.Most < 0 && !math.IsNaN(c.NeedC):
		v := say(Wait, "%s", went)
		v.Passing = true
		return v
	case c.MostGap > 0 && c.Gap.Most > c.MostGap:
		v := say(Wait, "%s, and resume_within in calx.yaml is %s", went, span(c.MostGap))
		v.Passing = c.Gap.Least <= c.MostGap // the network may set the clock yet
		return v
	case c.Policy == IfShort && cost >= ShortC:
		return say(Wait, "%s: %s were lost, and from %s on a person is asked%s", went, c.delta(cost), c.delta(ShortC), c.risk())
	case c.BeforeC >= inversionHighC && c.NowC < inversionLowC && c.NeedC > inversionLowC:
		return say(Wait, "%s, through the whole inversion from %s to %s: the moulds may have cracked; look at them first", went, c.temp(inversionHighC), c.temp(inversionLowC))
	}
	if c.Damage != "" {
		went += "; part of its record cannot be read (" + c.Damage + ")"
	}
	return say(Proceed, "%s", went+c.risk())
}

// risk says in words what the way back has to go through.
func (c Case) risk() string {
	if math.IsNaN(c.NeedC) {
		return ""
	}
	var out []string
	through := func(lowC, highC float64) bool { return c.NowC < highC && math.Max(c.BeforeC, c.NeedC) > lowC }
	switch {
	case c.Wet && c.NowC < steamC && c.BeforeC >= steamC && c.Steam:
		out = append(out, "the moulds are wet and have stopped steaming, so the steam hold begins anew")
	case c.Wet && c.NowC < steamC && c.BeforeC >= steamC:
		out = append(out, "the moulds are wet and have stopped steaming")
	case c.Wet && c.CostC() > 0:
		out = append(out, "the moulds are wet")
	}
	if c.CostC() > 0 && (through(inversionLowC, inversionHighC) || through(quartzLowC, quartzHighC)) {
		out = append(out, "the way back leads through an inversion")
	}
	if len(out) == 0 {
		return ""
	}
	return "; " + strings.Join(out, "; ")
}

func (c Case) temp(tC float64) string {
	switch {
	case math.IsNaN(tC):
		return "an unknown temperature"
	case c.InF:
		return fmt.Sprintf("%.0f °F", tC*9/5+32)
	}
	return fmt.Sprintf("%.0f °C", tC)
}

func (c Case) delta(d float64) string {
	if c.InF {
		return fmt.Sprintf("%.0f °F", d*9/5)
	}
	return fmt.Sprintf("%.0f °C", d)
}

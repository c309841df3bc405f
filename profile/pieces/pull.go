package pieces

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"
)

// State is what a piece looks like when it is broken open.
type State int

// The states, in the order a piece passes through them.
const (
	Raw      State = iota // not charred through: the core stayed under about 400 °C
	Charred               // char up to the wall: no ring of ash of 0.5 mm
	CharCore              // ash outside, char inside
	Ash                   // ash, no char
	Clear                 // ash, no char, and the ash falls or blows out
)

var stateNames = [...]string{"raw", "charred", "char core", "ash", "clear"}

func (s State) String() string {
	if s < Raw || s > Clear {
		return fmt.Sprintf("state %d", int(s))
	}
	return stateNames[s]
}

// ParseState reads the name of a state; case does not matter.
func ParseState(name string) (State, error) {
	for i, n := range stateNames {
		if strings.EqualFold(strings.TrimSpace(name), n) {
			return State(i), nil
		}
	}
	return 0, fmt.Errorf("pieces: state %q is none of %s", name, strings.Join(stateNames[:], ", "))
}

// Pull is one look at one test piece.
type Pull struct {
	// Piece names it. Looks at the same piece of the same firing are taken
	// together; a piece without a name is looked at once.
	Piece string
	// Firing names it. Pieces of one named firing share Prior.FiringSD.
	Firing string
	Kind   Kind
	// SectionM is the thickest place, in m; 0.0002 to 0.3.
	SectionM float64
	State    State
	// CoreM is the diameter of the char core in m, under SectionM; 0 is not
	// measured. Only for CharCore.
	CoreM float64
	// DryKg and ResidueKg are what the piece weighed dry before and what is
	// left of it, char and ash, in kg; 0 is not weighed.
	DryKg, ResidueKg float64
	// History of the pattern's temperature until the pull; in a plug that of
	// the plug's core, not of the chamber.
	History []Sample
}

// Figures of the reading of a broken piece.
const (
	firstRing  = 0.2  // burn-off at which a ring of ash shows: 0.5 mm on 10 mm
	tolerance  = 0.15 // of a burn-off from a core's diameter or a weight
	leastOff   = 0.05 // a burn-off below this bounds nothing from above
	yieldRange = 0.2  // relative, of the char a material leaves
)

// look says that log(dose at clear) lies in (log dose + lo, log dose + hi].
type look struct {
	dose   dose
	lo, hi float64
}

// looks turns a pull into intervals. Burn-off goes linearly with equivalent
// minutes while air supply limits it (within 0.012 in sim/mould), so a burn-off
// of X after a dose of θ says clear at θ/X.
func (p Pull) looks(d dose, m Material) []look {
	inf := math.Inf(1)
	var all []look
	switch {
	case p.State == Raw || p.State == Charred:
		all = append(all, look{d, -math.Log(firstRing), inf})
	case p.State >= Ash:
		all = append(all, look{d, -inf, 0})
	case p.CoreM > 0:
		x := 1 - p.CoreM*p.CoreM/(p.SectionM*p.SectionM)
		all = append(all, look{d, -math.Log(math.Min(1, x+tolerance)), -math.Log(math.Max(x-tolerance, leastOff))})
	default:
		all = append(all, look{d, 0, -math.Log(firstRing)})
	}
	if p.ResidueKg > 0 {
		all = append(all, p.weighed(d, m))
	}
	return all
}

// weighed reads the burn-off from the residue: less ash, over the char that a
// piece of that mass leaves.
func (p Pull) weighed(d dose, m Material) look {
	left := math.Max(0, (p.ResidueKg-m.Ash*p.DryKg)/(m.Char*p.DryKg))
	slack := tolerance + yieldRange*left
	least, most := 1-left-slack, 1-left+slack
	l := look{d, math.Inf(-1), math.Inf(1)}
	if most < 1 {
		l.lo = -math.Log(math.Max(most, leastOff))
	}
	if least > leastOff {
		l.hi = -math.Log(least)
	}
	return l
}

// check names every field that is out of range; i counts from 0.
func (p Pull) check(i int) error {
	name := fmt.Sprintf("pieces: pull %d", i+1)
	if p.Piece != "" {
		name += fmt.Sprintf(" (%s)", p.Piece)
	}
	var bad []error
	say := func(format string, args ...any) {
		bad = append(bad, fmt.Errorf(name+": "+format, args...))
	}
	if err := (Part{Kind: p.Kind, SectionM: p.SectionM}).check(); err != nil {
		say("%w", err)
	}
	if p.State < Raw || p.State > Clear {
		say("%v is not known; it is one of %s", p.State, strings.Join(stateNames[:], ", "))
	}
	if p.CoreM != 0 && p.State != CharCore {
		say("core %.3g mm given, but the piece is %v; a diameter belongs to a char core", 1000*p.CoreM, p.State)
	}
	if !(p.CoreM >= 0 && p.CoreM <= p.SectionM) {
		say("core %.3g mm is outside 0 to the section of %.3g mm", 1000*p.CoreM, 1000*p.SectionM)
	}
	switch {
	case p.ResidueKg == 0 && p.DryKg >= 0 && p.DryKg <= 10:
	case !(p.DryKg > 0 && p.DryKg <= 10):
		say("dry mass %.4g g is outside 0 to 10000 g; a residue needs it", 1000*p.DryKg)
	case !(p.ResidueKg > 0 && p.ResidueKg <= p.DryKg):
		say("residue %.4g g is outside 0 to the dry mass of %.4g g", 1000*p.ResidueKg, 1000*p.DryKg)
	}
	if err := checkHistory(p.History); err != nil {
		say("%w", err)
	}
	if n := len(p.History); n == 0 || p.History[n-1].Since <= p.History[0].Since {
		say("history of %d samples has no length; it needs two at least, from the start to the pull", n)
	}
	return errors.Join(bad...)
}

// checkHistory accepts an empty history: nothing has been fired yet.
func checkHistory(h []Sample) error {
	for i, s := range h {
		switch {
		case !(s.TempC >= -50 && s.TempC <= 1300):
			return fmt.Errorf("history sample %d: %g °C is outside -50 to 1300 °C", i+1, s.TempC)
		case !(s.Oxygen >= 0 && s.Oxygen <= 1):
			return fmt.Errorf("history sample %d: oxygen %g is outside 0 to 1 (mole fraction)", i+1, s.Oxygen)
		case s.Since < 0 || s.Since > 90*24*time.Hour:
			return fmt.Errorf("history sample %d: %v is outside 0 to 90 days", i+1, s.Since)
		case i > 0 && s.Since < h[i-1].Since:
			return fmt.Errorf("history sample %d: %v comes after %v; times must rise", i+1, s.Since, h[i-1].Since)
		}
	}
	return nil
}

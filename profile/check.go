package profile

import (
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Limits of a profile, stated in the errors and in the JSON schema.
const (
	minTargetC  = -20  // a kiln in an unheated winter shed
	maxTargetC  = 1400 // above any small electric kiln's elements
	minRateCPH  = 1    // slower is a hold, and a slip of the pen
	maxRateCPH  = 5000 // faster than any of them
	maxWithinC  = 200  // a core further off is not "within"
	minClear    = 0.01
	maxClear    = 0.999
	maxTime     = 30 * 24 * time.Hour // for one step
	maxMessage  = 200                 // characters
	maxTimeText = "30 days (720 h)"
)

// Check finds everything wrong with a profile that did not come from Parse,
// such as a planned one: Errors, or nil when Parse would read its text back.
func (p *Profile) Check() error {
	steps := make([]placed, len(p.Steps))
	for i, s := range p.Steps {
		steps[i] = placed{Step: s, index: i, unit: scaleOf(p.Fahrenheit)}
	}
	var ceiling *placed
	if p.CeilingC != 0 {
		ceiling = &placed{Step: Step{TargetC: p.CeilingC}, index: -1, unit: scaleOf(p.Fahrenheit)}
	}
	errs := check(ceiling, steps)
	for _, s := range steps {
		if _, ok := kinds[s.Kind]; !ok {
			errs = append(errs, s.fault(partSentence, "is no kind of step; it is one of heat, cool, hold, wait, air and tell"))
		}
	}
	switch n := len(p.Steps); {
	case n == 0:
		errs = append(errs, &Error{Want: "there is no step in this profile; it needs at least one"})
	case n > maxSteps:
		errs = append(errs, tooManySteps(n))
	}
	if len(errs) > 0 {
		return errs
	}
	return nil
}

func tooManySteps(n int) *Error {
	return &Error{Want: fmt.Sprintf("there are %d steps; a profile has at most %d", n, maxSteps)}
}

// checker walks the steps in order and knows the last target.
type checker struct {
	ceiling *placed
	lastC   float64
	known   bool
	errs    Errors
}

// check finds everything that cannot be meant. Steps of Kind 0 are lines that
// could not be read; ceiling may be nil.
func check(ceiling *placed, steps []placed) Errors {
	c := &checker{ceiling: ceiling}
	if ceiling != nil && !(ceiling.TargetC > 0 && ceiling.TargetC <= maxTargetC) {
		c.bad(*ceiling, partTarget, fmt.Sprintf("is no ceiling; write one above %s and up to %s",
			ceiling.show(partTarget, 0), ceiling.show(partTarget, maxTargetC)))
		c.ceiling = nil
	}
	for _, s := range steps {
		c.step(s)
	}
	return c.errs
}

func (c *checker) bad(s placed, p part, want string) {
	c.errs = append(c.errs, s.fault(p, want))
}

func (c *checker) step(s placed) {
	switch s.Kind {
	case Heat, Cool:
		c.ramp(s)
	case Hold:
		c.hold(s)
	case Wait:
		if c.target(s) {
			c.lastC, c.known = s.TargetC, true
		}
	case Tell:
		c.tell(s)
	case Air:
	default:
		c.known = false
	}
}

// target checks the range and says whether the target can be trusted.
func (c *checker) target(s placed) bool {
	if s.TargetC >= minTargetC && s.TargetC <= maxTargetC {
		return true
	}
	c.bad(s, partTarget, fmt.Sprintf("is out of range; a target lies between %s and %s",
		s.show(partTarget, minTargetC), s.show(partTarget, maxTargetC)))
	return false
}

func (c *checker) ramp(s placed) {
	c.pace(s)
	if !c.target(s) {
		c.known = false
		return
	}
	if top := c.ceiling; top != nil && s.TargetC > top.TargetC {
		limit := s.show(partTarget, top.TargetC)
		c.bad(s, partTarget, fmt.Sprintf(`is above your ceiling of %s; write %s or lower, or raise "never above"`, limit, limit))
	}
	if c.known {
		c.direction(s)
	}
	c.lastC, c.known = s.TargetC, true
}

// direction refuses a heat that goes down and a cool that goes up.
func (c *checker) direction(s placed) {
	t, last := s.show(partTarget, s.TargetC), s.show(partTarget, c.lastC)
	switch {
	case s.Kind == Heat && s.TargetC < c.lastC:
		c.bad(s, partTarget, fmt.Sprintf(`is below the %s before it; write "cool to %s" to go down, or heat to more than %s`, last, t, last))
	case s.Kind == Cool && s.TargetC > c.lastC:
		c.bad(s, partTarget, fmt.Sprintf(`is above the %s before it; write "heat to %s" to go up, or cool to less than %s`, last, t, last))
	case s.Pace == InTime && s.For > 0:
		c.implied(s)
	}
}

// implied checks the rate that a ramp in a given time comes to.
func (c *checker) implied(s placed) {
	gap := s.TargetC - c.lastC
	if gap < 0 {
		gap = -gap
	}
	if r := gap / s.For.Hours(); r > maxRateCPH {
		u := s.scaleAt(partTarget)
		c.bad(s, partFor, fmt.Sprintf("is too short for %s, that is faster than %s/h; give it more time",
			u.showDiff(gap), u.showDiff(maxRateCPH)))
	}
}

func (c *checker) pace(s placed) {
	switch s.Pace {
	case ByRate:
		c.rate(s)
	case InTime:
		c.time(s, partFor, s.For)
	case Unpowered:
		if s.Kind == Heat {
			c.bad(s, partPace, `is how a kiln cools; write "as fast as possible" to heat at full power`)
		}
	case Fastest:
	default:
		c.bad(s, partSentence, "does not say how fast; "+usage[verb(s.Kind)])
	}
}

func (c *checker) rate(s placed) {
	u := s.scaleAt(partRate)
	lo, hi := u.showDiff(minRateCPH)+"/h", u.showDiff(maxRateCPH)+"/h"
	switch {
	case !(s.RateCPerH > 0):
		c.bad(s, partRate, "is not a rate; write it above zero, the word heat or cool gives the direction")
	case s.RateCPerH < minRateCPH:
		c.bad(s, partRate, "is slower than "+lo+`; write a faster rate, or "hold" to stay where it is`)
	case s.RateCPerH > maxRateCPH:
		c.bad(s, partRate, "is more than any kiln can do; write a rate up to "+hi)
	}
}

// time refuses a duration that is not positive or absurdly long.
func (c *checker) time(s placed, p part, d time.Duration) {
	switch {
	case d <= 0:
		c.bad(s, p, "takes no time; write a duration above zero, such as 30 min")
	case d > maxTime:
		c.bad(s, p, "is longer than "+maxTimeText+"; write a shorter time")
	}
}

func (c *checker) tell(s placed) {
	n := utf8.RuneCountInString(s.Message)
	switch {
	case strings.TrimSpace(s.Message) == "":
		c.bad(s, partMessage, `says nothing; write tell "open the vent"`)
	case n > maxMessage:
		c.bad(s, partMessage, fmt.Sprintf("is %d characters long; a message has at most %d", n, maxMessage))
	case !utf8.ValidString(s.Message) || strings.ContainsFunc(s.Message, unicode.IsControl):
		c.bad(s, partMessage, "has a control character in it; write plain text on one line")
	}
}

func (c *checker) hold(s placed) {
	switch s.Until {
	case Elapsed:
		c.time(s, partFor, s.For)
		c.unbounded(s, "this hold already says how long it is")
	case ClockTime:
		if s.Hour < 0 || s.Hour > 23 || s.Minute < 0 || s.Minute > 59 {
			c.bad(s, partClock, "is no time of day; write it between 00:00 and 23:59")
		}
		c.unbounded(s, "this hold already ends at a time of day")
	case UntilStopped, UntilDoor:
		if s.AtLeast != 0 {
			c.bad(s, partAtLeast, `somebody ends this hold; only "at most" goes with it`)
		}
		c.most(s)
	case UntilDry, UntilCore, UntilClear:
		c.observed(s)
		c.most(s)
	default:
		c.bad(s, partSentence, "does not say when it ends; "+usage["hold"])
	}
}

// unbounded refuses bounds on a hold that ends by itself.
func (c *checker) unbounded(s placed, why string) {
	if s.AtLeast != 0 {
		c.bad(s, partAtLeast, why+`; leave "at least" out`)
	}
	if s.AtMost != 0 {
		c.bad(s, partAtMost, why+`; leave "at most" out`)
	}
}

func (c *checker) observed(s placed) {
	u := s.scaleAt(partWithin)
	switch {
	case s.Until == UntilCore && !(s.WithinC > 0 && s.WithinC <= maxWithinC):
		c.bad(s, partWithin, "is not a nearness; write a difference above zero and up to "+u.showDiff(maxWithinC))
	case s.Until == UntilClear && !(s.Clear >= minClear && s.Clear <= maxClear):
		c.bad(s, partClear, "is out of range; write a chance between 1% and 99.9%, no hold can promise 100%")
	}
}

// most holds the rule that a hold must end with nobody awake.
func (c *checker) most(s placed) {
	_, said := s.marks[partAtMost]
	switch {
	case s.AtMost == 0 && !said:
		c.bad(s, partUntil, `has no longest time, and nobody may be there to end it; write "`+
			sentenceOf(s.Step, s.scaleAt(partWithin))+`, at most 6 h" with your own time`)
	case s.AtMost <= 0 || s.AtMost > maxTime:
		c.time(s, partAtMost, s.AtMost)
	case s.AtLeast < 0:
		c.time(s, partAtLeast, s.AtLeast)
	case s.AtLeast > s.AtMost:
		c.bad(s, partAtLeast, "is longer than at most "+span(s.AtMost)+"; make it "+span(s.AtMost)+" or less")
	}
}

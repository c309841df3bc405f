package profile

import (
	"fmt"
	"math"
	"sort"
	"time"
)

// Outlook is what a timeline needs to know about the kiln and the start. The
// zero value plans for a kiln without limits from 0 °C.
type Outlook struct {
	StartC float64   // chamber at the start, °C
	Start  time.Time // local wall clock at the start, for "hold until 14:00"; zero = unknown
	MaxC   float64   // the kiln's maximum, °C; 0 = unknown

	// FullRateCPerH is the fastest the kiln heats at tC, °C/h; nil = without
	// limit. At or below 1 °C/h the kiln counts as stuck.
	FullRateCPerH func(tC float64) float64

	// CoolRateCPerH is how fast the kiln cools with the heat off at tC, °C/h,
	// positive; nil = unknown, then 100 °C/h is assumed and noted.
	CoolRateCPerH func(tC float64) float64

	// Hold guesses the length of a hold that ends on an observation or a
	// person; the guess is kept within the hold's bounds. nil = at least, or
	// else half of at most, and noted.
	Hold func(s Step) time.Duration
}

// Point is one point of a curved segment.
type Point struct {
	At    time.Duration // since the start
	PlanC float64       // °C
}

// Segment is one step in time.
type Segment struct {
	Step         int           // index into Profile.Steps, from 0
	From, To     time.Duration // since the start, as written
	FromC, ToC   float64       // planned temperature at both ends, °C
	Open         bool          // ends on an observation or a person: To is a guess
	Powered      bool          // the elements may heat
	Points       []Point       // a curve from From to To; nil = straight line
	ExpectedFrom time.Duration // From and To with the kiln's limits
	ExpectedTo   time.Duration
}

// Problem is something about one step.
type Problem struct {
	Step int    // index into Profile.Steps, from 0
	Line int    // line in the text, from 1; 0 when there is none
	Text string // what is wrong and what it comes to
}

// String names the place: `line 6: 120 C/h is more than …`.
func (p Problem) String() string {
	if p.Line > 0 {
		return fmt.Sprintf("line %d: %s", p.Line, p.Text)
	}
	return fmt.Sprintf("step %d: %s", p.Step+1, p.Text)
}

// Timeline is a profile laid out over time. It has one segment a step, some of
// no length, in order and without gaps.
type Timeline struct {
	Segments []Segment
	Total    time.Duration // as written
	Expected time.Duration // with the kiln's limits; up to the first step it never finishes when Stuck
	Stuck    bool          // a step never ends on this kiln, see Problems
	Problems []Problem     // what is impossible or surely not meant, at most a few a step
	Notes    []Problem     // what had to be assumed
}

// At gives the planned temperature, °C, and the step, from 0, at time d since
// the start, as written. ok is false before the start and after the end; the
// values are then those of the nearer end.
func (t *Timeline) At(d time.Duration) (planC float64, step int, ok bool) {
	n := len(t.Segments)
	if n == 0 {
		return math.NaN(), 0, false
	}
	i := sort.Search(n, func(i int) bool { return t.Segments[i].To > d })
	if i == n {
		last := t.Segments[n-1]
		return last.ToC, last.Step, d == t.Total
	}
	s := &t.Segments[i]
	if d < s.From {
		return s.FromC, s.Step, false
	}
	return s.at(d), s.Step, true
}

// at interpolates within the segment.
func (s *Segment) at(d time.Duration) float64 {
	a, b := Point{s.From, s.FromC}, Point{s.To, s.ToC}
	if n := len(s.Points); n > 1 {
		i := min(max(1, sort.Search(n, func(i int) bool { return s.Points[i].At > d })), n-1)
		a, b = s.Points[i-1], s.Points[i]
	}
	if b.At <= a.At {
		return b.PlanC
	}
	f := float64(d-a.At) / float64(b.At-a.At)
	// the conversions keep the result the same on every architecture
	return float64(a.PlanC*(1-f)) + float64(b.PlanC*f)
}

// NextClock is the first moment at or after from when the wall clock of from's
// location reads hour:minute. On the night the clock springs forward a time
// that does not exist is moved as time.Date moves it.
func NextClock(from time.Time, hour, minute int) time.Time {
	y, m, d := from.Date()
	at := time.Date(y, m, d, hour, minute, 0, 0, from.Location())
	if at.Before(from) {
		at = time.Date(y, m, d+1, hour, minute, 0, 0, from.Location())
	}
	return at
}

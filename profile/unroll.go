package profile

import (
	"fmt"
	"math"
	"time"
)

const (
	nominalCoolCPerH = 100            // assumed when the kiln's cooling is unknown
	longWait         = 12 * time.Hour // a hold until a time of day beyond this was surely not meant
	worthSaying      = time.Minute    // delays below this are not a problem
)

// Unroll lays a profile out over time for a kiln. The profile must be a valid
// one: from Parse or past Check.
func Unroll(p *Profile, o Outlook) *Timeline {
	u := &unroller{o: o, unit: scaleOf(p.Fahrenheit), nowC: o.StartC, out: &Timeline{}}
	for i, s := range p.Steps {
		u.step(i, s)
	}
	u.out.Total = u.now
	if !u.out.Stuck {
		u.out.Expected = u.expected
	}
	return u.out
}

type unroller struct {
	o        Outlook
	unit     scale
	out      *Timeline
	now      time.Duration // as written
	expected time.Duration // with the kiln's limits
	nowC     float64
	index    int
	line     int
}

func (u *unroller) problem(format string, args ...any) {
	u.out.Problems = append(u.out.Problems, Problem{u.index, u.line, fmt.Sprintf(format, args...)})
}

func (u *unroller) note(format string, args ...any) {
	u.out.Notes = append(u.out.Notes, Problem{u.index, u.line, fmt.Sprintf(format, args...)})
}

func (u *unroller) step(i int, s Step) {
	u.index, u.line = i, s.Line
	switch s.Kind {
	case Heat, Cool:
		u.ramp(s)
	case Wait:
		u.wait(s)
	case Hold:
		u.hold(s)
	default:
		u.add(Segment{ToC: u.nowC, Powered: true}, 0, 0)
	}
}

// add appends a segment of the given lengths that ends at its ToC.
func (u *unroller) add(s Segment, written, expected time.Duration) {
	s.Step, s.FromC = u.index, u.nowC
	s.From, s.ExpectedFrom = u.now, u.expected
	s.To, s.ExpectedTo = u.now+written, u.expected+expected
	u.now, u.expected, u.nowC = s.To, s.ExpectedTo, s.ToC
	u.out.Segments = append(u.out.Segments, s)
}

// stuck records the first step that never ends.
func (u *unroller) stuck() {
	if !u.out.Stuck {
		u.out.Stuck, u.out.Expected = true, u.expected
	}
}

func (u *unroller) hold(s Step) {
	seg := Segment{ToC: u.nowC, Powered: true}
	switch s.Until {
	case Elapsed:
		u.add(seg, s.For, s.For)
	case ClockTime:
		u.untilClock(s, seg)
	default:
		seg.Open = true
		d := u.guess(s)
		u.add(seg, d, d)
	}
}

func (u *unroller) untilClock(s Step, seg Segment) {
	if u.o.Start.IsZero() {
		u.note("how long this holds depends on when the firing starts; counted as nothing")
		u.add(seg, 0, 0)
		return
	}
	left := func(after time.Duration) time.Duration {
		at := u.o.Start.Add(after)
		return NextClock(at, s.Hour, s.Minute).Sub(at)
	}
	written, expected := left(u.now), left(u.expected)
	if expected > longWait {
		u.problem("the firing gets here at about %s, so it holds %s until %s; start at another time, or change the time here",
			u.o.Start.Add(u.expected).Format("15:04"), roughly(expected), timeOfDay(s))
	}
	u.add(seg, written, expected)
}

// guess is the length of a hold that ends on an observation or a person.
func (u *unroller) guess(s Step) time.Duration {
	switch {
	case u.o.Hold != nil:
		return min(max(u.o.Hold(s), s.AtLeast), s.AtMost)
	case s.AtLeast > 0:
		u.note("when this hold ends is not known yet; counted as its least, %s", span(s.AtLeast))
		return s.AtLeast
	}
	d := (s.AtMost / 2).Round(tick)
	u.note("when this hold ends is not known yet; counted as half of its most, %s", span(d))
	return d
}

// wait is an unpowered fall to below the target, nothing when already there.
func (u *unroller) wait(s Step) {
	if u.nowC <= s.TargetC {
		u.add(Segment{ToC: u.nowC}, 0, 0)
		return
	}
	u.free(s, u.cooling(), false)
}

func (u *unroller) ramp(s Step) {
	up := s.Kind == Heat
	if up && u.o.MaxC > 0 && s.TargetC > u.o.MaxC {
		u.problem("%s is above this kiln's maximum of %s; lower the step, the kiln will be stopped there",
			u.unit.show(s.TargetC), u.unit.show(u.o.MaxC))
	}
	if s.TargetC == u.nowC || up != (s.TargetC > u.nowC) {
		if s.TargetC != u.nowC {
			u.note("the chamber starts at %s, already past %s; this step passes at once",
				u.unit.about(u.nowC), u.unit.show(s.TargetC))
		}
		u.add(Segment{ToC: s.TargetC, Powered: true}, 0, 0)
		return
	}
	switch {
	case s.Pace == ByRate || s.Pace == InTime:
		u.straight(s)
	case !up:
		u.free(s, u.cooling(), false)
	case u.o.FullRateCPerH == nil:
		u.note("how long full power takes depends on the kiln; counted as nothing")
		u.add(Segment{ToC: s.TargetC, Powered: true}, 0, 0)
	default:
		u.free(s, u.o.FullRateCPerH, true)
	}
}

// cooling is the kiln's own pace downwards.
func (u *unroller) cooling() func(float64) float64 {
	if u.o.CoolRateCPerH != nil {
		return u.o.CoolRateCPerH
	}
	u.note("how fast this kiln cools is not known; counted as %s/h", u.unit.aboutDiff(nominalCoolCPerH))
	return func(float64) float64 { return nominalCoolCPerH }
}

// free is a ramp at the kiln's own pace.
func (u *unroller) free(s Step, rate func(float64) float64, powered bool) {
	r := run(u.nowC, s.TargetC, math.Inf(1), rate)
	if r.stalled {
		u.neverReaches(s, r.stallC)
	}
	for i := range r.points {
		r.points[i].At += u.now
	}
	u.add(Segment{ToC: s.TargetC, Powered: powered, Points: r.points}, r.time, r.time)
}

// straight is a ramp that the person gave a slope.
func (u *unroller) straight(s Step) {
	gap, limit := s.TargetC-u.nowC, u.o.FullRateCPerH
	if s.Kind == Cool {
		gap, limit = -gap, u.o.CoolRateCPerH
	}
	written, rate := s.For, s.RateCPerH
	if s.Pace == ByRate {
		written = hours(gap / rate)
	} else {
		rate = gap / s.For.Hours()
	}
	seg := Segment{ToC: s.TargetC, Powered: true}
	if limit == nil {
		u.add(seg, written, written)
		return
	}
	r := run(u.nowC, s.TargetC, rate, limit)
	if r.stalled {
		u.neverReaches(s, r.stallC)
		u.add(seg, written, written)
		return
	}
	late := max(0, r.time-written)
	if late >= worthSaying {
		u.tooFast(s, rate, late, shortfall(u.nowC, s.TargetC, rate, limit))
	} else {
		late = 0
	}
	u.add(seg, written, written+late)
}

func (u *unroller) neverReaches(s Step, atC float64) {
	u.stuck()
	target, at := u.unit.show(s.TargetC), u.unit.about(atC)
	if s.Kind == Heat {
		u.problem("this kiln gets no hotter than about %s and never reaches %s; lower the step, the firing would wait there for good", at, target)
		return
	}
	u.problem("this kiln cools no further than about %s by itself and never reaches %s; raise the step, the firing would wait there for good", at, target)
}

// tooFast says where and by how much a ramp outruns the kiln.
func (u *unroller) tooFast(s Step, rate float64, late time.Duration, short stretch) {
	slope := u.unit.showDiff(rate)
	if s.Pace == InTime {
		slope = u.unit.aboutDiff(rate) // computed, so rounded
	}
	what, beyond := "is more than this kiln can do", "above"
	if s.Kind == Cool {
		what, beyond = "is faster than this kiln loses heat", "below"
	}
	where := fmt.Sprintf("between %s and %s", u.unit.about(short.fromC), u.unit.about(short.toC))
	switch {
	case short.toC == s.TargetC && short.fromC == u.nowC:
		where = fmt.Sprintf("all the way from %s to %s", u.unit.about(short.fromC), u.unit.about(short.toC))
	case short.toC == s.TargetC:
		where = beyond + " " + u.unit.about(short.fromC)
	}
	u.problem("%s/h %s %s; the plan will wait and take about %s longer", slope, what, where, roughly(late))
}

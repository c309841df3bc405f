package tidings

import (
	"math"
	"slices"
	"strings"
	"time"

	"calx/controller/notice"
	"calx/profile"
	"calx/storage/record"
)

// Facts is what is known of a firing at a moment. Temperatures are °C, NaN
// where there is none; seconds count from the start of the firing.
type Facts struct {
	Wall       time.Time // UTC
	Zone       *time.Location
	Fahrenheit bool
	Firing     uint64
	Name       string
	Since      time.Duration
	Step       int // index of the step
	Steps      int
	Sentence   string // of the step
	Phase      record.Phase
	ChamberC   float64
	SetpointC  float64
	Profile    *profile.Profile // nil: unknown
	Inside     *Inside          // nil: nobody said what is fired
}

// Inside is what the observer holds of the moulds. The predictions are
// negative for what the rest of the profile does not bring.
type Inside struct {
	CoreC   []float64
	Chance  float64 // that all is clear, 0..1
	Want    float64 // as sure as the profile wants to be, 0..1
	Foresaw bool    // a prediction has been made
	WantAtS float64 // when the chance is Want
	EndS    float64 // of the profile
}

// Follower makes messages of what happens in one firing after the other. The
// zero value is ready. It is told everything, in order, and keeps quiet of what
// has been said.
type Follower struct {
	firing  uint64
	over    bool                     // the end has been told: the rest follows from it
	told    map[string]time.Duration // when a code was told, by the firing's time
	held    []held
	sure    bool    // that all is clear has been told
	pour    bool    // the pour window has been told
	never   bool    // that it will not get clear has been told
	fresh   bool    // it has begun, and no step of it has been told
	adopt   bool    // an expectation was told before a restart: the next one counts as that
	clear   bool    // an expected time has been told:
	clearS  float64 // that time, s
	clearAt time.Duration
}

// held is a message that may be a blip.
type held struct {
	m     record.Message
	code  string
	until time.Duration
}

const (
	// blip is how long a lost reading may last before people are told: a trip,
	// which is told at once, takes 10 s.
	blip = 15 * time.Second
	// sameAgain is how soon the same thing is not told again.
	sameAgain = time.Hour
	// explainedFor is how long a cause explains what follows from it.
	explainedFor = time.Hour
	// An expected time is told when the chamber has shown what it does, and
	// again when it moved by this much, and not more often than that.
	foreseenAfter = 10 * time.Minute
	movedS        = 3600.0
	movedShare    = 0.2 // of the time that was left
	movedAgain    = 30 * time.Minute
	// pourBandC is how near core and setpoint are in the pour window, °C
	// (common practice, no source).
	pourBandC = 15.0
)

// explains lists what follows from a cause: the cause is told, these are not.
var explains = map[string][]string{
	notice.Interrupted: {notice.HoldBack, notice.HoldAdrift, notice.LateTick},
	notice.LateTick:    {notice.HoldBack, notice.HoldAdrift},
	notice.HoldBack:    {notice.HoldAdrift},
	notice.NoReading:   {notice.HoldBack, notice.ReadingJumped, notice.ReadingFrozen},
}

// takenBack lists what ends a condition before it was told.
var takenBack = map[string][]string{
	notice.ReadingBack: {notice.NoReading, notice.ReadingJumped, notice.ReadingFrozen, notice.ReversedProbe},
}

func (f *Follower) begin(firing uint64) {
	if f.firing != firing || f.told == nil {
		*f = Follower{firing: firing, told: map[string]time.Duration{}}
	}
}

// Recall takes up what was told of a firing before a restart, so that its
// estimates are not told again as if they were new. ms may be of any firing.
func (f *Follower) Recall(firing uint64, ms []record.Message) {
	f.begin(firing)
	for i := range ms {
		switch m := &ms[i]; {
		case m.Firing != firing:
		case Kind(m.Kind) == Pour:
			f.pour = true
		case Kind(m.Kind) == Clear && strings.Contains(m.Subject, isClearMark):
			f.sure = true
		case Kind(m.Kind) == Clear:
			f.adopt = true
		}
	}
}

// Events makes messages of the events of one tick.
func (f *Follower) Events(x Facts, es []record.Event) []record.Message {
	f.begin(x.Firing)
	if f.over || len(es) == 0 {
		return nil
	}
	if i := slices.IndexFunc(es, func(e record.Event) bool { return ends(x, e) }); i >= 0 {
		f.over, f.held = true, nil
		return []record.Message{f.end(x, es[i], es[len(es)-1].Seq)}
	}
	var out []record.Message
	for _, e := range es {
		for _, code := range takenBack[e.Code] {
			f.held = slices.DeleteFunc(f.held, func(h held) bool { return h.code == code })
		}
		switch {
		case e.Code == notice.Started:
			f.fresh = true
		case e.Code == notice.Step:
			out = append(out, f.stage(x, es, e))
		case !tells(e) || f.quiet(e):
		case notice.For(e.Code).Severity == notice.Alarm && unread[e.Code]:
			f.held = append(f.held, held{f.event(x, e), e.Code, e.Since + blip})
			f.told[e.Code] = e.Since
		default:
			f.told[e.Code] = e.Since
			out = append(out, f.event(x, e))
		}
	}
	return out
}

// unread are the losses of a reading that may be over at once.
var unread = map[string]bool{notice.NoReading: true, notice.ReadingJumped: true, notice.ReadingFrozen: true, notice.ReversedProbe: true}

// ends reports whether e is the end of the firing.
func ends(x Facts, e record.Event) bool {
	switch x.Phase {
	case record.Tripped:
		return e.Severity == record.Alarm
	case record.Done:
		return e.Code == notice.Finished
	case record.Stopped:
		return e.Code == notice.StoppedByHand
	}
	return false
}

// tells reports whether e is for people who are elsewhere. What a person did is
// known to that person, and what is well again needs nobody.
func tells(e record.Event) bool { return e.Severity > record.Info }

// quiet reports whether e was told before, or follows from what was.
func (f *Follower) quiet(e record.Event) bool {
	if e.Code == notice.Told || e.Code == notice.WaitsForPerson || e.Code == notice.HoldCutShort {
		return false // each is another one
	}
	if at, ok := f.told[e.Code]; ok && e.Since-at < sameAgain {
		return true
	}
	for cause, followers := range explains {
		at, ok := f.told[cause]
		if ok && e.Since-at < explainedFor && slices.Contains(followers, e.Code) {
			return true
		}
	}
	return false
}

// Look makes messages of what has become of the firing since; ask once a
// minute or so.
func (f *Follower) Look(x Facts) []record.Message {
	f.begin(x.Firing)
	if f.over {
		return nil
	}
	var out []record.Message
	f.held = slices.DeleteFunc(f.held, func(h held) bool {
		if x.Since < h.until {
			return false
		}
		out = append(out, h.m)
		return true
	})
	if x.Inside != nil {
		out = append(out, f.clearing(x, x.Inside)...)
	}
	if !f.pour && x.pouring() {
		f.pour = true
		out = append(out, f.pourReady(x))
	}
	return out
}

// clearing tells of the char: when it is expected to be gone, that the
// expectation moved, that it is gone.
func (f *Follower) clearing(x Facts, in *Inside) []record.Message {
	switch {
	case f.sure || in.Want <= 0:
		return nil
	case in.Chance >= in.Want:
		f.sure = true
		return []record.Message{f.isClear(x)}
	case !in.Foresaw || x.Since < foreseenAfter:
		return nil
	case f.adopt:
		f.adopt = false
		f.clear, f.clearS, f.clearAt, f.never = in.WantAtS >= 0, in.WantAtS, x.Since, in.WantAtS < 0
		return nil
	case in.WantAtS < 0:
		if f.never {
			return nil
		}
		f.never, f.clear = true, false
		return []record.Message{f.neverClear(x)}
	case !f.clear:
	case x.Since-f.clearAt < movedAgain || math.Abs(in.WantAtS-f.clearS) < math.Max(movedS, movedShare*(f.clearS-f.clearAt.Seconds())):
		return nil
	}
	was, again := f.clearS, f.clear
	f.clear, f.clearS, f.clearAt, f.never = true, in.WantAtS, x.Since, false
	return []record.Message{f.expected(x, was, again)}
}

// pouring reports whether the pour window is reached: the last hold is held,
// it is cooler than the firing has been, and no core is far from it.
func (x Facts) pouring() bool {
	if x.Profile == nil || x.Phase != record.Holding || x.Step != PourStep(x.Profile) {
		return false
	}
	if x.Inside != nil {
		for _, c := range x.Inside.CoreC {
			if !(math.Abs(c-x.SetpointC) <= pourBandC) {
				return false
			}
		}
	}
	return true
}

// PourStep is the index of the hold in which p is poured: its last one, when
// that comes after cooling and no heating follows. -1 without one.
func PourStep(p *profile.Profile) int {
	cooled, last := false, -1
	for i, s := range p.Steps {
		switch s.Kind {
		case profile.Heat:
			cooled, last = false, -1
		case profile.Cool:
			cooled, last = true, -1
		case profile.Hold:
			if cooled {
				last = i
			}
		case profile.Wait:
			cooled, last = false, -1
		}
	}
	return last
}

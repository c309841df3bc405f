package main

import (
	"fmt"
	"math"
	"time"

	"calx/cmd/calx/outbox"
	"calx/cmd/calx/station"
	"calx/sim/kiln"
	"calx/sim/mould"
)

// grade is what a look before a firing comes to.
type grade string

const (
	passes grade = "pass"
	warns  grade = "warn"
	fails  grade = "fail" // do not fire before it is mended
)

// looked is one entry of the list that calx check --before-firing prints.
type looked struct {
	At    string `json:"at"` // what was looked at: "clock"
	Grade grade  `json:"grade"`
	Text  string `json:"text"` // what was found
	Do    string `json:"do"`   // "" when nothing
}

// before is all that is known before a firing. A nil part could not be, or was
// not to be, looked at. The judgement is pure: it asks nobody.
type before struct {
	now        time.Time // in the zone of the house
	fahrenheit bool
	config     *checkedFile
	daemon     *daemonFacts
	kiln       *kiln.Params
	log        *logFacts
	disk       *diskFacts
	clock      *clockFacts
	pulse      *pulseFacts
	profile    *checkedFile
	moulds     []mould.Params
	quiet      func(time.Time) bool // do people sleep
}

// daemonFacts is what the calx that serves the kiln says.
type daemonFacts struct {
	err    error // it cannot be asked
	status station.Status
	tell   *outbox.State
	tried  []outbox.Answer // nil: no test message was to be sent
}

// logFacts is what reading the whole log came to.
type logFacts struct {
	err    error // it cannot be read
	damage []string
	bytes  int64
	fired  time.Duration // all readings together
	last   time.Time     // wall clock of the newest entry; zero: none
}

type diskFacts struct {
	folder   string
	free     uint64 // bytes
	readOnly bool
}

type clockFacts struct{ synchronised bool }

// judgement is the list in the order in which a person would mend things.
func (b *before) judgement() (out []looked) {
	out = append(out, b.configuration()...)
	out = append(out, b.served()...)
	if d := b.daemon; d != nil && d.err == nil {
		out = append(out, b.standing()...)
		out = append(out, b.chamber())
		out = append(out, b.witnesses()...)
		out = append(out, b.output())
	}
	if b.pulse != nil {
		out = append(out, b.pulse.judge(b.fahrenheit))
	}
	if b.kiln != nil {
		out = append(out, b.fitted())
	}
	if b.log != nil {
		out = append(out, b.logged())
	}
	if b.disk != nil {
		out = append(out, b.room())
	}
	out = append(out, b.time())
	if b.daemon != nil && b.daemon.err == nil {
		out = append(out, b.told())
	}
	if b.profile != nil {
		out = append(out, b.fire()...)
	}
	return out
}

func (b *before) configuration() (out []looked) {
	if b.config == nil {
		return nil
	}
	for _, e := range b.config.Errors {
		out = append(out, looked{"calx.yaml", fails, e.sentence(b.config.File), "mend it, then restart calx"})
	}
	for _, p := range b.config.Problems {
		out = append(out, looked{"calx.yaml", warns, p.where() + p.Text, ""})
	}
	if len(out) == 0 {
		out = append(out, looked{"calx.yaml", passes, b.config.File + " can be used", ""})
	}
	return out
}

func (b *before) served() []looked {
	switch d := b.daemon; {
	case d == nil:
		return nil
	case d.err != nil:
		return []looked{{"daemon", fails, firstLineOf(d.err.Error()) + "; probes and outputs were not looked at", "start calx serve, then check again"}}
	}
	return []looked{{"daemon", passes, "answers, and serves kiln " + b.daemon.status.Kiln, ""}}
}

// standing is what keeps a firing from beginning.
func (b *before) standing() (out []looked) {
	st := b.daemon.status
	if f := st.Firing; f != nil && f.Asks != "" {
		out = append(out, looked{"firing", fails, fmt.Sprintf("firing %s waits for a person: %s", named(f), f.Asks), "calx resume goes on, calx stop ends it"})
	} else if f != nil {
		out = append(out, looked{"firing", fails, fmt.Sprintf("firing %s is running", named(f)), "calx watch follows it, calx stop ends it"})
	}
	if t := st.Trip; t != nil {
		do := "calx clear"
		if t.Hint != "" {
			do = t.Hint + "; then calx clear"
		}
		out = append(out, looked{"trip", fails, fmt.Sprintf("firing %d tripped and nobody has cleared it: %s", t.Firing, t.Text), do})
	} else {
		out = append(out, looked{"trip", passes, "none is latched", ""})
	}
	return out
}

// Temperatures of a kiln that stands cold.
const (
	// agreeC is how far two junctions in one room may read apart, °C: class 2
	// of IEC 60584-1:2013 is 2.5 °C, a converter adds 2 to 3 °C by its data
	// sheet, the terminals 2.5 °C (common practice, no source).
	agreeC = 8.0
	// A board works from -10 to 50 °C or so, and says so at its cold junction,
	// which sits in the same box (common practice, no source).
	coldLowC, coldHighC = -10.0, 50.0
)

func (b *before) chamber() looked {
	st := b.daemon.status
	if st.ChamberC == nil {
		return looked{"chamber", fails, "no valid temperature: " + st.Fault, "check the probe, its two screws at the amplifier and the cable"}
	}
	t := func(c float64) string { return wholeTemperature(c, b.fahrenheit) }
	hot := *st.ChamberC
	if st.ColdC == nil {
		return looked{"chamber", passes, t(hot) + "; this amplifier shows no cold junction to compare with", ""}
	}
	cold := *st.ColdC
	both := fmt.Sprintf("%s, cold junction %s", t(hot), t(cold))
	switch apart := difference(math.Abs(hot-cold), 0, b.fahrenheit); {
	case cold < coldLowC || cold > coldHighC:
		return looked{"chamber", warns, both + ": the box of the amplifier is no place for one", "move it away from the kiln; every reading leans on that junction"}
	case hot < cold-agreeC:
		return looked{"chamber", fails, fmt.Sprintf("%s: %s colder than the room, which no kiln is", both, apart), "the two wires of the probe may be swapped, or its letter in calx.yaml wrong"}
	case hot > cold+agreeC:
		return looked{"chamber", warns, fmt.Sprintf("%s: the kiln is still warm, or the probe reads %s too high", both, apart), "let it cool and check again; a wet mould cracks in a warm kiln"}
	}
	return looked{"chamber", passes, both + ": they agree", ""}
}

// witnesses compares the other thermocouples with the chamber.
func (b *before) witnesses() (out []looked) {
	st := b.daemon.status
	for _, o := range st.Others {
		switch {
		case o.HotC == nil:
			out = append(out, looked{o.Role, warns, "no valid temperature: " + o.Fault, "check it, or fire without: it is not controlled"})
		case st.ChamberC != nil && math.Abs(*o.HotC-*st.ChamberC) > agreeC:
			out = append(out, looked{o.Role, warns, fmt.Sprintf("%s, the chamber %s: in a cold kiln they agree within %s",
				wholeTemperature(*o.HotC, b.fahrenheit), wholeTemperature(*st.ChamberC, b.fahrenheit), difference(agreeC, 0, b.fahrenheit)), "find out which is wrong: letter, wires or place"})
		default:
			out = append(out, looked{o.Role, passes, wholeTemperature(*o.HotC, b.fahrenheit) + ", as the chamber", ""})
		}
	}
	return out
}

func (b *before) output() looked {
	if e := b.daemon.status.OutputError; e != "" {
		return looked{"output", fails, "the heat relay's owner does not answer: " + e, "switch the kiln off at the wall, look at the relay and its wiring, restart calx"}
	}
	if b.daemon.status.Heat && b.daemon.status.Firing == nil {
		return looked{"output", fails, "the heat is on, and nothing is fired", "switch the kiln off at the wall"}
	}
	return looked{"output", passes, "the warden answers, the heat is off", ""}
}

const (
	oldFit   = 365 * 24 * time.Hour // elements age and walls crack within a year (common practice, no source)
	mostPart = 0.10                 // of the heat of a firing that the fit may leave in doubt
)

func (b *before) fitted() looked {
	f := b.kiln.Fitted
	if f == nil {
		return looked{"kiln", warns, b.kiln.Name + " was never fitted to a firing of yours: its figures are guesses", "after a firing or two: calx fit"}
	}
	words := fmt.Sprintf("%s, fitted %s to %d firings", b.kiln.Name, f.When, len(f.Firings))
	day, err := time.Parse(time.DateOnly, f.When)
	switch {
	case err == nil && b.now.Sub(day) > oldFit:
		return looked{"kiln", warns, words + ", more than a year ago", "fit it again: calx fit"}
	case float64(f.Doubt) > mostPart:
		return looked{"kiln", warns, fmt.Sprintf("%s, and in doubt by %.0f %%", words, 100*float64(f.Doubt)), "fit it to more firings: calx fit"}
	}
	return looked{"kiln", passes, words, ""}
}

func (b *before) logged() looked {
	l := b.log
	switch {
	case l.err != nil:
		return looked{"log", fails, firstLineOf(l.err.Error()), "a firing cannot be recorded; mend or move the log first"}
	case len(l.damage) > 0:
		return looked{"log", warns, fmt.Sprintf("%d places cannot be read, the first: %s", len(l.damage), l.damage[0]), "copy the log somewhere safe; a disk that loses bytes loses more"}
	}
	return looked{"log", passes, fmt.Sprintf("%s, every reading of %.0f h can be read", bytesWord(uint64(l.bytes)), l.fired.Hours()), ""}
}

const (
	firingHours = 48  // the longest schedule by flask size (common practice, no source)
	firingsLeft = 10  // that there should be room for
	leastRate   = 100 // KB an hour: what a log writes that holds too little to measure
)

// room judges the disk by what this log has written in an hour of firing.
func (b *before) room() looked {
	d := b.disk
	perH := float64(leastRate << 10)
	if l := b.log; l != nil && l.fired > 10*time.Hour {
		perH = max(perH, float64(l.bytes)/l.fired.Hours())
	}
	fits := float64(d.free) / (perH * firingHours)
	words := fmt.Sprintf("%s free in %s: %s of %d h", bytesWord(d.free), d.folder, countOf(fits, "firing"), firingHours)
	switch {
	case d.readOnly:
		return looked{"disk", fails, d.folder + " is on a file system that cannot be written", "a card that fails turns read-only; replace it"}
	case fits < 1:
		return looked{"disk", fails, words, "make room"}
	case fits < firingsLeft:
		return looked{"disk", warns, words, "make room soon"}
	}
	return looked{"disk", passes, words, ""}
}

// firstYear is before which no clock is right.
const firstYear = 2026

// time judges the clock of the board: that of the daemon, where one answers.
func (b *before) time() looked {
	now := b.now
	if d := b.daemon; d != nil && d.err == nil && !d.status.Wall.IsZero() {
		now = d.status.Wall.In(b.now.Location())
	}
	shown := now.Format("Mon 2 Jan 2006 15:04 MST")
	switch {
	case now.Year() < firstYear:
		return looked{"clock", fails, "it shows " + shown, "connect the board to a network, or set the clock"}
	case b.log != nil && b.log.last.Sub(now) > time.Minute:
		return looked{"clock", fails, fmt.Sprintf("it shows %s, and the log goes on to %s", shown, b.log.last.In(b.now.Location()).Format("Mon 2 Jan 2006 15:04")), "set the clock; after a power cut nobody would know how long it was"}
	case b.clock == nil:
		return looked{"clock", passes, shown + "; whether it is set by the network cannot be told here", ""}
	case !b.clock.synchronised:
		return looked{"clock", warns, shown + ", not set by the network", "compare it with a watch; quiet hours, hold until 14:00 and power cuts go by it"}
	}
	return looked{"clock", passes, shown + ", set by the network", ""}
}

// told judges whether somebody will hear.
func (b *before) told() looked {
	d := b.daemon
	switch {
	case d.tell == nil:
		return looked{"messages", warns, "this calx cannot tell whom it tells", ""}
	case len(d.tell.Destinations) == 0:
		return looked{"messages", warns, "nobody is told when something goes wrong", "name somebody under tell in calx.yaml"}
	}
	for _, a := range d.tried {
		if !a.OK {
			return looked{"messages", fails, fmt.Sprintf("%s was not reached: %s", a.Name, printable(a.Error)), "mend it, then calx tell --test"}
		}
	}
	if d.tried != nil {
		return looked{"messages", passes, countOf(float64(len(d.tried)), "destination") + " took a test message; see whether it has come", ""}
	}
	never := ""
	for _, x := range d.tell.Destinations {
		switch {
		case x.Error != "":
			return looked{"messages", fails, fmt.Sprintf("%s is not reached: %s", x.Name, printable(x.Error)), "mend it, then calx tell --test"}
		case x.LastSent == nil:
			never = x.Name
		}
	}
	if never != "" {
		return looked{"messages", warns, never + " has not been tried since calx started", "calx tell --test, or add --tell to this check"}
	}
	return looked{"messages", passes, countOf(float64(len(d.tell.Destinations)), "destination") + ", reached the last time", ""}
}

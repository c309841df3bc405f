package tidings

import (
	"fmt"
	"math"
	"strings"
	"time"

	"calx/controller/notice"
	"calx/storage/record"
)

// message begins one: subject after the name of the firing, then the lines
// that are not empty.
func (f *Follower) message(x Facts, k Kind, s record.Severity, subject string, lines ...string) record.Message {
	m := record.Message{At: x.Wall, Kind: string(k), Severity: s, Firing: x.Firing, Subject: x.called() + ": " + subject}
	for _, l := range lines {
		if l != "" {
			m.Body = joined(m.Body, l)
		}
	}
	Fit(&m)
	return m
}

// called is a firing as people call it.
func (x Facts) called() string {
	if x.Name == "" {
		return fmt.Sprintf("firing %d", x.Firing)
	}
	return x.Name
}

// end words the event that ended the firing.
func (f *Follower) end(x Facts, e record.Event, last uint64) record.Message {
	n := notice.For(e.Code)
	var m record.Message
	switch x.Phase {
	case record.Tripped:
		m = f.message(x, Trip, record.Alarm, "TRIP, heat off: "+n.Means, e.Text,
			fmt.Sprintf("calx ended firing %d in %s; the heat is off and stays off", x.Firing, x.step()), do(n))
	case record.Stopped:
		m = f.message(x, Finished, record.Info, "stopped by hand, heat off", e.Text)
	default:
		m = f.message(x, Finished, record.Info, "finished, heat off", e.Text, x.chamber())
	}
	m.Event = last + 1
	return m
}

// event words one that is told by itself.
func (f *Follower) event(x Facts, e record.Event) record.Message {
	n := notice.For(e.Code)
	k, subject, grade := Trouble, n.Means, e.Severity
	text := e.Text
	switch e.Code {
	case notice.Told:
		k, subject, text = Person, e.Text, "written into the profile, "+x.step()
	case notice.HoldCutShort:
		k, subject = Person, "needs you: "+n.Means
	case notice.WaitsForPerson:
		// Somebody must act now: a mould that cools through an inversion cracks.
		k, subject, grade = Person, "waits for you, heat off", record.Alarm
	}
	m := f.message(x, k, grade, subject, text, x.chamber(), do(n))
	m.Event = e.Seq + 1
	return m
}

// stage words a step, and what ended the one before in the same tick.
func (f *Follower) stage(x Facts, es []record.Event, step record.Event) record.Message {
	subject := fmt.Sprintf("step %d of %d: %s", x.Step+1, x.Steps, x.Sentence)
	var before string
	for _, e := range es {
		if e.Code == notice.HoldMet {
			before = e.Text
		}
	}
	if f.fresh {
		f.fresh, subject = false, "begun, "+subject
	}
	m := f.message(x, Stage, record.Info, subject, before, x.chamber())
	m.Event = step.Seq + 1
	return m
}

func do(n notice.Notice) string {
	if n.Do == "" {
		return ""
	}
	return "do: " + n.Do
}

// isClearMark is in the subject of isClear and in no other of its kind.
const isClearMark = ": clear, "

func (f *Follower) isClear(x Facts) record.Message {
	return f.message(x, Clear, record.Info, fmt.Sprintf("clear, %s sure", percent(x.Inside.Chance)),
		"by the model on the measured chamber; nobody has looked", x.chamber(), "now in "+x.step())
}

func (f *Follower) expected(x Facts, wasS float64, again bool) record.Message {
	in := x.Inside
	subject := fmt.Sprintf("clear expected %s", x.at(in.WantAtS))
	if again {
		subject = fmt.Sprintf("clear now expected %s, was %s", x.at(in.WantAtS), x.at(wasS))
	}
	end := ""
	if in.EndS >= 0 {
		end = "the profile ends " + x.at(in.EndS)
	}
	return f.message(x, Clear, record.Info, subject,
		fmt.Sprintf("then %s sure; now %s", percent(in.Want), percent(in.Chance)), end)
}

func (f *Follower) neverClear(x Facts) record.Message {
	in := x.Inside
	end := ""
	if in.EndS >= 0 {
		end = ", which ends " + x.at(in.EndS)
	}
	return f.message(x, Clear, record.Warn, "not expected to be clear by the end of the profile",
		fmt.Sprintf("%s sure is wanted, and does not come within the profile%s", percent(in.Want), end),
		"do: let more air in, or fire on afterwards; do not pour before a test piece is clear")
}

func (f *Follower) pourReady(x Facts) record.Message {
	lines := []string{x.chamber()}
	if x.Inside == nil {
		lines = append(lines, "no mould was named: the core may still be hotter than the chamber")
	} else {
		lines = append(lines, "cores by the model: "+x.cores())
		if x.Inside.Chance < x.Inside.Want {
			lines = append(lines, fmt.Sprintf("CAUTION: only %s sure that it is clear", percent(x.Inside.Chance)))
		}
	}
	return f.message(x, Pour, record.Warn, "pour window reached, "+x.temperature(x.SetpointC), append(lines, "calx holds: "+x.Sentence)...)
}

// step is "step 3, hold 2 h".
func (x Facts) step() string {
	if x.Sentence == "" {
		return fmt.Sprintf("step %d", x.Step+1)
	}
	return fmt.Sprintf("step %d, %s", x.Step+1, x.Sentence)
}

func (x Facts) chamber() string {
	if math.IsNaN(x.ChamberC) {
		return "no valid temperature of the chamber"
	}
	if math.IsNaN(x.SetpointC) {
		return "chamber " + x.temperature(x.ChamberC)
	}
	return fmt.Sprintf("chamber %s, setpoint %s", x.temperature(x.ChamberC), x.temperature(x.SetpointC))
}

func (x Facts) cores() string {
	out := make([]string, len(x.Inside.CoreC))
	for i, c := range x.Inside.CoreC {
		out[i] = x.temperature(c)
	}
	return strings.Join(out, ", ")
}

// temperature is one in the unit the person reads.
func (x Facts) temperature(c float64) string {
	if math.IsNaN(c) {
		return "unknown"
	}
	if x.Fahrenheit {
		return fmt.Sprintf("%.0f °F", c*9/5+32)
	}
	return fmt.Sprintf("%.0f °C", c)
}

// at is a moment of the firing on the clock of the house.
func (x Facts) at(s float64) string {
	zone := x.Zone
	if zone == nil {
		zone = time.UTC
	}
	left := time.Duration((s - x.Since.Seconds()) * float64(time.Second))
	return x.Wall.Add(left).In(zone).Round(5 * time.Minute).Format("Mon 15:04")
}

func percent(p float64) string { return fmt.Sprintf("%.0f %%", math.Floor(p*100+1e-9)) }

package controller

import (
	"fmt"
	"math"
	"time"

	"calx/controller/guard"
	"calx/controller/law"
	"calx/controller/notice"
	"calx/controller/relay"
	"calx/profile"
	"calx/sensor"
	"calx/storage/record"
)

// tick is one call of Step at work.
type tick struct {
	c    *Controller
	s    State
	in   Input
	dtS  float64
	late bool    // the tick before lasted so long that its lease of heat ran out
	ranS float64 // how much of it was under control, s
	out  Output
	fine bool // no guard withholds heat
}

// Step carries a firing on by one tick. It is pure: the same state and input
// give the same output, always. An input it cannot trust never gives heat.
func (c *Controller) Step(s State, in Input) (State, Output) {
	t := &tick{c: c, s: s, in: in}
	t.time()
	t.look()
	t.observe()
	t.people()
	t.guards()
	t.plan()
	t.heat()
	t.record()
	return t.s, t.out
}

// say adds an event: code from the catalogue, text for a person.
func (t *tick) say(code, text string) {
	n := notice.For(code)
	t.out.Events = append(t.out.Events, record.Event{
		Seq: t.s.EventSeq, Since: t.in.Now, Wall: t.in.Wall, Code: code,
		Severity: record.Severity(n.Severity), Step: uint16(t.s.Plan.Step), Text: text, Hint: n.Do,
	})
	t.s.EventSeq++
}

// time notes how long the tick before lasted. When it lasted too long the heat
// was off for the rest: its lease had run out.
func (t *tick) time() {
	if !t.s.Begun {
		t.s.Begun = true
		t.s.Phase = record.Idle
		t.say(notice.Started, "the firing began")
		t.dtS = 0
	} else {
		t.dtS = math.Max((t.in.Now - t.s.Now).Seconds(), 0)
		t.clockStep()
	}
	const lateS = 5
	t.ranS = t.dtS // a tick that comes a little late is followed by one a little early
	if lost := t.dtS - t.c.periodS; lost >= lateS {
		t.late, t.ranS = true, t.c.periodS
		t.s.Back = true
		if !t.s.Restored { // who restored it has told
			t.say(notice.LateTick, fmt.Sprintf("no tick for %.0f s; the heat was off meanwhile", t.dtS))
		}
	}
	t.lose()
	lost := 0.0
	if t.late {
		lost = t.dtS - t.c.periodS
	}
	if t.lostS(lost); t.late {
		t.catchUp(t.dtS - t.c.periodS)
	}
	t.s.Now, t.s.WallMS = t.in.Now, t.in.Wall.UnixMilli()
}

// clockStep notices that somebody set the wall clock. Nothing depends on it
// but a hold until a time of day: that one looks for its time again when the
// clock was so wrong that it had the wrong day.
func (t *tick) clockStep() {
	const stepS, wrongDayS = 30, 12 * 3600
	by := float64(t.in.Wall.UnixMilli()-t.s.WallMS)/1000 - t.dtS
	if math.Abs(by) > stepS {
		t.say(notice.ClockStepped, fmt.Sprintf("the wall clock was set by %+.0f s", by))
	}
	if math.Abs(by) > wrongDayS && t.s.Plan.Entered && t.s.Plan.UntilMS != 0 {
		t.s.Plan.UntilMS = t.c.untilMS(t.c.cfg.Profile.Steps[t.s.Plan.Step], t.in.Wall)
	}
}

// catchUp lets the model cool through a gap; after a long one it starts from
// the next reading.
func (t *tick) catchUp(lostS float64) {
	const longS = 600
	if lostS > longS {
		t.s.Law = law.State{}
		return
	}
	t.s.Law = t.c.law.Off(t.s.Law)
	for n := int(lostS / t.c.periodS); n > 0; n-- {
		t.s.Law = t.c.law.Advance(t.s.Law, 0)
	}
}

// look takes the reading in: into the memory of the guards and, if they believe
// it, the estimate of the law.
func (t *tick) look() {
	r := t.in.Chamber
	check, checked := t.check()
	t.s.History = t.s.History.After(&t.c.cfg.Guard, guard.Look{
		DtS: t.dtS, Reading: r, On: t.s.Relay.On, Duty: t.s.Law.Duty, SetpointC: t.setpointC(), Air: t.airOn(), Door: t.in.Door,
		Check: check, Checked: checked, Inside: t.inside(),
	})
	if t.s.Relay.On {
		t.s.EnergyJ += t.c.cfg.Plant.PowerW * t.ranS
	}
	// The relay counts in periods; this tick may have been longer or shorter.
	t.s.Relay.SinceS += t.dtS - t.c.periodS
	if t.late || t.s.Restored {
		t.s.Restored = false
		t.s.Relay = relay.Resumed(t.s.Relay)
		t.s.Relay.SinceS = -t.c.periodS // it opens in this tick at the latest
	}
	if t.s.History.Believed() {
		t.s.Law = t.c.law.Observe(t.s.Law, r.HotC)
	}
}

// setpointC is what the kiln is asked for, °C; NaN when nothing is.
func (t *tick) setpointC() float64 {
	if !t.s.Plan.Entered || t.over() || t.s.Plan.Unheated || t.s.Asks != "" {
		return math.NaN()
	}
	return t.s.Plan.SetC
}

// observe follows the inside of the moulds.
func (t *tick) observe() {
	m := t.c.cfg.Mould
	if t.s.Gap != nil {
		if t.s.History.Believed() {
			t.bridge()
		}
		return
	}
	if m == nil || !t.s.History.Seen {
		return
	}
	witness := make([]float64, 0, len(m.Witness))
	for i := range m.Witness {
		c := math.NaN()
		if i < len(t.in.Others) && t.in.Others[i].OK() {
			c = t.in.Others[i].HotC
		}
		witness = append(witness, c)
	}
	t.s.Inside = m.follow(t.s.Inside, t.dtS, t.s.History.HotC, t.airOn(), witness)
	t.boils(witness)
}

// airOn is what the fresh-air relay is: off while a person is waited for.
func (t *tick) airOn() bool { return t.s.Air && t.s.Asks == "" }

// over reports whether the firing has ended.
func (t *tick) over() bool { return t.s.Phase >= record.Done }

// end ends the firing. It is the only way into the last three phases.
func (t *tick) end(p record.Phase, code, text string) {
	t.s.Phase = p
	t.s.Paused = false
	t.say(code, text)
}

// people carries out what was pressed.
func (t *tick) people() {
	for _, cmd := range t.in.Commands {
		if t.over() {
			return
		}
		switch {
		case cmd != Stop && t.s.Asks != "":
			if cmd == Resume {
				t.answer()
			}
		case cmd == Stop:
			t.end(record.Stopped, notice.StoppedByHand, fmt.Sprintf("stopped by hand in %s; the heat is off", t.stepName()))
		case cmd == Pause && !t.s.Paused:
			t.s.Paused = true
			t.say(notice.PausedByHand, fmt.Sprintf("paused in %s; the setpoint stays at %s", t.stepName(), t.temp(t.s.Plan.SetC)))
		case cmd == Resume && t.s.Paused:
			t.s.Paused = false
			t.say(notice.ResumedByHand, "the plan goes on")
		case cmd == StepOn && t.s.Plan.Entered:
			t.s.Paused = false // a step that has not begun has no setpoint to stay at
			t.say(notice.SteppedOn, fmt.Sprintf("%s was ended by hand", t.stepName()))
			t.next()
		}
	}
}

// answer lets a firing go on that asked for a person, if there is a temperature
// to go on from and the door is shut.
func (t *tick) answer() {
	switch {
	case !t.s.History.Believed():
		t.say(notice.CannotGoOn, "the firing cannot go on: there is no valid temperature of the chamber")
	case t.in.Door == sensor.DoorOpen:
		t.say(notice.CannotGoOn, "the firing cannot go on: the door is open")
	default:
		t.s.Asks, t.s.Back = "", true
		t.say(notice.ResumedByHand, fmt.Sprintf("somebody let the firing go on at %s", t.temp(t.s.History.HotC)))
	}
}

// unread are the guards that miss a temperature. Nothing is heated while a
// person is waited for, so they may wait as well.
var unread = map[string]bool{notice.NoReading: true, notice.ReadingJumped: true, notice.ReadingFrozen: true, notice.ReversedProbe: true}

// guards asks them all, and stops the heat when one says so.
func (t *tick) guards() {
	t.reportSides()
	if t.over() {
		t.afterTrip()
		return
	}
	if t.lost(); t.over() {
		return
	}
	if t.in.OutputDead {
		t.trip(notice.OutputDead, "the heat relay did not take the last command")
		return
	}
	f, tells := guard.Ask(&t.c.cfg.Guard, &t.s.History)
	t.fine = f.Verdict == guard.Fine
	if t.s.Asks != "" && unread[f.Code] {
		return
	}
	t.tells(f, tells)
	switch f.Verdict {
	case guard.Trip:
		t.trip(f.Code, f.Text)
	case guard.Withhold:
		const blipS = 2
		if !t.s.NoData && math.Max(t.s.History.BadS, t.s.History.JumpS) >= blipS {
			t.s.NoData = true
			t.say(f.Code, f.Text+"; the heat is off until it is back")
		}
	case guard.Fine:
		if t.s.NoData {
			t.s.NoData = false
			t.say(notice.ReadingBack, fmt.Sprintf("a valid temperature again: %s; the firing goes on", t.temp(t.in.Chamber.HotC)))
		}
	}
}

// reportSides tells, once each, what is amiss beside the heat.
func (t *tick) reportSides() {
	if t.in.LogBehind && !t.s.LogSick {
		t.say(notice.LogBehind, "the log cannot be written; readings are kept in memory, where there is room for a day of them, and written as soon as it can")
	}
	t.s.LogSick = t.in.LogBehind
}

func (t *tick) trip(code, text string) {
	t.s.TripCode = code
	t.end(record.Tripped, code, fmt.Sprintf("%s. The heat is off and stays off; the firing ended in %s", text, t.stepName()))
}

// plan moves the cursor on, through as many steps as this tick takes.
func (t *tick) plan() {
	if !t.over() && t.s.Asks != "" {
		t.s.Phase = record.Paused
		return
	}
	if t.over() || !t.s.Law.Ready || !t.s.History.Believed() {
		return
	}
	steps := t.c.cfg.Profile.Steps
	yC := t.c.law.MeanC(t.s.Law)
	dtS := t.ranS
	if t.s.Paused {
		t.s.Phase = record.Paused
		return
	}
	if t.s.Back {
		t.back()
	}
	for t.s.Plan.Step < len(steps) {
		s := steps[t.s.Plan.Step]
		if !t.s.Plan.Entered {
			t.s.Plan = t.c.enter(t.s.Plan, yC, t.in.Wall)
			t.announce(s)
		}
		var waits, over bool
		t.doorwise(s)
		t.s.Plan, waits, over = t.c.move(t.s.Plan, dtS, yC, t.in.Wall, t.s.Inside)
		t.adrift(s, waits && !over, dtS, yC)
		t.s.Phase = phaseOf(s, t.s.Plan, waits)
		if !over {
			t.waiting(waits, dtS, yC)
			return
		}
		t.holdOver(s)
		t.next()
		dtS = 0
	}
	t.end(record.Done, notice.Finished, fmt.Sprintf("the profile is done; the heat is off at %s", t.temp(yC)))
}

// back takes the plan to where an interrupted firing goes on from.
func (t *tick) back() {
	t.s.Back = false
	if t.s.Plan.Step >= len(t.c.cfg.Profile.Steps) {
		return
	}
	before := t.s.Plan.Step
	var what string
	if t.s.Plan, what = t.c.goBack(t.s, t.s.History.HotC, t.in.Wall); what != "" {
		t.say(notice.WayBack, what)
	}
	if t.s.Plan.Step < before {
		t.s.Air, t.s.WaitS = t.c.airAt(t.s.Plan.Step), 0
	}
}

// holdOver tells how a hold ended that waited for something.
func (t *tick) holdOver(s profile.Step) {
	if s.Kind != profile.Hold || s.Until == profile.Elapsed || s.Until == profile.ClockTime {
		return
	}
	held := time.Duration(t.s.Plan.HeldS * float64(time.Second)).Round(time.Minute)
	_, how := t.s.Inside.met(s, t.s.Plan.SetC, t.temp)
	if how != "" {
		how = ": " + how
	}
	if t.s.Plan.Met {
		t.say(notice.HoldMet, fmt.Sprintf("%s is over after %s%s", t.stepName(), words(held), how))
		return
	}
	t.say(notice.HoldCutShort, fmt.Sprintf("%s reached its longest time, %s%s", t.stepName(), words(held), how))
}

// words is a duration as people read it.
func words(d time.Duration) string {
	h, m := int(d.Hours()), int(d.Minutes())%60
	switch {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %d min", h, m)
}

// next puts the cursor before the next step.
func (t *tick) next() {
	t.s.Plan.Step++
	t.s.Plan.Entered = false
	t.s.WaitS = 0
}

// announce says that a step begins, and does what takes no time.
func (t *tick) announce(s profile.Step) {
	switch s.Kind {
	case profile.Air:
		t.s.Air = s.On
	case profile.Tell:
		t.say(notice.Told, s.Message)
		return
	}
	t.say(notice.Step, fmt.Sprintf("%s at %s", t.stepName(), t.temp(t.c.law.JunctionC(t.s.Law))))
}

func phaseOf(s profile.Step, p Cursor, waits bool) record.Phase {
	switch {
	case p.Unheated:
		return record.Cooling
	case waits:
		return record.Waiting
	case s.Kind == profile.Hold && p.BackToC == 0:
		return record.Holding
	}
	return record.Ramping
}

// waiting reports a hold-back that lasts, and its end. Short ones are part of
// arriving and not worth a word.
func (t *tick) waiting(waits bool, dtS, yC float64) {
	const longS = 120
	if waits {
		t.s.WaitS += dtS
		t.s.FlowS = 0
	} else {
		t.s.FlowS += dtS
	}
	const veryLongS = 3600
	if t.s.Waiting && !t.s.LongWait && t.s.WaitS >= veryLongS {
		t.s.LongWait = true
		t.say(notice.HoldBackLong, fmt.Sprintf("the plan has waited for %.0f min in %s: %s, %s asked for", t.s.WaitS/60, t.stepName(), t.temp(yC), t.temp(t.s.Plan.SetC)))
	}
	switch {
	case waits && !t.s.Waiting && t.s.WaitS >= longS:
		t.s.Waiting = true
		why := "the kiln cannot follow"
		if t.s.History.Limited() {
			why = "heat is limited"
		}
		t.say(notice.HoldBack, fmt.Sprintf("%s: %s, %s asked for; the plan waits in %s", why, t.temp(yC), t.temp(t.s.Plan.SetC), t.stepName()))
	case !waits && t.s.FlowS >= longS:
		if t.s.Waiting {
			t.say(notice.CaughtUp, fmt.Sprintf("the kiln has caught up at %s; the plan goes on", t.temp(yC)))
		}
		t.s.Waiting, t.s.LongWait, t.s.WaitS = false, false, 0
	}
}

// adrift lets the clock of a hold run that has long waited for a temperature:
// two hours without asking for full power, when something is wrong with the law,
// or eight with it, when the kiln gains and loses again and cannotReach does not
// speak. A firing must come to its end. Time with limited heat does not count:
// maybeAbove ends that.
func (t *tick) adrift(s profile.Step, waits bool, dtS, yC float64) {
	const longS, full, fullCounts = 7200, 0.98, 0.25
	if s.Kind != profile.Hold || !waits || t.s.Plan.Adrift || t.s.Plan.BackToC > 0 || t.s.History.Limited() {
		return
	}
	if t.s.Law.Duty >= full {
		dtS *= fullCounts
	}
	t.s.Plan.StrayS += dtS
	if t.s.Plan.StrayS >= longS {
		t.s.Plan.Adrift = true
		t.say(notice.HoldAdrift, fmt.Sprintf("the chamber is at %s and not at %s; the clock of %s runs all the same", t.temp(yC), t.temp(t.s.Plan.SetC), t.stepName()))
	}
}

// heat decides the relay. Everything that forbids heat is in one line.
func (t *tick) heat() {
	allowed := !t.over() && t.s.Asks == "" && t.s.Plan.Entered && !t.s.Plan.Unheated && t.s.Law.Ready && t.fine
	if allowed {
		var ahead law.Ahead
		t.c.foresee(t.s.Plan, ahead[:])
		if t.s.Paused {
			for i := range ahead {
				ahead[i] = t.s.Plan.SetC
			}
		}
		var duty float64
		t.s.Law, duty = t.c.law.Decide(t.s.Law, &ahead)
		t.s.Relay = relay.Update(t.c.cfg.Relay, t.s.Relay, duty, t.c.periodS)
	} else {
		t.s.Law = t.c.law.Off(t.s.Law)
		t.s.Relay = relay.Open(t.s.Relay, t.c.periodS)
	}
	on := 0.0
	if t.s.Relay.On {
		on = 1
	}
	t.s.Law = t.c.law.Advance(t.s.Law, on)
	if t.over() {
		t.s.Air = false
	}
	t.out.Heat, t.out.Air, t.out.Main, t.out.Ended = t.s.Relay.On, t.airOn(), t.s.History.Seen && !t.over() && t.s.Asks == "", t.over()
}

// record writes down what this tick saw and did.
func (t *tick) record() {
	r := record.Reading{
		Seq: t.s.Seq, Since: t.in.Now, Wall: t.in.Wall, SetpointC: t.setpointC(),
		Duty: t.s.Law.Duty, Relay: t.s.Relay.On, Air: t.airOn(), EnergyJ: t.s.EnergyJ,
		Step: uint16(t.s.Plan.Step), Phase: t.s.Phase, Observer: t.s.Inside.vector(), Door: uint8(t.in.Door),
	}
	r.Channels = make([]record.Sample, 0, 1+len(t.in.Others))
	r.Channels = append(r.Channels, sample(t.in.Chamber))
	for _, o := range t.in.Others {
		r.Channels = append(r.Channels, sample(o))
	}
	t.s.Seq++
	t.out.Record = r
}

func sample(r sensor.Reading) record.Sample {
	return record.Sample{HotC: r.HotC, ColdC: r.ColdC, HotCode: r.HotCode, ColdCode: r.ColdCode, Fault: uint16(r.Fault)}
}

// stepName is "step 3, hold 2 h", as people read it.
func (t *tick) stepName() string {
	p := t.c.cfg.Profile
	if t.s.Plan.Step >= len(p.Steps) {
		return "the end"
	}
	return fmt.Sprintf("step %d, %q", t.s.Plan.Step+1, p.Sentence(t.s.Plan.Step))
}

func (t *tick) temp(c float64) string { return t.c.temp(c) }

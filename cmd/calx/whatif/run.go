package whatif

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"calx/controller"
	"calx/controller/notice"
	"calx/controller/resume"
	"calx/sim/bench"
	"calx/sim/kiln"
	"calx/storage/record"
)

// Firing is what to fire, and on what.
type Firing struct {
	Control controller.Config
	Kiln    kiln.Params
	Chip    string         // amplifier at the probe, by name; an unknown one reads like a max31855
	StartC  float64        // the kiln at the start, all through, °C
	RoomC   float64        // °C
	Start   time.Time      // wall clock at the start
	Seed    uint64         // of the noise
	Mishaps []bench.Mishap // what goes wrong; Check has passed them
	Presses []Press        // what people press, in order
	Gaps    []Gap          // interruptions after which the firing goes on, in order
	Most    time.Duration  // after which it is given up; 0: four days
	// Policy is what the person wanted after a power cut, and Answer how long
	// it takes until somebody lets a firing go on that asks; 0: nobody does.
	Policy resume.Policy
	Answer time.Duration
}

// Press is a command at a time of the firing.
type Press struct {
	At      time.Duration
	Command controller.Command
}

// Gap is an interruption that the record shows.
type Gap struct {
	At, For time.Duration
	Asked   bool // somebody was asked before it went on; when they answered is a Press
	known   bool // what became of it is known; otherwise package resume judges
}

// Record is what came of it.
type Record struct {
	Readings []record.Reading
	Events   []record.Event
	Outcome  string  // "finished", "stopped", "tripped", "interrupted", "waiting" for a person, or "running" when it was given up
	EnergyJ  float64 // that the elements really took, J
}

const mostTime = 96 * time.Hour

// run is a Firing under way.
type run struct {
	Firing
	c      *controller.Controller
	kiln   *kiln.Kiln
	probe  *probe
	state  controller.State
	now    time.Duration
	period time.Duration
	air    bool
	heat   bool
	edges  []time.Duration // when what is wrong changes
	cuts   []Gap
	out    Record
}

// Run fires. Errors are those of controller.New.
func Run(f Firing) (Record, error) {
	c, err := controller.New(f.Control)
	if err != nil {
		return Record{}, err
	}
	if err := Check(f.Mishaps); err != nil {
		return Record{}, err
	}
	r := &run{Firing: f, c: c, kiln: kiln.New(f.Kiln, f.StartC), probe: newProbe(f.Chip, f.Seed), period: f.Control.Period}
	if r.period == 0 {
		r.period = time.Second
	}
	if r.Most == 0 {
		r.Most = mostTime
	}
	r.probe.bad = calm()
	r.edges = mishaps(f.Mishaps).changes()
	for _, g := range f.Gaps {
		r.cuts = append(r.cuts, Gap{g.At, g.For, g.Asked, true})
	}
	for _, m := range f.Mishaps {
		if m.Kind == powerCut {
			r.cuts = append(r.cuts, Gap{At: m.At, For: m.For})
		}
	}
	slices.SortStableFunc(r.cuts, func(a, b Gap) int { return cmp.Compare(a.At, b.At) })
	r.out.Readings = make([]record.Reading, 0, 24*time.Hour/r.period)
	r.fire()
	r.out.EnergyJ = r.kiln.EnergyJ()
	return r.out, nil
}

func (r *run) fire() {
	for r.now < r.Most {
		if len(r.cuts) > 0 && r.cuts[0].At <= r.now && r.state.Begun {
			cut := r.cuts[0]
			r.cuts = r.cuts[1:]
			if !r.cut(cut) {
				r.out.Outcome = "interrupted"
				return
			}
		}
		if r.tick() {
			r.out.Outcome = r.state.Outcome()
			return
		}
		r.pass(r.period)
	}
	r.out.Outcome = "running"
	if r.state.Asks != "" {
		r.out.Outcome = "waiting"
	}
}

// tick is one turn of the loop; ended says that it was the last.
func (r *run) tick() (ended bool) {
	in := controller.Input{Now: r.now, Wall: r.wall(), Commands: r.pressed()}
	in.Chamber = r.probe.read(r.now, r.kiln.JunctionC(), r.kiln.ShellC(), r.RoomC)
	var o controller.Output
	r.state, o = r.c.Step(r.state, in)
	r.heat, r.air = o.Heat, o.Air
	r.out.Readings = append(r.out.Readings, o.Record)
	r.out.Events = append(r.out.Events, o.Events...)
	return o.Ended
}

func (r *run) wall() time.Time {
	return r.Start.Add(r.now + mishaps(r.Mishaps).clock(r.now)).UTC().Truncate(time.Millisecond)
}

func (r *run) pressed() (out []controller.Command) {
	for len(r.Presses) > 0 && r.Presses[0].At <= r.now {
		out = append(out, r.Presses[0].Command)
		r.Presses = r.Presses[1:]
	}
	return out
}

// pass lets time pass for the kiln.
func (r *run) pass(d time.Duration) {
	if len(r.edges) > 0 && r.now >= r.edges[0] || r.probe.bad.driftCPerH != 0 {
		for len(r.edges) > 0 && r.now >= r.edges[0] {
			r.edges = r.edges[1:]
		}
		r.probe.bad = mishaps(r.Mishaps).at(r.now)
	}
	bad := &r.probe.bad
	on := 0.0
	if r.heat && !bad.stuck || bad.welded {
		on = bad.elements
	}
	r.kiln.Step(d.Seconds(), kiln.Input{On: on, MainsRatio: bad.mains, DoorOpen: bad.door, AirOn: r.air, AmbientC: r.RoomC, LoadHeatW: bad.heatW})
	r.now += d
}

// cut is a power cut: calx is gone, the kiln cools, and calx is back. It
// reports whether the firing goes on.
func (r *run) cut(g Gap) bool {
	lasts := g.For
	if lasts == 0 {
		lasts = usualCut
	}
	beforeC := r.state.History.HotC
	last := r.state.Now
	r.heat, r.air = false, false
	for until := r.now + lasts; r.now < until; {
		was := r.probe.bad.welded
		r.probe.bad.welded = false // without power a welded contact heats nothing
		r.pass(min(r.period, until-r.now))
		r.probe.bad.welded = was
	}
	chamber := r.probe.read(r.now, r.kiln.JunctionC(), r.kiln.ShellC(), r.RoomC)
	return r.back(g, beforeC, chamber.HotC, r.now-last)
}

// back is calx after a power cut, by the rule of the station: the firing goes
// on, waits for a person, or is over.
func (r *run) back(g Gap, beforeC, nowC float64, gap time.Duration) bool {
	snapshot, err := r.state.Snapshot()
	if err != nil {
		return false
	}
	if r.state, err = controller.Restore(snapshot); err != nil {
		return false
	}
	v := r.judge(g, beforeC, nowC, gap)
	n := notice.For(notice.Interrupted)
	if v.Do == resume.Wait {
		n = notice.For(notice.WaitsForPerson)
		r.state.Asks = v.Why
	}
	r.out.Events = append(r.out.Events, record.Event{Seq: r.state.EventSeq, Since: r.now, Wall: r.wall(), Code: n.Code,
		Severity: record.Severity(n.Severity), Step: uint16(r.state.Plan.Step), Text: v.Why, Hint: n.Do})
	r.state.EventSeq++
	if v.Do == resume.Wait && !g.known {
		if r.Answer == 0 {
			r.Most = min(r.Most, r.now+leftAlone)
		} else {
			r.Presses = append([]Press{{r.now + r.Answer, controller.Resume}}, r.Presses...)
		}
	}
	return v.Do != resume.Over
}

// leftAlone is how much of a firing is shown that nobody answers.
const leftAlone = time.Hour

func (r *run) judge(g Gap, beforeC, nowC float64, gap time.Duration) resume.Verdict {
	if g.known {
		do := resume.Proceed
		if g.Asked {
			do = resume.Wait
		}
		return resume.Verdict{Do: do, Why: fmt.Sprintf("calx was interrupted, as recorded, for %v", g.For.Round(time.Second))}
	}
	needC, wet, steam := r.c.Standing(r.state)
	return resume.Judge(resume.Case{Policy: r.Policy, Gap: resume.Gap{Least: gap, Likely: gap, Most: gap}, BeforeC: beforeC, NowC: nowC, NeedC: needC,
		DoorOpen: r.probe.bad.door > 0, Moulds: r.Control.Mould != nil, Wet: wet, Steam: steam, Waited: r.state.Asks, InF: r.Control.Profile.Fahrenheit})
}

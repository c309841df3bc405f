package main

import (
	"errors"
	"fmt"
	"math"
	"os"
	"time"

	"calx/cmd/calx/inside"
	"calx/cmd/calx/rerun"
	"calx/cmd/calx/summary"
	"calx/cmd/calx/whatif"
	"calx/controller/notice"
	"calx/controller/resume"
	"calx/profile"
	"calx/sim/bench"
	"calx/sim/kiln"
	"calx/sim/quantity"
	"calx/storage/record"
)

// whatIfFlags say what is to be otherwise than recorded.
type whatIfFlags struct {
	Profile  string        `help:"What if: another profile; a file, or the name of a shipped one." placeholder:"FILE"`
	Kiln     string        `help:"What if: another kiln, or this one as it is now; calx is told of it too." placeholder:"FILE"`
	Mould    []string      `help:"What if: other moulds; may be given several times; none for an empty kiln." sep:"none" placeholder:"FILE"`
	Faults   string        `help:"What if: a file of mishaps, such as a weaker element or a power cut." placeholder:"FILE"`
	Room     string        `help:"What if: the temperature of the room, such as 5C; otherwise as the record shows it." placeholder:"TEMP"`
	AfterCut string        `help:"What if: after a power cut; go-on-if-short, go-on, ask or end; otherwise as the firing was begun." placeholder:"WORD"`
	Answer   time.Duration `help:"How long it takes until somebody lets a firing go on that waits for a person after a power cut, such as 30m; otherwise nobody does." placeholder:"TIME"`
	Seed     uint64        `help:"Of the noise of the simulated probe." default:"1"`
}

// asked reports whether anything is to be otherwise.
func (w whatIfFlags) asked() bool {
	return w.Profile != "" || w.Kiln != "" || len(w.Mould) > 0 || w.Faults != "" || w.Room != "" || w.AfterCut != "" || w.Answer != 0
}

// simulation is a firing laid over its simulation.
type simulation struct {
	of      *firing
	sim     *firing
	took    time.Duration
	roomC   float64
	samePro bool // both ran the same profile
	what    []string
	trueJ   float64
	compare whatif.Comparison
}

// simulate fires the plan of f again on a simulated kiln.
func (w whatIfFlags) simulate(f *firing) (*simulation, error) {
	s := &simulation{of: f}
	head, err := w.head(f.head, s)
	if err != nil {
		return nil, err
	}
	k, err := kiln.Load("kiln file in the log", []byte(head.Kiln))
	if err != nil {
		return nil, err
	}
	cfg, _, err := rerun.Config(head)
	if err != nil {
		return nil, err
	}
	run := whatif.Firing{Control: cfg, Kiln: k, StartC: f.startC(), Start: f.began(), Seed: w.Seed}
	if len(head.Channels) > 0 {
		run.Chip = head.Channels[0].Chip
	}
	if run.RoomC, err = w.room(f); err != nil {
		return nil, err
	}
	s.roomC = run.RoomC
	if w.Room != "" {
		s.what = append(s.what, fmt.Sprintf("room at %.0f °C", run.RoomC))
	}
	if run.Mishaps, err = w.mishaps(s); err != nil {
		return nil, err
	}
	if s.samePro {
		f.repeat(&run)
	}
	if err := w.cutRule(&run, f.head.AfterCut); err != nil {
		return nil, err
	}
	began := time.Now()
	r, err := whatif.Run(run)
	if err != nil {
		return nil, err
	}
	s.took = time.Since(began)
	head.Outcome, head.Reason, head.Name = r.Outcome, "", "simulated"
	if n := len(r.Events); n > 0 {
		head.Reason = r.Events[n-1].Text
	}
	head.PeriodMS = 0
	head.Channels = []record.Channel{{Role: "chamber", Chip: run.Chip, Type: k.Probe.Type}}
	s.sim = &firing{head: head, readings: r.Readings, events: r.Events, prof: cfg.Profile}
	if s.sim.plan = f.plan; !s.samePro {
		s.sim.plan = profile.Unroll(cfg.Profile, s.sim.outlook(cfg.Profile))
	}
	s.trueJ = r.EnergyJ
	s.compare = whatif.Compare(f.head, f.readings, r.Readings, s.sentences())
	return s, nil
}

// head is the head of the simulated firing.
func (w whatIfFlags) head(h record.Firing, s *simulation) (record.Firing, error) {
	s.samePro = w.Profile == ""
	if !s.samePro {
		text, err := loadProfile(w.Profile)
		if err != nil {
			return h, err
		}
		if _, err := profile.Parse(text); err != nil {
			return h, fmt.Errorf("%s:\n%w", w.Profile, err)
		}
		s.samePro = text == h.Profile
		h.Profile = text
		s.what = append(s.what, "profile "+w.Profile)
	}
	if w.Kiln != "" {
		text, _, err := loadKiln(w.Kiln)
		if err != nil {
			return h, err
		}
		h.Kiln = text
		s.what = append(s.what, "kiln "+w.Kiln)
	}
	if len(w.Mould) > 0 {
		files, err := loadMoulds(w.Mould)
		if err != nil {
			return h, err
		}
		h.Moulds, h.Beliefs = mouldTexts(files), ""
		s.what = append(s.what, fmt.Sprintf("moulds %v", inside.Names(files)))
	}
	if h.Profile == "" {
		return h, errors.New("the firing has no profile, since it was recorded elsewhere; give one with --profile")
	}
	return h, nil
}

// room is the room asked for, or that of the record: the terminals of a kiln
// that is cold are about as warm.
func (w whatIfFlags) room(f *firing) (float64, error) {
	if w.Room != "" {
		var t quantity.Temperature
		if err := t.UnmarshalText([]byte(w.Room)); err != nil {
			return 0, usageError{fmt.Errorf("--room: %w", err)}
		}
		if c := float64(t); !(c >= -20 && c <= 45) {
			return 0, usageError{fmt.Errorf("--room is %s; it must be from -20 C to 45 C", w.Room)}
		}
		return float64(t), nil
	}
	const coldKilnC = 15
	for _, r := range f.readings {
		if c := summary.ChamberC(f.head, r); c == c && len(r.Channels) > 0 {
			if cold := r.Channels[0].ColdC; math.Abs(c-cold) < coldKilnC {
				return math.Min(c, cold), nil
			}
			break
		}
	}
	return roomC, nil
}

func (w whatIfFlags) mishaps(s *simulation) ([]bench.Mishap, error) {
	if w.Faults == "" {
		return nil, nil
	}
	text, err := os.ReadFile(w.Faults)
	if err != nil {
		return nil, err
	}
	ms, err := bench.ParseMishaps(w.Faults, text)
	if err != nil {
		return nil, err
	}
	if err := whatif.Check(ms); err != nil {
		return nil, fmt.Errorf("%s: %w", w.Faults, err)
	}
	s.what = append(s.what, "faults "+w.Faults)
	return ms, nil
}

// startC is the first temperature of the chamber, °C.
func (f *firing) startC() float64 {
	for _, r := range f.readings {
		if c := summary.ChamberC(f.head, r); c == c {
			return c
		}
	}
	return roomC
}

// repeat has people and power do what they did.
func (f *firing) repeat(run *whatif.Firing) {
	var before time.Duration
	i := 0
	for _, e := range f.events {
		if c, ok := rerun.Pressed(e); ok {
			run.Presses = append(run.Presses, whatif.Press{At: e.Since, Command: c})
		}
		if !rerun.Outside(e) {
			continue
		}
		for ; i < len(f.readings) && f.readings[i].Since < e.Since; i++ {
			before = f.readings[i].Since
		}
		run.Gaps = append(run.Gaps, whatif.Gap{At: before, For: e.Since - before, Asked: e.Code == notice.WaitsForPerson})
	}
	if n := len(f.readings); n > 0 && (f.head.Outcome == "interrupted" || f.head.Outcome == "") {
		run.Most = f.readings[n-1].Since + time.Second
	}
}

// cutRule is what becomes of a firing after a power cut in the mishaps.
func (w whatIfFlags) cutRule(run *whatif.Firing, recorded string) (err error) {
	word := w.AfterCut
	if word == "" {
		word = recorded
	}
	if run.Policy, err = resume.ParsePolicy(word); err != nil && w.AfterCut != "" {
		return usageError{fmt.Errorf("--after-cut: %w", err)}
	}
	if w.Answer < 0 {
		return usageError{fmt.Errorf("--answer is %v; it must be 0 or more", w.Answer)}
	}
	run.Answer = w.Answer
	return nil
}

// sentences are those of the profile, where both ran the same.
func (s *simulation) sentences() []string {
	if !s.samePro || s.of.prof == nil {
		return nil
	}
	out := make([]string, len(s.of.prof.Steps))
	for i := range out {
		out[i] = s.of.prof.Sentence(i)
	}
	return out
}

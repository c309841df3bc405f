package bench

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"calx/sim/chip"
	"calx/sim/quantity"
)

// Mishap is something that goes wrong at a given time.
type Mishap struct {
	At    time.Duration // since the start
	For   time.Duration // 0 = for good
	Kind  string        // a fault of a chip or relay, or one of the workshop
	Value string        // what it means depends on the kind; "" is its usual value
	// On is which part has the fault of a chip or relay: "" for the chip of the
	// chamber and the heat relay, OnSecond or OnMain for the others.
	On string
}

// The parts that Mishap.On may name.
const (
	OnSecond = "second" // the second amplifier and its probe
	OnMain   = "main"   // the second contactor
)

// workshop lists the mishaps that befall the kiln, the room and the clock, with
// what their value means and its range.
var workshop = map[string]struct {
	usual, least, most float64
	set                func(b *Bench, v float64)
	end                func(b *Bench) // takes it back; nil: it happens once
}{
	// how far the door stands open
	"door": {1, 0, 1, func(b *Bench, v float64) { b.dist.door = v }, func(b *Bench) { b.dist.door = 0 }},
	// what the switch at the door says whatever the door does: 1 is open, 0 shut
	"door_stuck": {0, 0, 1, func(b *Bench, v float64) { b.door.Stick(v > 0) }, func(b *Bench) { b.door.Free() }},
	// mains voltage over its nominal value
	"mains": {0.9, 0, 2, func(b *Bench, v float64) { b.dist.mains = v }, func(b *Bench) { b.dist.mains = 1 }},
	// share of the elements still whole
	"elements": {0.5, 0, 1, func(b *Bench, v float64) { b.dist.elements = v }, func(b *Bench) { b.dist.elements = 1 }},
	// heat of a pattern that burns, W
	"burning": {300, 0, 1e5, func(b *Bench, v float64) { b.dist.heatW = v }, func(b *Bench) { b.dist.heatW = 0 }},
	// temperature in the box with the amplifiers, °C
	"box": {85, -40, 200, func(b *Bench, v float64) { b.dist.boxed, b.dist.boxC = true, v }, func(b *Bench) { b.dist.boxed = false }},
	// share of the cold junction that the probe has slid out by: its junction
	// follows as slowly as its sheath does, which the fault "slipped" of a chip
	// does not
	"slips": {0.5, 0, 1, func(b *Bench, v float64) { b.dist.slips = v }, func(b *Bench) { b.dist.slips = 0 }},
	// the wall clock is set on by so many seconds
	"clock": {3600, -1e9, 1e9, func(b *Bench, v float64) { b.wallStep.Add(int64(v * float64(time.Second))) }, nil},
	// no power for kiln and board; value is ignored
	"power": {0, 0, 0, func(b *Bench, _ float64) { b.blackout() }, func(b *Bench) { b.dist.cut = false }},
}

// disturbance is what the workshop does to the kiln.
type disturbance struct {
	door, mains, elements, heatW float64
	boxC, slips                  float64
	boxed, cut                   bool
}

func calm() disturbance { return disturbance{mains: 1, elements: 1} }

// active is a mishap that will pass.
type active struct {
	m     Mishap
	until time.Duration
}

// Kinds lists every kind of mishap.
func Kinds() []string {
	names := chip.FaultNames()
	for k := range workshop {
		names = append(names, k)
	}
	slices.Sort(names)
	return names
}

// mishapFile is the YAML form.
type mishapFile struct {
	Mishaps []struct {
		At    quantity.Duration `yaml:"at"`
		For   quantity.Duration `yaml:"for,omitempty"`
		Kind  string            `yaml:"kind"`
		Value string            `yaml:"value,omitempty"`
		On    string            `yaml:"on,omitempty"`
	} `yaml:"mishaps"`
}

// Check finds kinds and values that do not exist. It implements
// quantity.Checker.
func (f *mishapFile) Check() []quantity.Problem {
	var ps []quantity.Problem
	for i, m := range f.Mishaps {
		if field, err := (Mishap{At: quantity.Std(m.At), For: quantity.Std(m.For), Kind: m.Kind, Value: m.Value, On: m.On}).check(); err != nil {
			ps = append(ps, quantity.Problem{Path: fmt.Sprintf("mishaps[%d].%s", i, field), Text: err.Error()})
		}
	}
	return ps
}

// ParseMishaps reads a file of mishaps:
//
//	mishaps:
//	  - {at: 3 h, kind: open, for: 20 s}
//	  - {at: 5 h, kind: mains, value: 0.9, for: 1 h}
//	  - {at: 6 h, kind: welded, on: main}
func ParseMishaps(file string, data []byte) ([]Mishap, error) {
	var f mishapFile
	if err := quantity.Decode(file, data, &f); err != nil {
		return nil, err
	}
	var out []Mishap
	for _, m := range f.Mishaps {
		out = append(out, Mishap{At: quantity.Std(m.At), For: quantity.Std(m.For), Kind: m.Kind, Value: m.Value, On: m.On})
	}
	return out, nil
}

// longest is later than anybody looks at; At+For cannot run over then.
const longest = 366 * 24 * time.Hour

// check returns the field that is wrong, and why.
func (m Mishap) check() (field string, err error) {
	switch {
	case m.At < 0 || m.At > longest:
		return "at", fmt.Errorf("%v is not within a year of the start", quantity.Duration(m.At.Seconds()))
	case m.For < 0 || m.For > longest:
		return "for", fmt.Errorf("%v is longer than a year; leave it out for good", quantity.Duration(m.For.Seconds()))
	}
	if w, ok := workshop[m.Kind]; ok {
		if m.On != "" {
			return "on", fmt.Errorf("read %q; leave it out: %s befalls no single part", m.On, m.Kind)
		}
		if m.Kind == "power" && m.For <= 0 {
			return "for", errors.New("it must say for how long the power is gone, for example 20 min")
		}
		_, err := m.number(w.usual, w.least, w.most)
		return "value", err
	}
	k, err := chip.ParseFault(m.Kind)
	if err != nil {
		return "kind", fmt.Errorf("read %q; it must be one of %s", m.Kind, strings.Join(Kinds(), ", "))
	}
	part, what := OnSecond, "an amplifier"
	if k.OnRelay() {
		part, what = OnMain, "a relay"
	}
	if m.On != "" && m.On != part {
		return "on", fmt.Errorf("read %q; %s is a fault of %s, so it must be %s or left out", m.On, m.Kind, what, part)
	}
	_, err = chip.ParseFaultValue(k, m.Value)
	return "value", err
}

// number is the value, within its range.
func (m Mishap) number(usual, least, most float64) (float64, error) {
	if m.Value == "" {
		return usual, nil
	}
	v, err := strconv.ParseFloat(m.Value, 64)
	if err != nil || least < most && !(v >= least && v <= most) {
		return 0, fmt.Errorf("read %q; for %s it must be a number from %g to %g", m.Value, m.Kind, least, most)
	}
	return v, nil
}

func sorted(ms []Mishap) []Mishap {
	out := slices.Clone(ms)
	slices.SortStableFunc(out, func(a, b Mishap) int { return cmp.Compare(a.At, b.At) })
	return out
}

// mishaps lets happen what is due and takes back what has passed.
func (b *Bench) mishaps() {
	for len(b.pending) > 0 && b.pending[0].At <= b.now {
		m := b.pending[0]
		b.pending = b.pending[1:]
		b.happen(m, true)
		if m.For > 0 {
			b.active = append(b.active, active{m, b.now + m.For})
		}
	}
	b.active = slices.DeleteFunc(b.active, func(a active) bool {
		if a.until > b.now {
			return false
		}
		b.happen(a.m, false)
		return true
	})
}

// happen starts a mishap, or ends it. Kinds and values were checked.
func (b *Bench) happen(m Mishap, begins bool) {
	if w, ok := workshop[m.Kind]; ok {
		switch {
		case begins:
			v, _ := m.number(w.usual, w.least, w.most)
			w.set(b, v)
		case w.end != nil:
			w.end(b)
		}
		return
	}
	k, err := chip.ParseFault(m.Kind)
	if err != nil {
		panic("BUG: unchecked mishap " + m.Kind)
	}
	target := b.part(k, m.On)
	if !begins {
		target.Clear(k)
		return
	}
	f, err := chip.ParseFaultValue(k, m.Value)
	if err == nil {
		err = target.Inject(f)
	}
	if err != nil {
		panic("BUG: unchecked mishap: " + err.Error())
	}
}

// faulty is a part that can fail.
type faulty interface {
	Inject(chip.Fault) error
	Clear(...chip.Kind)
}

// part is the one that a fault befalls.
func (b *Bench) part(k chip.Kind, on string) faulty {
	switch {
	case !k.OnRelay() && on == OnSecond:
		return b.second
	case !k.OnRelay():
		return b.chip
	case on == OnMain:
		return b.main
	}
	return b.relay
}

// fitted refuses a mishap of a part that this workshop has not.
func (b *Bench) fitted(m Mishap) error {
	switch {
	case m.On == OnSecond && b.second == nil:
		return fmt.Errorf("a mishap %q on the second amplifier, and there is none", m.Kind)
	case m.On == OnMain && b.main == nil:
		return fmt.Errorf("a mishap %q on the main contactor, and there is none", m.Kind)
	}
	_, err := m.check()
	return err
}

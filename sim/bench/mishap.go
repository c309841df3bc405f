package bench

import (
	"fmt"
	"slices"
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
}

// workshop lists the mishaps that befall the kiln and the clock, with what
// their value means.
var workshop = map[string]struct {
	usual float64
	set   func(*disturbance, float64)
}{
	"door":     {1, func(d *disturbance, v float64) { d.door = v }},       // how far it stands open, 0..1
	"mains":    {0.9, func(d *disturbance, v float64) { d.mains = v }},    // voltage over its nominal value
	"elements": {0.5, func(d *disturbance, v float64) { d.elements = v }}, // share of the elements still whole
	"burning":  {300, func(d *disturbance, v float64) { d.heatW = v }},    // heat of a pattern that burns, W
	"clock":    {3600, nil},                                               // the wall clock is set on by so many seconds
}

// disturbance is what the workshop does to the kiln.
type disturbance struct{ door, mains, elements, heatW float64 }

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
	} `yaml:"mishaps"`
}

// Check finds kinds and values that do not exist. It implements
// quantity.Checker.
func (f *mishapFile) Check() []quantity.Problem {
	var ps []quantity.Problem
	for i, m := range f.Mishaps {
		if err := (Mishap{Kind: m.Kind, Value: m.Value}).check(); err != nil {
			ps = append(ps, quantity.Problem{Path: fmt.Sprintf("mishaps[%d].kind", i), Text: err.Error()})
		}
	}
	return ps
}

// ParseMishaps reads a file of mishaps:
//
//	mishaps:
//	  - {at: 3 h, kind: open, for: 20 s}
//	  - {at: 5 h, kind: mains, value: 0.9, for: 1 h}
func ParseMishaps(file string, data []byte) ([]Mishap, error) {
	var f mishapFile
	if err := quantity.Decode(file, data, &f); err != nil {
		return nil, err
	}
	var out []Mishap
	for _, m := range f.Mishaps {
		out = append(out, Mishap{At: quantity.Std(m.At), For: quantity.Std(m.For), Kind: m.Kind, Value: m.Value})
	}
	return out, nil
}

func (m Mishap) check() error {
	if w, ok := workshop[m.Kind]; ok {
		_, err := m.number(w.usual)
		return err
	}
	k, err := chip.ParseFault(m.Kind)
	if err != nil {
		return fmt.Errorf("read %q; it must be one of %s", m.Kind, strings.Join(Kinds(), ", "))
	}
	_, err = chip.ParseFaultValue(k, m.Value)
	return err
}

func (m Mishap) number(usual float64) (float64, error) {
	if m.Value == "" {
		return usual, nil
	}
	var v float64
	if _, err := fmt.Sscanf(m.Value, "%g", &v); err != nil {
		return 0, fmt.Errorf("read value %q; it must be a number", m.Value)
	}
	return v, nil
}

func sorted(ms []Mishap) []Mishap {
	out := slices.Clone(ms)
	slices.SortStableFunc(out, func(a, b Mishap) int { return int(a.At - b.At) })
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
		v, _ := m.number(w.usual)
		switch {
		case w.set == nil && begins:
			b.wallStep.Add(int64(v * float64(time.Second)))
		case w.set != nil && begins:
			w.set(&b.dist, v)
		case w.set != nil:
			w.set(&b.dist, map[string]float64{"mains": 1, "elements": 1}[m.Kind])
		}
		return
	}
	k, err := chip.ParseFault(m.Kind)
	if err != nil {
		panic("BUG: unchecked mishap " + m.Kind)
	}
	target := interface {
		Inject(chip.Fault) error
		Clear(...chip.Kind)
	}(b.chip)
	if k.OnRelay() {
		target = b.relay
	}
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

package chip

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"calx/sensor/thermocouple"
)

// Kind is one way in which a probe, an amplifier, its bus or a relay fails.
type Kind uint8

// The kinds of fault. The comment gives what [Fault.Value] means, its range
// and what the value 0 stands for; kinds without one ignore it.
const (
	Open             Kind = iota // a broken probe wire
	ShortGround                  // a probe wire touches ground
	ShortSupply                  // a probe wire touches the supply
	OverUnderVoltage             // an input beyond the rails; below ground when Value < 0, else above the supply
	BusLow                       // the data line to the host reads 0 for ever
	BusHigh                      // the data line to the host reads 1 for ever
	BitFlips                     // both data lines flip bits; probability per bit, 0..1, 0 means 0.001
	TransferError                // the host's transfer fails; probability, 0..1, 0 means always
	Frozen                       // conversions stop: the last result is sent for ever
	BrownOut                     // the supply dips once: registers return to their defaults
	WrongType                    // a probe of another type; the letter's code, as float64('N')
	Reversed                     // the probe's wires are swapped
	Drift                        // the probe drifts from now on; °C/h, -1000..1000, 0 means 10
	Slipped                      // the probe has slid out; share of the cold junction, 0..1, 0 means 0.5
	Noisy                        // hum and sparks at the input; °C rms, 0..200, 0 means 10
	ColdOffset                   // the cold-junction sensor reads so much too high, °C, -150..150, 0 means 60
	Hang                         // a transfer does not return for so many seconds, 0..86400, 0 means 30
	Welded                       // relay: the contact conducts whatever the coil does
	StuckOpen                    // relay: the contact never conducts
	kinds
)

// spec is what is known about a kind of fault beside its effect.
type spec struct {
	name         string
	least, most  float64 // range of Value; both 0 where it is ignored
	unset        float64 // what Value 0 means
	relay, event bool    // belongs to a relay; happens once instead of lasting
}

var specs = [kinds]spec{
	Open:             {name: "open"},
	ShortGround:      {name: "short_ground"},
	ShortSupply:      {name: "short_supply"},
	OverUnderVoltage: {name: "over_under_voltage", least: -1, most: 1, unset: 1},
	BusLow:           {name: "bus_low"},
	BusHigh:          {name: "bus_high"},
	BitFlips:         {name: "bit_flips", most: 1, unset: 0.001},
	TransferError:    {name: "transfer_error", most: 1, unset: 1},
	Frozen:           {name: "frozen"},
	BrownOut:         {name: "brown_out", event: true},
	WrongType:        {name: "wrong_type", least: 'B', most: 'T'},
	Reversed:         {name: "reversed"},
	Drift:            {name: "drift", least: -1000, most: 1000, unset: 10},
	Slipped:          {name: "slipped", most: 1, unset: 0.5},
	Noisy:            {name: "noisy", most: 200, unset: 10},
	ColdOffset:       {name: "cold_offset", least: -150, most: 150, unset: 60},
	Hang:             {name: "hang", most: 86400, unset: 30},
	Welded:           {name: "welded", relay: true},
	StuckOpen:        {name: "stuck_open", relay: true},
}

// FaultNames lists the names that [ParseFault] knows, in the order of the
// kinds. The caller owns the slice.
func FaultNames() []string {
	names := make([]string, kinds)
	for k := range specs {
		names[k] = specs[k].name
	}
	return names
}

// String is the name of the kind, for example "short_ground".
func (k Kind) String() string {
	if k >= kinds {
		return "Kind(" + strconv.Itoa(int(k)) + ")"
	}
	return specs[k].name
}

// OnRelay reports whether the fault belongs to a relay, not to an amplifier.
func (k Kind) OnRelay() bool { return k < kinds && specs[k].relay }

// Fault is a fault to put on a [Chip] or a [Relay].
type Fault struct {
	Kind  Kind
	Value float64 // meaning, range and 0: see the kind
}

// ParseFault finds the kind with the given name. The error lists the names.
func ParseFault(name string) (Kind, error) {
	for k := range specs {
		if specs[k].name == name {
			return Kind(k), nil
		}
	}
	return 0, fmt.Errorf("fault %q is not known; known are %s", name, strings.Join(FaultNames(), ", "))
}

// ParseFaultValue joins a kind with a value as a person writes it: a number,
// the letter of a thermocouple type for [WrongType], or "" for the kind's
// usual value. The error says what the kind takes.
func ParseFaultValue(k Kind, text string) (Fault, error) {
	f := Fault{Kind: k}
	switch {
	case k == WrongType && len(text) == 1:
		f.Value = float64(text[0])
	case k == WrongType:
		return Fault{}, fmt.Errorf("fault %s: %q is not a thermocouple type; want one letter of %s", k, text, thermocouple.Types)
	case text != "":
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return Fault{}, fmt.Errorf("fault %s: value %q is not a number", k, text)
		}
		f.Value = v
	}
	return f.normal()
}

// normal puts the usual value in place of 0 and refuses what is out of range.
func (f Fault) normal() (Fault, error) {
	if f.Kind >= kinds {
		return f, fmt.Errorf("fault kind %d is not known; the last is %d", f.Kind, kinds-1)
	}
	s := specs[f.Kind]
	if s.least == s.most {
		f.Value = 0
		return f, nil
	}
	if f.Value == 0 {
		f.Value = s.unset
	}
	if f.Kind == WrongType {
		if v := f.Value; v != math.Trunc(v) || !strings.ContainsRune(thermocouple.Types, rune(v)) {
			return f, fmt.Errorf("fault %s: %v is not the code of a thermocouple type; want one of %s", f.Kind, v, thermocouple.Types)
		}
		return f, nil
	}
	if !(f.Value >= s.least && f.Value <= s.most) {
		return f, fmt.Errorf("fault %s: value %v is outside %v to %v", f.Kind, f.Value, s.least, s.most)
	}
	return f, nil
}

// faultSet holds which faults of a chip or a relay are on, and their values.
type faultSet struct {
	on    uint32 // bit k: kind k is on
	value [kinds]float64
}

func (s *faultSet) has(k Kind) bool { return s.on&(1<<k) != 0 }

func (s *faultSet) set(f Fault) {
	s.on |= 1 << f.Kind
	s.value[f.Kind] = f.Value
}

func (s *faultSet) clear(ks []Kind) {
	for k := range kinds {
		if len(ks) == 0 || slices.Contains(ks, k) {
			s.on &^= 1 << k
		}
	}
}

func (s *faultSet) list() []Fault {
	var fs []Fault
	for k := range kinds {
		if s.has(k) {
			fs = append(fs, Fault{Kind: k, Value: s.value[k]})
		}
	}
	return fs
}

// probe is the type of the thermocouple at the input, given the right one.
func (s *faultSet) probe(right thermocouple.Type) thermocouple.Type {
	if s.has(WrongType) {
		return thermocouple.Type(s.value[WrongType])
	}
	return right
}

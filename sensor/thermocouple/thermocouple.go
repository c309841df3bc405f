package thermocouple

import (
	"errors"
	"fmt"
	"math"
)

//go:generate go run gen.go

// Type is a thermocouple letter type; its value is the letter.
type Type byte

// The letter-designated types of IEC 60584-1.
const (
	B Type = 'B' // platinum 30 % rhodium against platinum 6 % rhodium
	E Type = 'E' // nickel-chromium against copper-nickel
	J Type = 'J' // iron against copper-nickel
	K Type = 'K' // nickel-chromium against nickel-aluminium
	N Type = 'N' // nickel-chromium-silicon against nickel-silicon
	R Type = 'R' // platinum 13 % rhodium against platinum
	S Type = 'S' // platinum 10 % rhodium against platinum
	T Type = 'T' // copper against copper-nickel
)

// Types are the letters in alphabetical order.
const Types = "BEJKNRST"

var (
	// ErrType matches the error for anything but one of the eight letters.
	ErrType = errors.New("unknown thermocouple type")
	// ErrRange matches every [*RangeError].
	ErrRange = errors.New("outside the range")
)

// RangeError says which value lay outside which range. It matches [ErrRange].
type RangeError struct {
	Type     Type
	Value    float64 // as given, in Unit; may be NaN or infinite
	Min, Max float64 // both inclusive, in Unit
	Unit     string  // "°C" or "mV"
	Of       string  // what has this range, for example "class 1 tolerance"
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("type %s: %.8g %s is outside the %s range of %.8g to %.8g %s",
		e.Type, e.Value, e.Unit, e.Of, e.Min, e.Max, e.Unit)
}

// Is reports whether target is [ErrRange].
func (e *RangeError) Is(target error) bool { return target == ErrRange }

// ParseType reads one letter, in either case. The error matches [ErrType].
func ParseType(s string) (Type, error) {
	if len(s) == 1 {
		t := Type(s[0] &^ 0x20) // ASCII upper case
		if t.curve() != nil {
			return t, nil
		}
	}
	return 0, fmt.Errorf("%w %q; want one of B, E, J, K, N, R, S, T", ErrType, s)
}

// String is the letter, or a form such as Type(0x58) for an unknown one.
func (t Type) String() string {
	if t.curve() == nil {
		return fmt.Sprintf("Type(%#02x)", byte(t))
	}
	return string(rune(t))
}

// EMF is the ITS-90 reference function: the voltage of a junction at hotC
// against one at 0 °C. Type K at 1000 °C gives 41.276 mV. The error is a
// [*RangeError] beyond [Type.Range], which NaN is too.
func (t Type) EMF(hotC float64) (mV float64, err error) {
	c, err := t.check(hotC)
	if err != nil {
		return math.NaN(), err
	}
	return c.segment(hotC).emf(hotC), nil
}

// Seebeck is the slope of [Type.EMF] at hotC: 0.0410 mV/°C for type K at
// 800 °C. At a join of two segments it is that of the lower one. Errors as EMF.
func (t Type) Seebeck(hotC float64) (mVPerC float64, err error) {
	c, err := t.check(hotC)
	if err != nil {
		return math.NaN(), err
	}
	_, slope := c.segment(hotC).emfAndSlope(hotC)
	return slope, nil
}

// Temperature is the inverse of [Type.EMF] within [Type.InverseRange]: type K
// at 41.276 mV gives 1000.01 °C. It is the published inverse polynomial (good
// to 0.06 °C) followed by two Newton steps on the reference function, and
// closes on it within 0.000001 °C. The error is a [*RangeError] in mV.
func (t Type) Temperature(mV float64) (hotC float64, err error) {
	c := t.curve()
	if c == nil {
		return math.NaN(), t.unknown()
	}
	v := &voltages[t-B]
	if !(mV >= v.min && mV <= v.max) { // written so that NaN fails too
		return math.NaN(), &RangeError{Type: t, Value: mV, Min: v.min, Max: v.max, Unit: "mV", Of: "inverse"}
	}
	return c.temperature(mV), nil
}

// Range is the domain of [Type.EMF] and [Type.Seebeck], both ends included;
// two NaN for an unknown type.
func (t Type) Range() (minC, maxC float64) {
	c := t.curve()
	if c == nil {
		return math.NaN(), math.NaN()
	}
	return c.reference[0].minC, c.reference[len(c.reference)-1].maxC
}

// InverseRange is what [Type.Temperature] can return, in °C, both ends
// included; two NaN for an unknown type. The voltages it accepts run from EMF
// of the lower end to EMF of the upper, computed rather than taken from the
// printed limits: those of R and S (-0.226 and -0.235 mV) are rounded inward
// and would refuse -50 °C.
func (t Type) InverseRange() (minC, maxC float64) {
	c := t.curve()
	if c == nil {
		return math.NaN(), math.NaN()
	}
	return c.inverse[0].minC, c.inverse[len(c.inverse)-1].maxC
}

// check finds the curve and makes sure that hotC lies on it.
func (t Type) check(hotC float64) (*curve, error) {
	c := t.curve()
	if c == nil {
		return nil, t.unknown()
	}
	lo, hi := c.reference[0].minC, c.reference[len(c.reference)-1].maxC
	if !(hotC >= lo && hotC <= hi) { // written so that NaN fails too
		return nil, &RangeError{Type: t, Value: hotC, Min: lo, Max: hi, Unit: "°C", Of: "reference"}
	}
	return c, nil
}

func (t Type) unknown() error {
	return fmt.Errorf("%w %#02x; want one of B, E, J, K, N, R, S, T", ErrType, byte(t))
}

// curve is nil for a letter that is no type.
func (t Type) curve() *curve {
	i := int(t) - int(B)
	if i < 0 || i >= len(curves) || curves[i].reference == nil {
		return nil
	}
	return &curves[i]
}

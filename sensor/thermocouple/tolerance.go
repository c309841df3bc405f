package thermocouple

import (
	"errors"
	"fmt"
	"math"
)

// Class is a tolerance class of IEC 60584-1: how far unused wire may lie from
// the reference function.
type Class byte

// The tolerance classes. Class 1 is the closest; class 3 is wire made for use
// below 40 °C, and for type B the wider of its two classes.
const (
	Class1 Class = 1
	Class2 Class = 2
	Class3 Class = 3
)

// ErrClass matches the error for a class the standard does not define for a
// type.
var ErrClass = errors.New("no such tolerance class")

// band is the larger of fixedC and perC·|t| over minC to maxC; class 1 of types
// R and S is a sum instead, see nobleKneeC.
type band struct {
	types      string
	class      Class
	fixedC     float64 // °C
	perC       float64 // °C of tolerance per °C of temperature
	minC, maxC float64
}

// bands holds IEC 60584-2:1982 + A1:1989, table 1, carried unchanged into
// IEC 60584-1:2013.
var bands = []band{
	{"KN", Class1, 1.5, 0.004, -40, 1000},
	{"KN", Class2, 2.5, 0.0075, -40, 1200},
	{"KN", Class3, 2.5, 0.015, -200, 40},
	{"E", Class1, 1.5, 0.004, -40, 800},
	{"E", Class2, 2.5, 0.0075, -40, 900},
	{"E", Class3, 2.5, 0.015, -200, 40},
	{"J", Class1, 1.5, 0.004, -40, 750},
	{"J", Class2, 2.5, 0.0075, -40, 750},
	{"T", Class1, 0.5, 0.004, -40, 350},
	{"T", Class2, 1.0, 0.0075, -40, 350},
	{"T", Class3, 1.0, 0.015, -200, 40},
	{"RS", Class1, 1.0, 0.003, 0, 1600},
	{"RS", Class2, 1.5, 0.0025, 0, 1600},
	{"B", Class2, 0, 0.0025, 600, 1700},
	{"B", Class3, 4.0, 0.005, 600, 1700},
}

// nobleKneeC is where class 1 of types R and S begins to widen:
// 1 + 0.003·(t - 1100) °C.
const nobleKneeC = 1100

// Tolerance is the deviation IEC 60584-1 allows unused wire of a class at
// hotC: type K of class 2 may be 5.5 °C off at 730 °C. Wire in use drifts
// further. The error is [ErrClass] where the
// standard has no such class (J of class 3, B of class 1), else a
// [*RangeError] beyond the temperatures the class covers.
func (t Type) Tolerance(class Class, hotC float64) (plusMinusC float64, err error) {
	if t.curve() == nil {
		return math.NaN(), t.unknown()
	}
	b := t.band(class)
	if b == nil {
		return math.NaN(), fmt.Errorf("%w %d for type %s in IEC 60584-1", ErrClass, class, t)
	}
	if !(hotC >= b.minC && hotC <= b.maxC) {
		return math.NaN(), &RangeError{Type: t, Value: hotC, Min: b.minC, Max: b.maxC, Unit: "°C",
			Of: fmt.Sprintf("class %d tolerance", class)}
	}
	if class == Class1 && (t == R || t == S) {
		return b.fixedC + float64(b.perC*max(0, hotC-nobleKneeC)), nil
	}
	return max(b.fixedC, b.perC*math.Abs(hotC)), nil
}

func (t Type) band(class Class) *band {
	for i := range bands {
		b := &bands[i]
		if b.class != class {
			continue
		}
		for _, letter := range b.types {
			if t == Type(letter) {
				return b
			}
		}
	}
	return nil
}

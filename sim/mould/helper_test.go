package mould

import (
	"testing"

	"github.com/stretchr/testify/require"

	"calx/sim/quantity"
)

// leg is a corner of a schedule: hours, °C.
type leg struct{ h, c float64 }

// schedule runs straight between the corners and stays at the last.
func schedule(legs ...leg) History {
	return func(tS float64) (float64, bool) {
		h := tS / 3600
		for i := 1; i < len(legs); i++ {
			if a, b := legs[i-1], legs[i]; h <= b.h {
				return a.c + (b.c-a.c)*(h-a.h)/(b.h-a.h), false
			}
		}
		return legs[len(legs)-1].c, false
	}
}

// The two schedules of the independent prototype: 100 K/h to 720 °C; and with
// holds at 150 and 370 °C.
var (
	straight = schedule(leg{0, 20}, leg{7, 720})
	stepped  = schedule(leg{0, 20}, leg{1.3, 150}, leg{5.3, 150}, leg{7.5, 370}, leg{9, 370}, leg{11.4, 730})
)

func ptr[T any](v T) *T { return &v }

// The pieces and flasks of the independent prototype.
var (
	herbStem  = Pattern{Material: "herb stem", Shape: ShapeStem, Section: 0.004, Length: 0.060}
	woodyStem = Pattern{Material: "woody stem", Shape: ShapeStem, Section: 0.012, Length: 0.060}
	cone      = Pattern{Material: "cone", Shape: ShapeStem, Section: 0.035, Length: 0.050, Mass: ptr(quantity.Mass(0.0075))}
	seedHead  = Pattern{Material: "seed head", Shape: ShapeBall, Section: 0.025}
)

func sleeved(diameterMM, heightMM float64, o ...Pattern) Params {
	return Params{
		Name:     "flask",
		Flask:    Flask{Diameter: quantity.Length(diameterMM / 1000), Height: quantity.Length(heightMM / 1000), Sleeve: SleeveSteel, Stands: OnGrate},
		Sprue:    Sprue{Diameter: 0.008, Length: 0.035, Open: true},
		Patterns: o,
	}
}

func plug(sleeve string, o ...Pattern) Params {
	return Params{Name: "plug", Flask: Flask{Diameter: 0.060, Height: 0.090, Sleeve: sleeve, Stands: OnShelf}, Patterns: o}
}

func compile(t testing.TB, p ...Params) *Model {
	t.Helper()
	return compileOn(t, Grid{}, p...)
}

func compileOn(t testing.TB, g Grid, p ...Params) *Model {
	t.Helper()
	m, err := New(p, Env{Air: DefaultKilnAir, Grid: g})
	require.NoError(t, err)
	return m
}

// steps runs s on with a fixed step.
func steps(m *Model, s *State, h History, hours, dt float64, each func()) {
	for n := range int(hours * 3600 / dt) {
		meanC, on, last := h.over(float64(n)*dt, dt)
		m.move(s, dt, meanC, on)
		s.ChamberC = last
		if each != nil {
			each()
		}
	}
}

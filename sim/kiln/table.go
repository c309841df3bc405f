package kiln

import "math"

// A table holds the properties of one body at equal steps of temperature, so
// that a look-up in the inner loop is an index and no search.
type table struct {
	at [tableLen]entry
}

// entry is the value at one temperature and its growth to the next.
type entry struct {
	c, dc float64 // heat capacity per volume, or of a whole body, J/m³/K or J/K
	k, dk float64 // conductivity, W/m/K
	heat  float64 // ∫c dT from tableLowC, J/m³ or J
}

const (
	tableLowC  = -60.0
	tableStepC = 20.0
	tableLen   = 96 // up to 1840 °C
)

// newTable tabulates the functions given, of °C.
func newTable(c, k func(tC float64) float64) *table {
	t := new(table)
	cNext, kNext := c(tableLowC), k(tableLowC)
	for i := range t.at {
		cLow, kLow := cNext, kNext
		high := tableLowC + float64(i+1)*tableStepC
		cNext, kNext = c(high), k(high)
		t.at[i] = entry{c: cLow, dc: cNext - cLow, k: kLow, dk: kNext - kLow}
		if i > 0 {
			before := t.at[i-1]
			t.at[i].heat = before.heat + (before.c+before.dc/2)*tableStepC
		}
	}
	return t
}

// find gives the entry below tC and how far tC lies to the next, 0 to 1; beyond
// the ends it extends the last piece.
func (t *table) find(tC float64) (*entry, float64) {
	x := (tC - tableLowC) * (1 / tableStepC)
	i := int(x)
	if uint(i) >= tableLen {
		i = outside(x)
	}
	return &t.at[i], x - float64(i)
}

// outside is the piece to extend for an x beyond the table or not a number.
func outside(x float64) int {
	if x > 0 {
		return tableLen - 1
	}
	return 0
}

func (t *table) both(tC float64) (c, k float64) {
	e, f := t.find(tC)
	return e.c + e.dc*f, e.k + e.dk*f
}

func (t *table) heatAt(tC float64) float64 {
	e, f := t.find(tC)
	return e.heat + (e.c+e.dc*f/2)*f*tableStepC
}

// warm returns the temperature reached from tC when the heat c(tC)·rise goes
// in: the step of the linear solution, corrected for the change of c on the
// way. So what a body gains is what the fluxes brought, whatever the step.
func (t *table) warm(tC, rise float64) float64 {
	e, f := t.find(tC)
	return t.warmFrom(e, f, e.c+e.dc*f, tC, rise)
}

// warmFrom is warm for a tC that was looked up before: its entry, the way to
// the next, and c there. Within one piece c is linear, so that the rise d
// solves c·d + c'·d²/2 = c·rise.
func (t *table) warmFrom(e *entry, f, c, tC, rise float64) float64 {
	bend := 1 + 2*e.dc*(1/tableStepC)*rise/c
	if bend < 0 {
		return t.warmAcross(c, tC, rise)
	}
	d := 2 * rise / (1 + math.Sqrt(bend))
	if g := f + d*(1/tableStepC); g >= 0 && g <= 1 {
		return tC + d
	}
	return t.warmAcross(c, tC, rise)
}

// warmAcross is warm where the way leads over a knot of the table: Newton on
// the heat, which has converged to rounding after three or four turns.
func (t *table) warmAcross(c, tC, rise float64) float64 {
	goal := t.heatAt(tC) + c*rise
	next := tC + rise
	for range 5 {
		cNext, _ := t.both(next)
		next -= (t.heatAt(next) - goal) / cNext
	}
	return next
}

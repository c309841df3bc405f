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
	for i := range t.at {
		low := tableLowC + float64(i)*tableStepC
		high := low + tableStepC
		t.at[i] = entry{c: c(low), dc: c(high) - c(low), k: k(low), dk: k(high) - k(low)}
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
	i := 0
	if x > 0 { // false for NaN
		i = int(math.Min(x, tableLen-1))
	}
	return &t.at[i], x - float64(i)
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
	if rise == 0 {
		return tC
	}
	from, f := t.find(tC)
	c := from.c + from.dc*f
	want := c * rise
	next := tC + rise
	for range 4 {
		to, g := t.find(next)
		cNext := to.c + to.dc*g
		got := (c + cNext) / 2 * (next - tC)
		if to != from {
			got = t.heatAt(next) - t.heatAt(tC)
		}
		miss := got - want
		next -= miss / cNext
		if math.Abs(miss) <= 1e-9*math.Abs(want) {
			break
		}
	}
	return next
}

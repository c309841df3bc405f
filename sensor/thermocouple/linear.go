package thermocouple

import "math"

// Relinearise undoes the straight line of a chip that takes the voltage for
// mVPerC·(readC - coldC), whatever the type. It restores that voltage, adds EMF
// of the cold junction and looks the sum up: a type K chip of 0.041276 mV/°C
// that shows 736.75 °C over a cold junction of 25 °C means 729.91 °C. The
// result is NaN where there is no such temperature, also for an unknown type,
// NaN or infinite input.
func (t Type) Relinearise(readC, coldC, mVPerC float64) (hotC float64) {
	c := t.curve()
	if c == nil {
		return math.NaN()
	}
	if !(coldC >= c.reference[0].minC && coldC <= c.reference[len(c.reference)-1].maxC) {
		return math.NaN()
	}
	mV := float64(mVPerC*(readC-coldC)) + c.segment(coldC).emf(coldC)
	v := &voltages[t-B]
	if !(mV >= v.min && mV <= v.max) {
		return math.NaN()
	}
	return c.temperature(mV)
}

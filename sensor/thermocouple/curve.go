package thermocouple

import "math"

// curve is one letter type: segments in rising order, without gaps.
type curve struct {
	reference []segment
	inverse   []inverse
}

// segment is one piece of a reference function: E = Σ c[i]·t^i, plus the bell
// for type K above 0 °C.
type segment struct {
	minC, maxC float64
	c          []float64 // mV/°C^i
	bell       *bell
}

// bell is the term a0·exp(a1·(t - a2)²) of type K above 0 °C, in mV.
type bell struct{ a0, a1, a2 float64 }

// inverse is one piece of an inverse function: t = Σ d[i]·E^i, up to maxMV.
type inverse struct {
	minC, maxC float64
	maxMV      float64   // as printed, three decimals
	d          []float64 // °C/mV^i
}

// span is a closed interval of voltages, in mV.
type span struct{ min, max float64 }

// voltages are the EMFs at the ends of each inverse range.
var voltages = func() (v [len(curves)]span) {
	for i := range curves {
		c := &curves[i]
		if c.reference == nil {
			continue
		}
		lo, hi := c.inverse[0].minC, c.inverse[len(c.inverse)-1].maxC
		v[i] = span{c.segment(lo).emf(lo), c.segment(hi).emf(hi)}
	}
	return v
}()

// segment picks the piece that holds hotC; a join belongs to the lower piece,
// which makes E(0) exactly 0 for type K.
func (c *curve) segment(hotC float64) *segment {
	last := len(c.reference) - 1
	for i := range last {
		if hotC <= c.reference[i].maxC {
			return &c.reference[i]
		}
	}
	return &c.reference[last]
}

// newtonSteps: from the polynomial's 0.06 °C one step reaches some 1e-5 °C
// where the curve bends most (near -200 °C), the second rounding noise.
const newtonSteps = 2

// temperature expects mV within the voltages of the curve. Newton may leave
// the range by rounding noise, hence the clamp.
func (c *curve) temperature(mV float64) float64 {
	t := c.start(mV)
	lo, hi := c.inverse[0].minC, c.inverse[len(c.inverse)-1].maxC
	for range newtonSteps {
		t = min(max(t, lo), hi)
		e, slope := c.segment(t).emfAndSlope(t)
		t -= (e - mV) / slope
	}
	return min(max(t, lo), hi)
}

// start is the published inverse polynomial alone. Where two pieces overlap
// (types R and S from 1064 to 1200 °C) the lower one is used.
func (c *curve) start(mV float64) float64 {
	i, last := 0, len(c.inverse)-1
	for i < last && mV > c.inverse[i].maxMV {
		i++
	}
	d := c.inverse[i].d
	t := 0.0
	for j := len(d) - 1; j >= 0; j-- {
		t = float64(t*mV) + d[j]
	}
	return t
}

// The conversions to float64 in this file are not redundant: they forbid the
// compiler to fuse a product into a sum (Go specification, "Floating-point
// operators"), which it otherwise does even with the argument of an inlined
// function. TestSameBits watches over it.

func (s *segment) emf(hotC float64) float64 {
	e := 0.0
	for i := len(s.c) - 1; i >= 0; i-- {
		e = float64(e*hotC) + s.c[i]
	}
	if s.bell != nil {
		v, _ := s.bell.at(hotC)
		e += v
	}
	return e
}

// emfAndSlope runs Horner's scheme for the value and its derivative at once.
func (s *segment) emfAndSlope(hotC float64) (e, slope float64) {
	for i := len(s.c) - 1; i >= 0; i-- {
		slope = float64(slope*hotC) + e
		e = float64(e*hotC) + s.c[i]
	}
	if s.bell != nil {
		v, dv := s.bell.at(hotC)
		e += v
		slope += dv
	}
	return e, slope
}

func (b *bell) at(hotC float64) (v, slope float64) {
	x := hotC - b.a2
	v = float64(b.a0 * exp(float64(b.a1*x*x)))
	return v, float64(2 * b.a1 * x * v)
}

// exp is e^x for -700 < x < 700. The library's exp is assembly that differs
// between architectures in the last bit; the log must not. Reduction to
// |r| <= ln2/2 in two parts (Cody and Waite, Software Manual for the
// Elementary Functions, 1980, chapter 6), then the Taylor series, whose first
// neglected term is below 4e-18.
func exp(x float64) float64 {
	const (
		ln2Hi = 6.93147180369123816490e-01 // upper 32 bits of ln 2
		ln2Lo = 1.90821492927058770002e-10 // ln 2 - ln2Hi
	)
	k := math.RoundToEven(x * (1 / math.Ln2))
	r := x - float64(k*ln2Hi) - float64(k*ln2Lo)
	sum := 0.0
	for i := len(taylor) - 1; i >= 0; i-- {
		sum = float64(sum*r) + taylor[i]
	}
	return sum * math.Float64frombits(uint64(1023+int(k))<<52) // times 2^k
}

// taylor holds 1/i!.
var taylor = [...]float64{
	1, 1, 1. / 2, 1. / 6, 1. / 24, 1. / 120, 1. / 720, 1. / 5040, 1. / 40320,
	1. / 362880, 1. / 3628800, 1. / 39916800, 1. / 479001600, 1. / 6227020800,
}

package pieces

import "math"

// noise is a standard distribution of ε in log T = μ + σε, by the logarithms of
// its distribution and survival functions, so that no tail is lost.
type noise interface {
	logCDF(z float64) float64
	logSurvival(z float64) float64
}

// logBetween is the log likelihood of an interval-censored log T: lo < log T <=
// hi, either of which may be infinite. It is -Inf for an empty interval. The
// difference of two probabilities is taken on the side where both are small.
func logBetween(d noise, lo, hi, mu, sigma float64) float64 {
	if !(lo < hi) {
		return math.Inf(-1)
	}
	a, b := (lo-mu)/sigma, (hi-mu)/sigma
	if a > 0 {
		return logLess(d.logSurvival(a), d.logSurvival(b))
	}
	return logLess(d.logCDF(b), d.logCDF(a))
}

// logLess is log(exp(p) - exp(q)) for p >= q.
func logLess(p, q float64) float64 {
	if math.IsInf(q, -1) {
		return p
	}
	return p + log1mExp(q-p)
}

// log1mExp is log(1 - exp(x)) for x <= 0; Mächler, "Accurately computing
// log(1 - exp(-|a|))", note to the R package Rmpfr (2012), eq. 7.
func log1mExp(x float64) float64 {
	if x > -math.Ln2 {
		return math.Log(-math.Expm1(x))
	}
	return math.Log1p(-math.Exp(x))
}

// gauss is the standard normal: times are lognormal.
type gauss struct{}

// logCDF is exact to rounding; below -37, where the function underflows, by the
// first terms of its asymptotic series (Abramowitz & Stegun 26.2.12).
func (gauss) logCDF(z float64) float64 {
	switch {
	case z > 0:
		return math.Log1p(-0.5 * math.Erfc(z/math.Sqrt2))
	case z > -37:
		return math.Log(0.5 * math.Erfc(-z/math.Sqrt2))
	}
	return -0.5*z*z - math.Log(-z) - 0.5*math.Log(2*math.Pi) + math.Log1p(-1/(z*z))
}

func (g gauss) logSurvival(z float64) float64 { return g.logCDF(-z) }

// phi is the standard normal distribution function.
func phi(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// quantile is its inverse, for 0 < p < 1.
func quantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

package health

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Line is a straight line through points by least squares.
type Line struct {
	Intercept, Slope     float64
	InterceptSE, SlopeSE float64
	ResidualSD           float64 // standard deviation about the line
	N                    int
	meanX, sxx           float64
}

// ErrFew says that there are too few points, or all at one place.
var ErrFew = errors.New("health: a line with its doubt needs three points at two places")

// Fit puts a line through points. Sums are taken about the means, so that
// large values cancel before they are squared.
func Fit(x, y []float64) (Line, error) {
	n := len(x)
	if n < 3 || len(y) != n {
		return Line{}, ErrFew
	}
	l := Line{N: n}
	meanY := 0.0
	for i := range x {
		l.meanX += x[i] / float64(n)
		meanY += y[i] / float64(n)
	}
	sxy := 0.0
	for i := range x {
		l.sxx += (x[i] - l.meanX) * (x[i] - l.meanX)
		sxy += (x[i] - l.meanX) * (y[i] - meanY)
	}
	if !(l.sxx > 0) {
		return Line{}, ErrFew
	}
	l.Slope = sxy / l.sxx
	l.Intercept = meanY - l.Slope*l.meanX
	rest := 0.0
	for i := range x {
		d := y[i] - l.At(x[i])
		rest += d * d
	}
	l.ResidualSD = math.Sqrt(rest / float64(n-2))
	l.SlopeSE = l.ResidualSD / math.Sqrt(l.sxx)
	l.InterceptSE = l.ResidualSD * math.Sqrt(1/float64(n)+l.meanX*l.meanX/l.sxx)
	return l, nil
}

// At is the line at x.
func (l Line) At(x float64) float64 { return l.Intercept + l.Slope*x }

// sure is the confidence of every interval.
const sure = 0.95

// t is the factor of an interval that is right in 95 of 100 cases (Student's
// distribution, two-sided).
func (l Line) t() float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(l.N - 2)}.Quantile(1 - (1-sure)/2)
}

// Told reports whether the slope is told from none.
func (l Line) Told() bool { return math.Abs(l.Slope) > l.t()*l.SlopeSE }

// Slopes is the interval of the slope.
func (l Line) Slopes() (lo, hi float64) {
	d := l.t() * l.SlopeSE
	return l.Slope - d, l.Slope + d
}

// Band is the interval of the line itself at x.
func (l Line) Band(x float64) (lo, hi float64) {
	u := x - l.meanX
	d := l.t() * l.ResidualSD * math.Sqrt(1/float64(l.N)+u*u/l.sxx)
	return l.At(x) - d, l.At(x) + d
}

// Crossing is where the line reaches y, and the interval of that place
// (E. C. Fieller, "Some problems in interval estimation", J. Roy. Stat. Soc. B
// 16(2), 1954): all x for which y lies within the confidence band of the line.
// ok is false when the slope is not told from none: it may never reach it.
func (l Line) Crossing(y float64) (x, lo, hi float64, ok bool) {
	if !l.Told() {
		return 0, 0, 0, false
	}
	t, d := l.t(), y-l.At(l.meanX)
	x = l.meanX + d/l.Slope
	// (d - slope·u)² = t²s²(1/n + u²/sxx), with u = x - mean, for u.
	a := l.Slope*l.Slope - t*t*l.SlopeSE*l.SlopeSE
	c := d*d - t*t*l.ResidualSD*l.ResidualSD/float64(l.N)
	root := math.Sqrt(math.Max(d*d*l.Slope*l.Slope-a*c, 0))
	lo, hi = l.meanX+(d*l.Slope-root)/a, l.meanX+(d*l.Slope+root)/a
	return x, lo, hi, true
}

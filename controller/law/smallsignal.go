package law

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// loop is plant and law in small signals, in a row.
type loop struct {
	periodS       float64
	plant, law    [][]float64
	plantB, lawB  []float64
	plantC, lawC  []float64
	lawD          float64
	scratch       [][]complex128
	scratchVector []complex128
}

func newLoop(g *gains, states int, periodS float64) *loop {
	l := &loop{periodS: periodS, plantB: g.b[:states], plantC: make([]float64, states)}
	l.plantC[states-1] = 1
	for i := range states {
		l.plant = append(l.plant, g.a[i][:states])
	}
	size := states + 2
	zero := make([]float64, size)
	l.lawB, l.lawD = g.tick(states, zero, 1)
	l.law = make([][]float64, size)
	for i := range l.law {
		l.law[i] = make([]float64, size)
	}
	for j := range size {
		unit := make([]float64, size)
		unit[j] = 1
		next, duty := g.tick(states, unit, 0)
		for i, v := range next {
			l.law[i][j] = v
		}
		l.lawC = append(l.lawC, duty)
	}
	l.scratchVector = make([]complex128, size)
	for range size {
		l.scratch = append(l.scratch, make([]complex128, size))
	}
	return l
}

// tick is Observe, Decide and Advance in small signals: state of the model,
// unexplained duty and duty asked for, and a reading, all as deviations, to
// the same one period on and the duty in between.
func (g *gains) tick(states int, s []float64, y float64) (next []float64, duty float64) {
	x, extra, duty := append([]float64(nil), s[:states]...), s[states], s[states+1]
	e := y - x[states-1]
	for i := range x {
		x[i] += g.est[i] * e
	}
	extra += g.est[maxStates] * e
	duty -= g.k[maxStates] * (duty + extra)
	for i, v := range x {
		duty -= g.k[i] * v
	}
	next = make([]float64, states+2)
	for i := range x {
		next[i] = g.b[i] * (duty + extra)
		for j, v := range x {
			next[i] += g.a[i][j] * v
		}
	}
	next[states], next[states+1] = extra, duty
	return next, duty
}

// at is L at a frequency: what comes back, with its sign turned, when a wave of
// duty 1 is fed to the plant.
func (l *loop) at(radPerS float64) complex128 {
	z := cmplx.Exp(complex(0, radPerS*l.periodS))
	plant := l.response(z, l.plant, l.plantB, l.plantC, 0)
	return -plant * l.response(z, l.law, l.lawB, l.lawC, l.lawD)
}

// response is c (zI - a)^-1 b + d, by elimination with pivots.
func (l *loop) response(z complex128, a [][]float64, b, c []float64, d float64) complex128 {
	n := len(b)
	m, v := l.scratch[:n], l.scratchVector[:n]
	for i := range n {
		for j := range n {
			m[i][j] = complex(-a[i][j], 0)
		}
		m[i][i] += z
		v[i] = complex(b[i], 0)
	}
	for k := range n {
		p := k
		for i := k + 1; i < n; i++ {
			if cmplx.Abs(m[i][k]) > cmplx.Abs(m[p][k]) {
				p = i
			}
		}
		m[k], m[p], v[k], v[p] = m[p], m[k], v[p], v[k]
		for i := k + 1; i < n; i++ {
			f := m[i][k] / m[k][k]
			for j := k + 1; j < n; j++ {
				m[i][j] -= f * m[k][j]
			}
			v[i] -= f * v[k]
		}
	}
	sum := complex(d, 0)
	for k := n - 1; k >= 0; k-- {
		for j := k + 1; j < n; j++ {
			v[k] -= m[k][j] * v[j]
		}
		v[k] /= m[k][k]
		sum += complex(c[k], 0) * v[k]
	}
	return sum
}

// closedLoop is one period of the law of g on a plant of its own: state of the
// plant, then that of tick.
func closedLoop(g *gains, states int, a [maxStates][maxStates]float64, b [maxStates]float64) *mat.Dense {
	n := 2*states + 2
	out := mat.NewDense(n, n, nil)
	for j := range n {
		s := make([]float64, n)
		s[j] = 1
		x := s[:states]
		next, duty := g.tick(states, s[states:], x[states-1])
		for i := range states {
			v := b[i] * duty
			for k := range states {
				v += a[i][k] * x[k]
			}
			out.Set(i, j, v)
		}
		for i, v := range next {
			out.Set(states+i, j, v)
		}
	}
	return out
}

// spectralRadius is the largest size of an eigenvalue; +Inf if there are none
// to be had.
func spectralRadius(m *mat.Dense) float64 {
	var e mat.Eigen
	if !e.Factorize(m, mat.EigenNone) {
		return math.Inf(1)
	}
	most := 0.0
	for _, v := range e.Values(nil) {
		most = math.Max(most, cmplx.Abs(v))
	}
	return most
}

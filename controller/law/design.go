package law

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Sizes of the model: lagged duty, the stores, the junction.
const (
	maxStates = MaxNodes + 2
	bins      = 48 // pieces of the plan ahead that the law looks at
)

// gains is the law worked out at one chamber temperature: everything Update
// needs, per tick of PeriodS.
type gains struct {
	tempC float64
	a     [maxStates][maxStates]float64 // state transition, deviations from tempC
	b     [maxStates]float64            // effect of duty 1
	w     [maxStates]float64            // drift towards the room
	k     [maxStates + 1]float64        // feedback on state and applied duty
	kw    float64                       // feedback on the drift w
	look  [bins]float64                 // weight of the plan ahead, by bin
	est   [maxStates + 1]float64        // estimator gain: state and unexplained duty
}

// tuning holds the figures that are the same for every kiln. They are ratios to
// the kiln's own lags and rates, so they carry over. They were chosen on the
// shipped kilns with `make control-table`; the bandwidth, which sets the margins,
// as one that leaves every one of them a maximum sensitivity below 1.85
// (Margins).
type tuning struct {
	bandwidth  float64 // closed-loop bandwidth times total lag
	driftDuty  float64 // random walk of the unexplained duty, as a share of the balance duty, 1/sqrt(s)
	leastDuty  float64 // balance duty is taken as no less than this
	driftHeat  float64 // random walk of the chamber, in units of full-power rate, 1/sqrt(s)
	measNoiseC float64 // noise of one reading, °C
}

// binEdgesS are the limits of the bins of the plan ahead: even steps of two
// ticks at first, then growing, to half an hour.
func binEdgesS(periodS float64) [bins + 1]float64 {
	const horizonS, ratio = 1800.0, 1.11
	var e [bins + 1]float64
	width := 2.0
	for i := 1; i <= bins; i++ {
		e[i] = e[i-1] + width
		width *= ratio
	}
	scale := horizonS / e[bins]
	for i := range e {
		e[i] = math.Round(e[i]*scale/periodS) * periodS
	}
	return e
}

// continuous is the model at one point: F (deviations), B (duty), W (drift).
func continuous(p Plant, q Point) (f *mat.Dense, b, w []float64) {
	m := len(q.Nodes)
	n := m + 2
	f = mat.NewDense(n, n, nil)
	b, w = make([]float64, n), make([]float64, n)
	add := func(i, j int, v float64) { f.Set(i, j, f.At(i, j)+v) }
	add(0, 0, -1/q.ElementLagS)
	b[0] = 1 / q.ElementLagS
	add(1, 0, p.PowerW/q.Nodes[0].CapJPerK)
	for i, nd := range q.Nodes {
		r := i + 1
		add(r, r, -nd.AmbientWPerK/nd.CapJPerK)
		w[r] = -nd.AmbientWPerK / nd.CapJPerK * (q.TempC - p.AmbientC)
		if i > 0 {
			c := nd.Parent + 1
			parentCap := q.Nodes[nd.Parent].CapJPerK
			add(r, r, -nd.LinkWPerK/nd.CapJPerK)
			add(r, c, nd.LinkWPerK/nd.CapJPerK)
			add(c, c, -nd.LinkWPerK/parentCap)
			add(c, r, nd.LinkWPerK/parentCap)
		}
	}
	add(n-1, 1, 1/q.ProbeLagS)
	add(n-1, n-1, -1/q.ProbeLagS)
	return f, b, w
}

// discrete steps the continuous model by dt seconds, exactly for constant
// input: the matrix exponential of the model augmented by its inputs.
func discrete(f *mat.Dense, b, w []float64, dt float64) (a *mat.Dense, bd, wd []float64) {
	n, _ := f.Dims()
	aug := mat.NewDense(n+2, n+2, nil)
	for i := range n {
		for j := range n {
			aug.Set(i, j, f.At(i, j)*dt)
		}
		aug.Set(i, n, b[i]*dt)
		aug.Set(i, n+1, w[i]*dt)
	}
	var e mat.Dense
	e.Exp(aug)
	a = mat.DenseCopyOf(e.Slice(0, n, 0, n))
	bd, wd = make([]float64, n), make([]float64, n)
	for i := range n {
		bd[i], wd[i] = e.At(i, n), e.At(i, n+1)
	}
	return a, bd, wd
}

// withIntegrator appends the applied duty as a state: z+ = az z + bz Δduty.
func withIntegrator(a *mat.Dense, b []float64) (az *mat.Dense, bz *mat.VecDense) {
	n, _ := a.Dims()
	az = mat.NewDense(n+1, n+1, nil)
	bz = mat.NewVecDense(n+1, nil)
	for i := range n {
		for j := range n {
			az.Set(i, j, a.At(i, j))
		}
		az.Set(i, n, b[i])
		bz.SetVec(i, b[i])
	}
	az.Set(n, n, 1)
	bz.SetVec(n, 1)
	return az, bz
}

var errRiccati = errors.New("law: the Riccati equation did not converge; a figure of the plant is out of all proportion")

// riccati solves X = A'X(I+GX)^-1 A + H with G = b b'/r by doubling.
func riccati(a *mat.Dense, b *mat.VecDense, r float64, h *mat.Dense) (*mat.Dense, error) {
	n, _ := a.Dims()
	var g mat.Dense
	g.Outer(1/r, b, b)
	ak, gk, hk := mat.DenseCopyOf(a), mat.DenseCopyOf(&g), mat.DenseCopyOf(h)
	for range 60 {
		var w, wa, wg, t, dg, dh, na mat.Dense
		w.Mul(gk, hk)
		for i := range n {
			w.Set(i, i, w.At(i, i)+1)
		}
		if err := wa.Solve(&w, ak); err != nil && wa.IsEmpty() {
			return nil, errRiccati
		}
		if err := wg.Solve(&w, gk); err != nil && wg.IsEmpty() {
			return nil, errRiccati
		}
		t.Mul(ak, &wg)
		dg.Mul(&t, ak.T())
		t.Mul(ak.T(), hk)
		dh.Mul(&t, &wa)
		na.Mul(ak, &wa)
		change, size := mat.Norm(&dh, 1), mat.Norm(hk, 1)
		ak = &na
		gk.Add(gk, &dg)
		hk.Add(hk, &dh)
		symmetrise(gk)
		symmetrise(hk)
		if math.IsNaN(change) {
			return nil, errRiccati
		}
		if change <= 1e-12*size {
			return hk, nil
		}
	}
	return nil, errRiccati
}

func symmetrise(m *mat.Dense) {
	n, _ := m.Dims()
	for i := range n {
		for j := range i {
			v := (m.At(i, j) + m.At(j, i)) / 2
			m.Set(i, j, v)
			m.Set(j, i, v)
		}
	}
}

// tune works the law out at one point of the plant.
func tune(p Plant, q Point, periodS float64, t tuning) (gains, error) {
	f, bc, wc := continuous(p, q)
	a, b, w := discrete(f, bc, wc, periodS)
	n := len(b)
	g := gains{tempC: q.TempC}
	for i := range n {
		for j := range n {
			g.a[i][j] = a.At(i, j)
		}
		g.b[i], g.w[i] = b[i], w[i]
	}
	lag := q.ElementLagS + q.ProbeLagS
	rate := quickness(a, b, lag, periodS)
	if err := g.feedback(a, b, w, rate, lag, periodS, t); err != nil {
		return g, err
	}
	return g, g.estimator(a, b, rate, balanceDuty(f, bc, wc), periodS, t)
}

// quickness is the rise of the junction over two lags at full power, as a rate
// in °C/s: how much the kiln has to offer in its own time.
func quickness(a *mat.Dense, b []float64, lagS, periodS float64) float64 {
	n := len(b)
	steps := int(math.Ceil(2 * lagS / periodS))
	x, y := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for range steps {
		y.MulVec(a, x)
		for i, v := range b {
			y.SetVec(i, y.AtVec(i)+v)
		}
		x, y = y, x
	}
	return math.Max(x.AtVec(n-1)/(float64(steps)*periodS), 1e-6)
}

// feedback minimises the sum of squared errors plus rho times the squared
// changes of duty. rho is the square of what the kiln moves in one lag, so the
// closed loop is a fixed multiple (bandwidth) of the kiln's own speed.
func (g *gains) feedback(a *mat.Dense, b, w []float64, rate, lag, periodS float64, t tuning) error {
	n := len(b)
	az, bz := withIntegrator(a, b)
	q := mat.NewDense(n+1, n+1, nil)
	q.Set(n-1, n-1, 1)
	rho := sq(rate*lag/(t.bandwidth*t.bandwidth*t.bandwidth)) / sq(periodS)
	x, err := riccati(az, bz, rho, q)
	if err != nil {
		return err
	}
	var xb mat.VecDense
	xb.MulVec(x, bz)
	s := rho + mat.Dot(bz, &xb)
	var k mat.VecDense
	k.MulVec(az.T(), &xb)
	k.ScaleVec(1/s, &k)
	for i := range n {
		g.k[i] = k.AtVec(i)
	}
	g.k[maxStates] = k.AtVec(n)

	var closed mat.Dense
	closed.Outer(-1, bz, &k)
	closed.Add(&closed, az)
	if err := g.preview(&closed, bz, s, periodS); err != nil {
		return err
	}
	return g.drift(&closed, x, bz, w, s)
}

// preview folds the weights of the plan ahead into bins. What lies beyond the
// last bin is given to the last bin, so a constant plan is tracked exactly.
func (g *gains) preview(closed *mat.Dense, bz *mat.VecDense, s, periodS float64) error {
	n, _ := closed.Dims()
	unit := mat.NewVecDense(n, nil)
	unit.SetVec(n-2, 1)
	all, err := sumOfPowers(closed, unit)
	if err != nil {
		return err
	}
	rest := mat.Dot(bz, all) / s
	edges := binEdgesS(periodS)
	row, next := mat.VecDenseCopyOf(bz), mat.NewVecDense(n, nil)
	bin := 0
	for j := 1; j <= int(math.Round(edges[bins]/periodS)); j++ {
		for bin < bins-1 && float64(j)*periodS > edges[bin+1]+periodS/2 {
			bin++
		}
		v := row.AtVec(n-2) / s
		g.look[bin] += v
		rest -= v
		next.MulVec(closed, row)
		row, next = next, row
	}
	g.look[bins-1] += rest
	return nil
}

// sumOfPowers is the sum over j >= 0 of (closed')^j v.
func sumOfPowers(closed *mat.Dense, v *mat.VecDense) (*mat.VecDense, error) {
	n, _ := closed.Dims()
	m := mat.NewDense(n, n, nil)
	for i := range n {
		for j := range n {
			m.Set(i, j, -closed.At(j, i))
		}
		m.Set(i, i, m.At(i, i)+1)
	}
	var sum mat.VecDense
	if err := sum.SolveVec(m, v); err != nil && sum.IsEmpty() {
		return nil, errRiccati
	}
	return &sum, nil
}

// drift is the feedback on a constant drift w of the state.
func (g *gains) drift(closed, x *mat.Dense, bz *mat.VecDense, w []float64, s float64) error {
	n, _ := closed.Dims()
	wz := mat.NewVecDense(n, nil)
	for i, v := range w {
		wz.SetVec(i, v)
	}
	var pw mat.VecDense
	pw.MulVec(x, wz)
	sum, err := sumOfPowers(closed, &pw)
	if err != nil {
		return err
	}
	g.kw = mat.Dot(bz, sum) / s
	return nil
}

// estimator is the steady Kalman gain for the state and the unexplained duty,
// which is modelled as a random walk.
func (g *gains) estimator(a *mat.Dense, b []float64, rate, balance, periodS float64, t tuning) error {
	n := len(b)
	ad, _ := withIntegrator(a, b)
	c := mat.NewVecDense(n+1, nil)
	c.SetVec(n-1, 1)
	noise := mat.NewDense(n+1, n+1, nil)
	for i := 1; i < n-1; i++ {
		noise.Set(i, i, sq(t.driftHeat*rate)*periodS)
	}
	noise.Set(n-1, n-1, 1e-6)
	noise.Set(n, n, sq(t.driftDuty*math.Max(balance, t.leastDuty))*periodS)
	x, err := riccati(mat.DenseCopyOf(ad.T()), c, sq(t.measNoiseC), noise)
	if err != nil {
		return err
	}
	s := x.At(n-1, n-1) + sq(t.measNoiseC)
	for i := range n {
		g.est[i] = x.At(i, n-1) / s
	}
	g.est[maxStates] = x.At(n, n-1) / s
	return nil
}

func sq(v float64) float64 { return v * v }

// balanceDuty is the duty that holds the junction where the model was
// linearised, at rest: 0 = F x + b u + w with no deviation at the junction.
func balanceDuty(f *mat.Dense, b, w []float64) float64 {
	n, _ := f.Dims()
	m, rhs := mat.NewDense(n+1, n+1, nil), mat.NewVecDense(n+1, nil)
	for i := range n {
		for j := range n {
			m.Set(i, j, f.At(i, j))
		}
		m.Set(i, n, b[i])
		rhs.SetVec(i, -w[i])
	}
	m.Set(n, n-1, 1)
	var x mat.VecDense
	if err := x.SolveVec(m, rhs); err != nil && x.IsEmpty() {
		return 1
	}
	return clamp(x.AtVec(n), 0, 1)
}

package identify

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"calx/sim/kiln"
)

// FitOptions say what is known beside the firings.
type FitOptions struct {
	// MeteredW is what a meter showed the elements to draw, hot and at the
	// usual voltage of the mains, W; 0 when nobody measured. Readings of
	// temperature alone cannot tell strong elements in a heavy kiln from weak
	// ones in a light kiln.
	MeteredW float64
}

// Fitted is a kiln as its firings show it.
type Fitted struct {
	// Params is the kiln file with the figures that fit. Its Fitted is nil:
	// when and from what is for the caller to say.
	Params    kiln.Params
	Estimates []Estimate
	// Together are pairs of estimates of which the firings tell one
	// combination better than each.
	Together []Pair
	// ResidualC is the root mean square of measured less modelled chamber, the
	// model drawn to the measured, °C; PriorC that of the kiln
	// file before.
	ResidualC, PriorC float64
	Scatter           Residual
	Holdout           Holdout
	// Doubt is the standard error of the heat that the model says a firing
	// needs, as a share of it.
	Doubt float64
	// UsedH is how many hours were fitted, MutedH how many were left out for
	// doors, gaps and the like.
	UsedH, MutedH float64
	Turns         int // of the least squares
}

// Residual is what means over five minutes of measured less modelled are like.
type Residual struct {
	SDC  float64 // standard deviation, °C
	TauS float64 // autocorrelation time, s
}

// Estimate is what the firings say of one figure.
type Estimate struct {
	Key, Name string
	Path      string  // of the value in the kiln file; "" for water, which is in none
	Prior     string  // what the file said, with its unit
	Value     string  // what fits
	Factor    float64 // Value over Prior
	// StdErr is the standard error of ln Factor, for "water" of Factor itself:
	// 0.05 is about 5 %. Where the
	// firings say nothing it is the spread that is usual among kiln files.
	StdErr float64
	Spread float64 // of ln Factor before the firings were seen
	Told   bool    // the firings have made it clearly surer than the file
}

// Pair is two estimates that move together.
type Pair struct {
	A, B        string  // names
	Correlation float64 // -1..1
}

// Holdout is how a fit to part of the data did on the rest.
type Holdout struct {
	What      string  // what was kept out, for people
	ResidualC float64 // as [Fitted].ResidualC, on that part
	PriorC    float64 // as that, of the kiln file before
	// Heat is how much more the model would have needed to follow the
	// thermometer than was given, as a share.
	Heat float64
}

// What a firing must have for a fit.
const (
	leastH    = 3
	leastHotC = 300
	leastOnS  = 1800
	// refuse is at how many spreads from the kiln file a figure is not
	// believed, refuseAll at which root mean square of them all.
	refuse, refuseAll = 4, 1.6
	// refuseC is what may be left over: heat for 3 °C is a tenth of rated power.
	refuseC = 3
	// toldBelow is by what the spread must have shrunk to count as told.
	toldBelow = 0.6
	// movesTogether is from which correlation on a pair is named.
	movesTogether = 0.9
	// difference by which slopes are taken, of logarithms.
	slopeStep = 0.01
	rounds    = 3
)

// Errors of [Fit]; each comes with a line that says what was found.
var (
	ErrTooLittle = errors.New("the firings say too little for a fit")
	ErrOtherKiln = errors.New("these firings do not look like this kiln")
)

// fit is one in progress.
type fit struct {
	prior  kiln.Params
	list   []factor
	spread []float64
	center []float64 // logarithms that the spreads are about
	traces []trace
	use    func(tick) bool
	noise  scatter
	trust  []float64 // of every residual, in order; nil: all
}

// Fit estimates the kiln whose file is prior from recorded firings of it. It
// runs the model of the kiln with the relay as it was and the chamber drawn to
// the measured by a weak pull, and moves the figures of the file, each held by
// what such figures are usually worth, until the least is left over. Errors are
// ErrTooLittle and ErrOtherKiln.
func Fit(prior kiln.Params, firings []Recorded, o FitOptions) (Fitted, error) {
	f := newFit(prior, firings, o)
	if err := f.enough(); err != nil {
		return Fitted{}, err
	}
	out := Fitted{}
	start := make([]float64, len(f.list))
	out.Holdout.What = f.keepOut()
	half, err := f.solve(start)
	if err != nil {
		return Fitted{}, err
	}
	f.judgeHoldout(&out.Holdout, half.x)
	f.use = func(tick) bool { return true }
	s, err := f.solve(half.x)
	if err != nil {
		return Fitted{}, err
	}
	return f.tell(out, s)
}

func newFit(prior kiln.Params, firings []Recorded, o FitOptions) *fit {
	f := &fit{prior: prior, use: func(tick) bool { return true }}
	fall := falling(prior)
	vented, wet := false, false
	for _, r := range firings {
		t := newTrace(r, fall)
		for _, s := range t.steps {
			vented, wet = vented || s.air, wet || s.loadW != 0
		}
		f.traces = append(f.traces, t)
	}
	f.list = factorsOf(prior, vented, wet)
	f.spread, f.center = make([]float64, len(f.list)), make([]float64, len(f.list))
	for i, x := range f.list {
		f.spread[i] = x.spread
		if x.key == "power" && o.MeteredW > 0 {
			const meter = 0.015 // a plug-in meter and the voltage of the hour
			f.spread[i], f.center[i] = meter, math.Log(o.MeteredW/prior.RatedW())
		}
	}
	return f
}

// falling is how fast a kiln like p hardly falls with its door shut, °C/s. When
// the heat goes off after a climb, the skin of its wall and the wire make it
// fall up to five times as fast as when it is soaked.
func falling(p kiln.Params) func(hotC float64) float64 {
	const margin, leastCPerS = 8, 0.2
	e := p.Envelope(usualRoomC)
	return func(hotC float64) float64 { return margin*e.CoolRate(hotC)/3600 + leastCPerS }
}

// Usable says whether one firing tells enough of a kiln like p to be fitted;
// the error is an ErrTooLittle that says what it lacks.
func Usable(p kiln.Params, r Recorded) error {
	t := newTrace(r, falling(p))
	return t.enough()
}

// enough refuses firings that cannot tell a kiln.
func (f *fit) enough() error {
	if len(f.traces) == 0 {
		return fmt.Errorf("%w: there is none", ErrTooLittle)
	}
	for i := range f.traces {
		if err := f.traces[i].enough(); err != nil {
			return err
		}
	}
	return nil
}

func (t *trace) enough() error {
	h, low, high, onS := t.extent()
	switch {
	case h < leastH:
		return fmt.Errorf("%w: %s has %.1f h with good readings and a shut door, and %d h are needed", ErrTooLittle, t.name, h, leastH)
	case high < leastHotC:
		return fmt.Errorf("%w: %s got to %.0f °C, and a kiln shows how it loses heat from %d °C on", ErrTooLittle, t.name, high, leastHotC)
	case high-low < leastHotC/2:
		return fmt.Errorf("%w: %s stayed within %.0f °C, and a change of %d °C is needed", ErrTooLittle, t.name, high-low, leastHotC/2)
	case onS == 0:
		return fmt.Errorf("%w: the record of %s does not say when the heat was on", ErrTooLittle, t.name)
	case onS < leastOnS:
		return fmt.Errorf("%w: in %s the heat was on for %.0f min, and %d are needed", ErrTooLittle, t.name, onS/60, leastOnS/60)
	}
	return nil
}

// keepOut marks what the first fit must not see: the last firing, or of a
// single one every third hour.
func (f *fit) keepOut() string {
	f.use = func(s tick) bool { return !s.held }
	if n := len(f.traces); n > 1 {
		last := &f.traces[n-1]
		for k := range last.steps {
			last.steps[k].held = true
		}
		return last.name
	}
	t := &f.traces[0]
	for k := range t.steps {
		t.steps[k].held = k/heldSteps%3 == 1
	}
	return "every third hour of " + t.name
}

// heldSteps are those of the hours of which every third is kept out of a single
// firing. The model is drawn to the thermometer in them too, so it is right
// again when the next hour begins.
const heldSteps = 3600 / traceStepS

// firstGuess of the scatter, and the best it is ever taken for: no model of a
// kiln is better than that, and no mains are.
var (
	firstGuess   = scatter{0.3, 6}
	leastScatter = scatter{0.1, 6}
)

// solve runs the least squares a few times, each with the scatter and
// the outliers of the last.
func (f *fit) solve(start []float64) (solution, error) {
	f.noise, f.trust = firstGuess, nil
	s := solution{x: start}
	turns := 0
	for round := range rounds {
		p := problem{residuals: f.residuals, step: filled(len(f.list), slopeStep), tol: 1e-3, most: 12}
		var err error
		s, err = p.leastSquares(s.x)
		turns += s.turns + 1
		s.turns = turns
		if err != nil && round == rounds-1 {
			return s, fmt.Errorf("%w: no figures of this kiln file explain what was recorded", ErrOtherKiln)
		}
		if round == rounds-1 {
			break
		}
		miss := f.misses(s.x)
		f.noise = measure(miss, leastScatter)
		f.trust = trusts(miss, f.noise.sdC)
	}
	return s, nil
}

func trusts(series [][]float64, sdC float64) (out []float64) {
	for _, s := range series {
		for _, v := range s {
			out = append(out, trust(v, sdC))
		}
	}
	return out
}

func filled(n int, v float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}

// misses runs all firings with the figures x.
func (f *fit) misses(x []float64) (out [][]float64) {
	p := apply(f.prior, f.list, x)
	for i := range f.traces {
		t := &f.traces[i]
		miss, _, _ := t.follow(p, waterIn(f.list, x), f.use)
		out = append(out, t.slowMeans(miss, f.use))
	}
	return out
}

// residuals are those of the data and of the kiln file, all of variance 1 if
// the spreads are right.
func (f *fit) residuals(x []float64) (out []float64) {
	weight := f.noise.weight()
	for _, v := range slices.Concat(f.misses(x)...) {
		if f.trust != nil {
			v *= f.trust[len(out)]
		}
		out = append(out, v*weight)
	}
	for i := range x {
		out = append(out, (x[i]-f.center[i])/f.spread[i])
	}
	return out
}

// judgeHoldout says how the figures x do on what was kept out.
func (f *fit) judgeHoldout(h *Holdout, x []float64) {
	held := func(s tick) bool { return s.held }
	p := apply(f.prior, f.list, x)
	var now, was [][]float64
	stray, given := 0.0, 0.0
	for i := range f.traces {
		t := &f.traces[i]
		miss, strayJ, givenJ := t.follow(p, waterIn(f.list, x), func(s tick) bool { return s.held && s.told() })
		now = append(now, t.slowMeans(miss, held))
		miss, _, _ = t.follow(f.prior, 1, held)
		was = append(was, t.slowMeans(miss, held))
		stray, given = stray+strayJ, given+givenJ
	}
	h.ResidualC, h.PriorC = rms(now), rms(was)
	h.Heat = stray / math.Max(given, 1)
}

func rms(series [][]float64) float64 {
	sum, n := 0.0, 0
	for _, s := range series {
		sum += sumSquares(s)
		n += len(s)
	}
	return math.Sqrt(sum / math.Max(float64(n), 1))
}

// heatShares are how much more heat than was given the figures x want for each
// firing, as a share of it.
func (f *fit) heatShares(x []float64) (out []float64) {
	p := apply(f.prior, f.list, x)
	for i := range f.traces {
		_, strayJ, givenJ := f.traces[i].follow(p, waterIn(f.list, x), tick.told)
		out = append(out, strayJ/math.Max(givenJ, 1))
	}
	return out
}

// tell words the solution.
func (f *fit) tell(out Fitted, s solution) (Fitted, error) {
	c, err := s.covariance()
	if err != nil {
		return out, fmt.Errorf("%w: the figures cannot be told apart", ErrTooLittle)
	}
	out.Params = rounded(apply(f.prior, f.list, s.x))
	out.Params.Fitted = nil
	for i, x := range f.list {
		se := math.Sqrt(c.At(i, i))
		if math.Abs(s.x[i]-f.center[i]) > refuse*f.spread[i] {
			return Fitted{}, fmt.Errorf("%w: %s would have to be %.2f times what the kiln file says", ErrOtherKiln, x.name, math.Exp(s.x[i]))
		}
		e := Estimate{
			Key: x.key, Name: x.name, Path: x.path, Prior: x.value(f.prior), Value: x.value(out.Params),
			Factor: math.Exp(s.x[i]), StdErr: se, Spread: f.spread[i], Told: se < toldBelow*x.spread,
		}
		if x.key == water.key {
			e.Factor = waterIn(f.list, s.x)
			e.Value = percent(e.Factor)
		}
		out.Estimates = append(out.Estimates, e)
	}
	if all := math.Sqrt(f.stretch(s.x) / float64(len(s.x))); all > refuseAll {
		return Fitted{}, fmt.Errorf("%w: its figures would have to be %.1f times as wrong as those of kiln files usually are", ErrOtherKiln, all)
	}
	if out.ResidualC = rms(f.misses(s.x)); out.ResidualC > refuseC {
		return Fitted{}, fmt.Errorf("%w: with the best of figures the chamber is still %.1f °C off", ErrOtherKiln, out.ResidualC)
	}
	if problems := out.Params.Check(); len(problems) > 0 {
		return Fitted{}, fmt.Errorf("%w: %s: %s", ErrOtherKiln, problems[0].Path, problems[0].Text)
	}
	out.Together = f.together(c, out.Estimates)
	out.PriorC = rms(f.misses(make([]float64, len(s.x))))
	out.Scatter = Residual{SDC: f.noise.sdC, TauS: f.noise.tau * slowSteps * traceStepS}
	out.Doubt = f.doubtOf(c, s.x, out.Holdout)
	for i := range f.traces {
		h, _, _, _ := f.traces[i].extent()
		out.UsedH += h
		out.MutedH += float64(len(f.traces[i].steps))*traceStepS/3600 - h
	}
	out.Turns = s.turns
	return out, nil
}

// stretch is how far the figures are from the kiln file, in squares of spreads.
func (f *fit) stretch(x []float64) (sum float64) {
	for i := range x {
		sum += (x[i] - f.center[i]) * (x[i] - f.center[i]) / (f.spread[i] * f.spread[i])
	}
	return sum
}

// together lists the pairs that the firings cannot keep apart.
func (f *fit) together(c *mat.SymDense, e []Estimate) (out []Pair) {
	for i := range e {
		for j := range i {
			r := c.At(i, j) / math.Sqrt(c.At(i, i)*c.At(j, j))
			if math.Abs(r) > movesTogether {
				out = append(out, Pair{e[j].Name, e[i].Name, r})
			}
		}
	}
	return out
}

// doubtOf is the standard error of the heat: by that of the figures, by what the
// kept out part showed, and by how firings differ among themselves, since what
// stands in the kiln is not the same every night.
func (f *fit) doubtOf(c *mat.SymDense, x []float64, h Holdout) float64 {
	at := f.heatShares(x)
	slope := mat.NewVecDense(len(x), nil)
	for i := range x {
		y := append([]float64(nil), x...)
		y[i] += slopeStep
		slope.SetVec(i, (mean(f.heatShares(y))-mean(at))/slopeStep)
	}
	among := math.Sqrt(sumSquares(at) / float64(len(at)))
	return math.Hypot(math.Hypot(math.Sqrt(mat.Inner(slope, c, slope)), h.Heat), among)
}

func mean(v []float64) (sum float64) {
	for _, x := range v {
		sum += x / float64(len(v))
	}
	return sum
}

package law

import (
	"fmt"
	"math"
)

// Options are the figures of a law that do not belong to the kiln.
type Options struct {
	PeriodS float64 // time between updates, s; 0 means 1; from 0.1 to 10
	NoiseC  float64 // standard deviation of one reading, °C; 0 means 0.25
}

// Law is a control law worked out for one plant. It holds no state and may be
// shared.
type Law struct {
	plant   Plant
	periodS float64
	states  int // of the model: nodes + 2
	grid    []gains
	aheadS  [bins]float64
}

// New works out the law for a plant. It takes milliseconds, once.
func New(p Plant, o Options) (*Law, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	if o.PeriodS == 0 {
		o.PeriodS = 1
	}
	if !(o.PeriodS >= 0.1 && o.PeriodS <= 10) {
		return nil, fmt.Errorf("law: period is %g s; it must be from 0.1 to 10 s", o.PeriodS)
	}
	if o.NoiseC == 0 {
		o.NoiseC = 0.25
	}
	if !(o.NoiseC > 0 && o.NoiseC < 20) {
		return nil, fmt.Errorf("law: noise is %g °C; it must be above 0 and below 20 °C", o.NoiseC)
	}
	l := &Law{plant: p, periodS: o.PeriodS, states: len(p.Points[0].Nodes) + 2}
	t := defaultTuning
	t.measNoiseC = o.NoiseC
	for _, q := range p.Points {
		g, err := tune(p, q, o.PeriodS, t)
		if err != nil {
			return nil, fmt.Errorf("%w (at %g °C)", err, q.TempC)
		}
		l.grid = append(l.grid, g)
	}
	e := binEdgesS(o.PeriodS)
	for i := range l.aheadS {
		// The plan is straight within most bins, so its middle stands for it.
		l.aheadS[i] = (e[i] + e[i+1] + o.PeriodS) / 2
	}
	return l, nil
}

var defaultTuning = tuning{bandwidth: 2.2, driftDuty: 0.003, leastDuty: 0.02, driftHeat: 0.1}

// Ahead is the plan of the coming half hour: setpoints at the times of
// AheadS, °C.
type Ahead [bins]float64

// AheadS lists how far ahead of now each entry of Ahead lies, s, rising.
func (l *Law) AheadS() [bins]float64 { return l.aheadS }

// State is what the law remembers between updates. It is plain data: copy it,
// store it, compare it. The zero value is not ready; see Start.
type State struct {
	Mean   [maxStates]float64 // estimate under the duty asked for: lagged duty, stores °C, junction °C
	Ripple [maxStates]float64 // what the relay's coarse pulses add to it
	Extra  float64            // duty that the model does not explain
	Duty   float64            // duty of the last update, after limits
	Ready  bool
}

// JunctionC is the estimated true temperature of the junction, °C.
func (l *Law) JunctionC(s State) float64 { return s.Mean[l.states-1] + s.Ripple[l.states-1] }

// MeanC is the estimated junction temperature without the ripple of the relay,
// °C: what the plan goes by.
func (l *Law) MeanC(s State) float64 { return s.Mean[l.states-1] }

// Start is the state of a kiln that rests at tC throughout.
func (l *Law) Start(tC float64) State {
	var s State
	for i := 1; i < l.states; i++ {
		s.Mean[i] = tC
	}
	s.Ready = true
	return s
}

// Observe corrects the estimate by a reading, °C. NaN, which stands for no
// reading, leaves the estimate to the model.
func (l *Law) Observe(s State, measuredC float64) State {
	if math.IsNaN(measuredC) || math.IsInf(measuredC, 0) {
		return s
	}
	if !s.Ready {
		return l.Start(measuredC)
	}
	g, h, f := l.between(s.Mean[1])
	// A single wild reading moves the estimate by no more than this many °C of
	// innovation; a real jump is still followed, at a bounded pace.
	const most = 5
	e := clamp(measuredC-l.JunctionC(s), -most, most)
	for i := range l.states {
		s.Mean[i] += mix(g.est[i], h.est[i], f) * e
	}
	s.Extra = clamp(s.Extra+mix(g.est[maxStates], h.est[maxStates], f)*e, -1, 1)
	return s
}

// Decide is the duty, 0..1, that best follows the plan. It also holds while
// nothing may be switched on: the state then says what would have been asked.
func (l *Law) Decide(s State, plan *Ahead) (State, float64) {
	if !s.Ready {
		return s, 0
	}
	g, h, f := l.between(s.Mean[1])
	baseC := mix(g.tempC, h.tempC, f)
	applied := s.Duty + s.Extra
	change := -mix(g.k[maxStates], h.k[maxStates], f)*applied - mix(g.k[0], h.k[0], f)*s.Mean[0]
	for i := 1; i < l.states; i++ {
		change -= mix(g.k[i], h.k[i], f) * (s.Mean[i] - baseC)
	}
	for i, r := range plan {
		change += mix(g.look[i], h.look[i], f) * (r - baseC)
	}
	change -= mix(g.kw, h.kw, f)
	duty := s.Duty + change
	if math.IsNaN(duty) {
		duty = 0
	}
	s.Duty = clamp(duty, 0, 1)
	return s, s.Duty
}

// Advance carries the estimate one period on. on is the part of the period for
// which the relay really was closed, 0..1.
//
// The mean follows the duty asked for and the ripple, by the same model but
// linear, the difference between relay and duty. Were the relay put into the
// curved model as it is, its pulses would be rectified into a lasting error.
func (l *Law) Advance(s State, on float64) State {
	if !s.Ready {
		return s
	}
	g, h, f := l.between(s.Mean[1])
	baseC := mix(g.tempC, h.tempC, f)
	x := s.Mean
	for i := 1; i < l.states; i++ {
		x[i] -= baseC
	}
	duty, pulse := s.Duty+s.Extra, on-s.Duty
	var mean, ripple [maxStates]float64
	for i := range l.states {
		b := mix(g.b[i], h.b[i], f)
		m, r := b*duty+mix(g.w[i], h.w[i], f), b*pulse
		ga, ha := &g.a[i], &h.a[i]
		for j := range l.states {
			a := mix(ga[j], ha[j], f)
			m += a * x[j]
			r += a * s.Ripple[j]
		}
		mean[i], ripple[i] = m, r
	}
	for i := 1; i < l.states; i++ {
		mean[i] += baseC
	}
	s.Mean, s.Ripple = mean, ripple
	return s
}

// Off is the state after heat was withheld: nothing is asked for, and the
// ripple becomes part of the mean.
func (l *Law) Off(s State) State {
	for i := range l.states {
		s.Mean[i] += s.Ripple[i]
	}
	s.Ripple = [maxStates]float64{}
	s.Duty = 0
	return s
}

// between finds the two tabled temperatures around tC and the weight of the
// upper one.
func (l *Law) between(tC float64) (lo, hi *gains, f float64) {
	n := len(l.grid)
	if n == 1 || tC <= l.grid[0].tempC {
		return &l.grid[0], &l.grid[0], 0
	}
	if tC >= l.grid[n-1].tempC {
		return &l.grid[n-1], &l.grid[n-1], 0
	}
	i := 0
	for tC >= l.grid[i+1].tempC {
		i++
	}
	lo, hi = &l.grid[i], &l.grid[i+1]
	return lo, hi, (tC - lo.tempC) / (hi.tempC - lo.tempC)
}

func mix(a, b, f float64) float64 { return a + (b-a)*f }

func clamp(v, lo, hi float64) float64 { return math.Min(math.Max(v, lo), hi) }

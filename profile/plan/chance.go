package plan

import (
	"math"
	"math/rand/v2"
	"slices"

	"calx/profile"
	"calx/sim/mould"
)

// Spreads of what is uncertain, standard deviations of the logarithm. Access:
// a closed and a bare test plug, whose clear times differ by a factor of 2,
// bracket what test pieces have shown (computed); with the spread of real
// pieces, a factor of 1.8 either way. Kinetics: published activation energies
// of char from 116 to 183 kJ/mol give a factor of some either way. Section: what
// callipers say of an uneven piece. Conductivity: published values of
// investment and gypsum board.
const (
	accessSigma       = 0.6
	kineticsSigma     = 0.7
	sectionSigma      = 0.05
	conductivitySigma = 0.15
)

const level = 0.9 // of the interval given

// draw is one way things may be.
type draw struct {
	vary    mould.Variation
	heat    int       // which of the conductivities
	beliefs []float64 // z of each belief
	clearS  float64   // when all was clear; +Inf if not within the horizon
}

// conductivities stand for a lognormal spread: the three points of Gauss and
// Hermite, 0 and ±√3 standard deviations, and their weights.
var conductivities = [3]struct{ z, weight float64 }{{0, 2.0 / 3}, {-math.Sqrt(3), 1.0 / 6}, {math.Sqrt(3), 1.0 / 6}}

// draws are the same for equal seeds and counts, whatever the moulds.
func draws(in Input, n int) []draw {
	r := rand.New(rand.NewPCG(in.Seed, 0x63616c78)) // the second word is arbitrary
	out := make([]draw, n)
	factor := func(sigma float64) float64 { return math.Exp(sigma * r.NormFloat64()) }
	for i := range out {
		d := &out[i]
		d.vary = mould.Variation{Access: factor(accessSigma), Kinetics: factor(kineticsSigma), Section: factor(sectionSigma)}
		for u := r.Float64(); d.heat < len(conductivities)-1; d.heat++ {
			if u -= conductivities[d.heat].weight; u < 0 {
				break
			}
		}
		d.vary.Conductivity = conductivityOf(d.heat)
		for range in.Beliefs {
			d.beliefs = append(d.beliefs, r.NormFloat64())
		}
	}
	return out
}

func conductivityOf(heat int) float64 {
	return math.Exp(conductivitySigma * conductivities[heat].z)
}

// course is one profile at one conductivity, held at the top without end.
type course struct {
	m     *mould.Model
	track *mould.Track
	gateS [][]float64 // when each kind of piece passed gateC, by mould
}

// gateC is where char begins to burn in a useful time, °C: half-life in air
// some hours at 350 °C (computed from the kinetics of sim/mould).
const gateC = 350

// lengths of the top hold that a course follows, in multiples of the nominal
// one: five is past the 99 % quantile of the access.
const (
	courseTimes = 5
	courseMoreS = 12 * 3600
)

// chances runs n draws along the profile of steps up to and with its hold
// until clear, and returns them sorted by when all was clear.
func (k *maker) chances(m *mould.Model, steps []profile.Step, n int) []draw {
	var courses [len(conductivities)]*course
	out := draws(k.in, n)
	for i := range out {
		d := &out[i]
		if courses[d.heat] == nil {
			courses[d.heat] = k.course(m.Vary(mould.Variation{Access: 1, Kinetics: 1, Section: 1, Conductivity: conductivityOf(d.heat)}), steps)
		}
		d.clearS = k.clearOf(courses[d.heat], d)
	}
	slices.SortStableFunc(out, func(a, b draw) int {
		switch {
		case a.clearS < b.clearS:
			return -1
		case a.clearS > b.clearS:
			return 1
		}
		return 0
	})
	return out
}

func (k *maker) course(m *mould.Model, steps []profile.Step) *course {
	start := k.begin(m)
	w := k.walker(m, start).run(steps)
	hold := w.legs[len(w.legs)-1]
	c := &course{m: m, gateS: make([][]float64, len(k.in.Moulds))}
	horizonS := hold.toS + courseTimes*(hold.toS-hold.fromS) + courseMoreS
	for i, p := range k.in.Moulds {
		c.gateS[i] = make([]float64, len(p.Patterns))
	}
	if len(k.in.Beliefs) > 0 {
		k.gates(c, w)
	}
	c.track = m.Track(start, w.chamber(), horizonS)
	return c
}

// gates finds when the pieces pass gateC.
func (k *maker) gates(c *course, w *walk) {
	c.m.Forecast(k.begin(c.m), w.chamber(), w.totalS(), readEveryS, func(tS float64, r *mould.Reading) bool {
		for i := range r.Flasks {
			for n := range r.Flasks[i].Pieces {
				if c.gateS[i][n] == 0 && r.Flasks[i].Pieces[n].TemperatureC >= gateC {
					c.gateS[i][n] = tS
				}
			}
		}
		return true
	})
}

// clearOf is when all pieces of a draw are clear, s; what a belief speaks of
// goes by the nominal model and the belief, the rest by the draw.
func (k *maker) clearOf(c *course, d *draw) float64 {
	believed := map[[2]int]int{}
	for i, b := range k.in.Beliefs {
		believed[[2]int{b.Mould, b.Pattern}] = i
	}
	vary := d.vary
	drawn := c.m.Vary(vary).Burn(c.track)
	var nominal mould.Burnt
	if len(believed) > 0 {
		nominal = c.m.Burn(c.track)
	}
	last := 0.0
	for i := range drawn.ClearS {
		for n, s := range drawn.ClearS[i] {
			if b, ok := believed[[2]int{i, n}]; ok {
				s = nominal.ClearS[i][n]
				if s >= 0 {
					s = c.gateS[i][n] + max(0, s-c.gateS[i][n])*k.in.Beliefs[b].MedianFactor*math.Exp(k.in.Beliefs[b].SigmaLn*d.beliefs[b])
				}
			}
			if s < 0 {
				s = math.Inf(1)
			}
			last = max(last, s)
		}
	}
	return last
}

// quantile of sorted draws: the least clear time that a share p of them keeps.
func quantile(sorted []draw, p float64) draw {
	at := int(math.Ceil(p*float64(len(sorted)))) - 1
	return sorted[max(0, min(at, len(sorted)-1))]
}

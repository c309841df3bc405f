package pieces

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ratio of the ends of the range of the hold.
func (h Hold) ratio() float64 { return h.High.Minutes() / h.Low.Minutes() }

func TestATwigInformsThePod(t *testing.T) {
	pod, other := stem, stem
	pod.Material = "seed pod"
	other.Material, other.Flask, other.Sprue, other.Air = "cone", "bare plug", "open mouth", true
	twigs := []Pull{
		isothermal(0.012, CharCore, 500, 700), isothermal(0.012, CharCore, 700, 700),
		isothermal(0.012, Ash, 1100, 700), isothermal(0.008, Ash, 600, 700),
	}
	before, after := mustFit(t, DefaultPrior()), mustFit(t, DefaultPrior(), twigs...)
	far := func(k Kind) (narrower float64) {
		a, b := mustHold(t, before, k, 0.012, 0.95), mustHold(t, after, k, 0.012, 0.95)
		return math.Log(a.ratio()) / math.Log(b.ratio())
	}
	n1 := far(stem)
	n2 := far(pod)
	n3 := far(other)
	t.Logf("narrower by: the same kind %.2f, another material %.2f, nothing in common %.2f", n1, n2, n3)
	assert.Greater(t, n1, n2)
	assert.Greater(t, n2, n3)
	assert.Greater(t, n2, 1.3, "a twig informs the pod")
	assert.Greater(t, n3, 1.0)
	half := func(k Kind) float64 {
		return mustHold(t, after, k, 0.012, 0.5).Time.Minutes() / mustHold(t, before, k, 0.012, 0.5).Time.Minutes()
	}
	assert.Greater(t, half(stem), half(pod))
	assert.Greater(t, half(pod), half(other))
	assert.Greater(t, half(other), 1.0)
}

// For one kind the hierarchy is nothing but the plain model: variance shares
// make no difference.
func TestOneKindNeedsNoPooling(t *testing.T) {
	_, pulls := readSeven(t)
	plain := exact()
	plain.Pooling = Pooling{}
	a, b := mustFit(t, exact(), pulls...), mustFit(t, plain, pulls...)
	assert.InDelta(t, mustHold(t, a, stem, 0.012, 0.95).Time.Minutes(), mustHold(t, b, stem, 0.012, 0.95).Time.Minutes(), 0.01)
}

// Conditioning a kind that was not seen must agree with having it in the model:
// a look that says nothing (a moment at 20 °C, charred) brings it in.
func TestUnseenKindIsAsOneSeenWithoutEvidence(t *testing.T) {
	_, pulls := readSeven(t)
	pod := Kind{Material: "seed pod", Flask: "steel flask"}
	idle := Pull{Kind: pod, SectionM: 0.011, State: Raw, History: Soak(20, time.Second)}
	a, b := mustFit(t, DefaultPrior(), pulls...), mustFit(t, DefaultPrior(), append(pulls, idle)...)
	x, y := mustHold(t, a, pod, 0.011, 0.95), mustHold(t, b, pod, 0.011, 0.95)
	t.Logf("unseen %v (%v to %v), seen %v (%v to %v)", words(x.Time), words(x.Low), words(x.High), words(y.Time), words(y.Low), words(y.High))
	assert.InEpsilon(t, y.Time.Minutes(), x.Time.Minutes(), 0.03)
	assert.InEpsilon(t, y.High.Minutes(), x.High.Minutes(), 0.06)
}

func TestSpellingOfAKindDoesNotMatter(t *testing.T) {
	shout := stem
	shout.Material = " Woody  STEM"
	p := mustFit(t, DefaultPrior(), isothermal(0.012, CharCore, 300, 700))
	assert.Equal(t, mustHold(t, p, stem, 0.012, 0.9), mustHold(t, p, shout, 0.012, 0.9))
	assert.Equal(t, 1, p.Basis(shout).Same)
}

// Pieces of one firing say less than as many of several firings: their air and
// temperature were off together.
func TestOneFiringSaysLessThanMany(t *testing.T) {
	within := func(firings ...string) Hold {
		var pulls []Pull
		for i := range 12 {
			p := isothermal(0.010, CharCore, 170+5*float64(i), 700)
			if i%2 == 1 {
				p = isothermal(0.010, Ash, 230+5*float64(i), 700)
			}
			p.Firing = firings[i%len(firings)]
			pulls = append(pulls, p)
		}
		return mustHold(t, mustFit(t, DefaultPrior(), pulls...), stem, 0.010, 0.5)
	}
	one, many := within("a"), within("a", "b", "c", "d")
	t.Logf("one firing: ratio %.2f; four: %.2f", one.ratio(), many.ratio())
	assert.Greater(t, one.ratio(), many.ratio())
}

// The integral over a firing's error against a plain sum of many terms.
func TestFiringErrorIsIntegrated(t *testing.T) {
	var pulls []Pull
	for i := range 9 {
		p := isothermal(0.010, []State{Charred, CharCore, Ash}[i%3], []float64{40, 170, 260}[i%3]+float64(i), 700)
		p.Firing = "a"
		pulls = append(pulls, p)
	}
	for n := 1; n <= len(pulls); n++ {
		m, err := newModel(DefaultPrior(), pulls[:n])
		require.NoError(t, err)
		for _, u := range [][]float64{{0, 0, 0, 0}, {0.5, 1, -1.5, 0.4}} {
			q := m.params(u)
			sum, weights := 0.0, 0.0
			for e := -6.0; e <= 6; e += 0.001 {
				l := 0.0
				for i := range m.firings[0] {
					r := m.read(&m.firings[0][i], &q, nil)
					l += r.log(e*m.prior.FiringSD, q.scatter)
				}
				sum, weights = sum+math.Exp(l-e*e/2), weights+math.Exp(-e*e/2)
			}
			// one piece: the misread share does not scatter, all else is exact
			assert.InDelta(t, math.Log(sum/weights), m.logFiring(m.firings[0], &q), 4e-3, "%d pieces", n)
		}
	}
}

// Published advice for heavy tails in place of outlier rejection: Box & Tiao,
// Biometrika 55 (1968) 119, whose contaminated model this is.
func TestOneWrongLabelDoesNotDecide(t *testing.T) {
	good := []Pull{
		isothermal(0.010, CharCore, 150, 700), isothermal(0.010, CharCore, 180, 700), isothermal(0.010, Charred, 30, 700),
		isothermal(0.010, Ash, 240, 700), isothermal(0.010, Ash, 280, 700), isothermal(0.010, Ash, 300, 700),
	}
	wrong := isothermal(0.010, Charred, 1500, 700)
	wrong.Piece = "p7"
	sure := DefaultPrior()
	sure.Misread = 0
	clean, robust, naive := mustFit(t, DefaultPrior(), good...), mustFit(t, DefaultPrior(), append(good, wrong)...), mustFit(t, sure, append(good, wrong)...)
	at := func(p *Posterior) float64 { return mustHold(t, p, stem, 0.010, 0.95).Time.Minutes() }
	t.Logf("95 %% hold: without %.0f min, with %.0f min, believing every look %.0f min", at(clean), at(robust), at(naive))
	assert.InEpsilon(t, at(clean), at(robust), 0.25)
	assert.Greater(t, at(naive), 2*at(clean))
	assert.Equal(t, []string{"no firing/p7"}, robust.Basis(stem).Odd)
	assert.Contains(t, robust.Basis(stem).String(), "looks misread: no firing/p7")
	assert.Empty(t, clean.Basis(stem).Odd)
}

// Two looks at one piece bound its one time to clear from both sides, which two
// pieces do not.
func TestLooksAtOnePieceBelongTogether(t *testing.T) {
	early, late := isothermal(0.010, CharCore, 190, 700), isothermal(0.010, Ash, 210, 700)
	apart := mustFit(t, exact(), early, late)
	early.Piece, late.Piece = "p", "p"
	joint := mustFit(t, exact(), early, late)
	q := joint.model.params(make([]float64, 4))
	mu, sigma := q.level[0], q.scatter
	want := math.Log(phi((math.Log(210)-mu)/sigma) - phi((math.Log(190)-mu)/sigma))
	assert.InDelta(t, want, joint.model.logLikelihood(q), 1e-9)
	assert.Equal(t, 1, joint.Basis(stem).Pieces)
	assert.Equal(t, 2, apart.Basis(stem).Pieces)

	// one look with misreading is the mixture written out
	m, err := newModel(DefaultPrior(), []Pull{early})
	require.NoError(t, err)
	in := phi((math.Log(5*190)-mu)/sigma) - phi((math.Log(190)-mu)/sigma)
	assert.InDelta(t, math.Log(0.98*in+0.02/3), m.logLikelihood(m.params(make([]float64, 4))), 1e-9)
	// two looks: each right or not
	m, err = newModel(DefaultPrior(), []Pull{early, late})
	require.NoError(t, err)
	f := func(x float64) float64 { return phi((math.Log(x) - mu) / sigma) }
	right, not := 0.98+0.02/3, 0.02/3
	both := not*right*f(190) + right*right*(f(210)-f(190)) + right*not*(f(950)-f(210)) + not*not*(1-f(950))
	assert.InDelta(t, math.Log(both), m.logLikelihood(m.params(make([]float64, 4))), 1e-9)

	late.SectionM = 0.011
	_, err = Fit(DefaultPrior(), []Pull{early, late})
	assert.ErrorContains(t, err, "pull 2 (p): woody stem, in plug, sprue none of 11 mm, but pull 1 of the same piece and firing")
}

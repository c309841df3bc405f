package pieces

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Basis is what a posterior rests on.
type Basis struct {
	Pieces, Same, Firings int     // broken open; of the same kind; named firings
	Prior                 string  // its name
	Method                string  // how it was computed
	ESS                   float64 // effective share of the draws, 0 to 1; about 0.7 is usual
	// Disagree says that prior and pieces tell different stories (ESS under
	// 0.2): take the answer with care, and look at Odd.
	Disagree bool
	// Odd names the pieces that are more likely misread than read right.
	Odd []string
}

// Basis of answers about parts of kind k.
func (p *Posterior) Basis(k Kind) Basis {
	b := Basis{
		Same: p.same[k.tidy()], Firings: len(p.model.firings), Prior: p.model.prior.Name,
		Method: p.method, ESS: p.ess, Disagree: p.ess < leastESS, Odd: append([]string(nil), p.odd...),
	}
	for _, n := range p.same {
		b.Pieces += n
	}
	return b
}

func (b Basis) String() string {
	if b.Pieces == 0 {
		return "no test piece yet, only " + b.Prior
	}
	s := fmt.Sprintf("%s, %s of the same kind", pieces(b.Pieces), count(b.Same))
	if b.Same == b.Pieces {
		s = pieces(b.Pieces) + " of the same kind"
	}
	if b.Firings > 0 {
		s += fmt.Sprintf(", from %s firing%s", count(b.Firings), plural(b.Firings))
	}
	s += ", and " + b.Prior
	if len(b.Odd) > 0 {
		s += "; looks misread: " + strings.Join(b.Odd, ", ")
	}
	if b.Disagree {
		s += "; the pieces and the prior disagree: check labels and temperatures before trusting this"
	}
	return s
}

// misread is the probability that not every look at c was right. A part of the
// draws is enough to tell more from less than a half.
func (p *Posterior) misread(c *piece) float64 {
	const every = 10
	sum, weights := 0.0, 0.0
	var buf []jump
	for i := 0; i < len(p.draws); i += every {
		d := &p.draws[i]
		r := p.model.read(c, &d.params, buf[:0])
		sum += d.weight * r.wrong(len(c.looks), p.model.prior.Misread, math.Hypot(d.scatter, p.model.firingSD()))
		weights += d.weight
		buf = r.jumps
	}
	return sum / weights
}

// Explain says in words what hold the goal needs, how sure that is, which test
// would tell most (if any are given) and what it all rests on.
func (p *Posterior) Explain(g Goal, tests ...Test) (string, error) {
	h, err := p.Hold(g)
	if err != nil {
		return "", err
	}
	b := p.Basis(g.Part.Kind)
	who := "your " + pieces(b.Pieces) + " " + says(b.Pieces)
	if b.Pieces == 0 {
		who = "without a test piece, " + b.Prior + " says"
	}
	part := fmt.Sprintf("the %.3g mm %s", 1000*g.Part.SectionM, g.Part.Kind.Material)
	if g.Part.Count > 1 {
		part = fmt.Sprintf("all %d of the %.3g mm %s", g.Part.Count, 1000*g.Part.SectionM, g.Part.Kind.Material)
	}
	hold := words(h.Time)
	if h.Time == 0 {
		hold = "no further hold"
	}
	s := fmt.Sprintf("%s %s (%s to %s) at %g °C for %s to be clear with %.3g %% certainty", who, hold, words(h.Low), words(h.High), g.TempC, part, 100*g.Chance)
	if len(tests) > 0 {
		gains, err := p.Next(g, tests)
		if err != nil {
			return "", err
		}
		best := gains[0]
		s += fmt.Sprintf("; one more pull, %.3g mm %s at %s, %s", 1000*best.Test.SectionM, best.Test.Kind.Material, words(best.At), would(best.Narrow))
	}
	s += ". It rests on " + b.String() + "."
	if g.Part.SectionM < thinM {
		s += fmt.Sprintf(" Under %.3g mm a piece waits for heat rather than air: trust this for the schedule of the test pieces only.", 1000*thinM)
	}
	return s, nil
}

// thinM is the section in m under which equivalent minutes do not carry over
// from one schedule to another.
const thinM = 0.006

// would says what a factor on the width means.
func would(narrow float64) string {
	switch {
	case narrow < 0.57:
		return "would about halve that range"
	case narrow < 0.72:
		return "would narrow that range by about a third"
	case narrow < 0.97:
		return fmt.Sprintf("would narrow that range by about %.0f %%", 100*(1-narrow))
	}
	return "would hardly narrow that range"
}

// words writes a time as people say it: to the minute under an hour, to five
// under a day, to the hour above.
func words(d time.Duration) string {
	step := time.Minute
	switch {
	case d >= 24*time.Hour:
		step = time.Hour
	case d >= time.Hour:
		step = 5 * time.Minute
	}
	d = d.Round(step)
	h, m := int(d.Hours()), int(d.Minutes())%60
	switch {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %d min", h, m)
}

var small = [...]string{"none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

func count(n int) string {
	if n < len(small) {
		return small[n]
	}
	return fmt.Sprint(n)
}

func pieces(n int) string { return count(n) + " piece" + plural(n) }

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}

func says(n int) string {
	if n == 1 {
		return "says"
	}
	return "say"
}

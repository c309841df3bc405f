package health

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"calx/cmd/calx/summary"
)

// Every part says what it means, what to do and what cannot be told, whatever
// there is to tell; in °F no °C is left, nor a number that is none.
func TestWordsSayAll(t *testing.T) {
	p := shipped(t, "bench-9l-brick")
	rich := months(30, 0.01)
	for i := range rich {
		rich[i].Figures.Second = Estimate{summary.Number(1 + 0.1*float64(i)), 0.2}
		rich[i].Figures.Inversion = Estimate{summary.Number(566 + i%3), 2}
	}
	ssr := p
	ssr.Relay.Kind = "ssr"
	for name, r := range map[string]Report{
		"nothing": Look(p, nil), "one": Look(p, months(1, 0)), "two": Look(p, months(2, 0.01)), "no wear": Look(p, months(30, 0)),
		"gains": Look(p, months(30, -0.01)), "wears": Look(p, months(30, 0.01)), "worn out": Look(p, months(200, 0.005)), "all": Look(p, rich), "ssr": Look(ssr, rich),
	} {
		for _, inF := range []bool{false, true} {
			w := r.Words(Units{inF})
			t.Logf("%s: %v", name, w.Findings)
			assert.NotEmpty(t, w.Findings, name)
			assert.Len(t, w.Parts, 5)
			for _, part := range w.Parts {
				assert.NotEmpty(t, part.Do, "%s: %s", name, part.Name)
				assert.NotEmpty(t, part.Blind, "%s: %s", name, part.Name)
				assert.Equal(t, part.Value == "", part.Of == "", "%s: %s", name, part.Name)
			}
			all := fmt.Sprintf("%v", append([]any{w.Over, w.Findings}, wordsOf(w)...))
			assert.NotContains(t, all, "NaN", name)
			assert.NotContains(t, all, "Inf", name)
			assert.NotContains(t, all, map[bool]string{true: "°C", false: "°F"}[inF], name)
		}
	}
}

func wordsOf(w Words) (out []any) {
	for _, p := range w.Parts {
		out = append(out, p.Value, p.Of, p.Each, p.Sure, p.Means, p.Do, p.Blind)
	}
	return out
}

// A slow wear is not drawn out further than the firings bear.
func TestNoForecastBeyondWhatFiringsBear(t *testing.T) {
	r := Look(shipped(t, "bench-9l-brick"), months(30, 0.002))
	assert.True(t, r.Reach.Beyond(30), "%v", r.Reach)
	assert.Contains(t, r.Words(Units{}).Findings[0].Text, "for more than 90 firings yet, further than 30 can foretell")
	assert.False(t, Look(shipped(t, "bench-9l-brick"), months(30, 0.01)).Reach.Beyond(30))
}

// What must be done before the next firing comes first.
func TestGravestFirst(t *testing.T) {
	p := shipped(t, "bench-9l-brick")
	p.Relay.RatedCycles = 1000
	w := Look(p, months(30, 0.01)).Words(Units{})
	assert.True(t, w.Findings[0].Grave)
	assert.Contains(t, w.Findings[0].Text, "relay")
	assert.Contains(t, w.Findings[1].Text, "out of reach in about")
	w = Look(shipped(t, "bench-9l-brick"), months(200, 0.005)).Words(Units{})
	assert.True(t, strings.HasPrefix(w.Findings[0].Text, "The elements hardly hold 720 °C"), w.Findings[0].Text)
}

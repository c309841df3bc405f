package mould

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// explicit is the general method for a system of this kind, the referee of ours:
// heats grow by their flows, in steps short enough to be stable.
func explicit(m *Model, s *State, h History, hours, dt float64, each func()) {
	f, fs := &m.flasks[0], &s.Flasks[0]
	b, c, w := f.body, f.curveOf(fs), f.attached(fs)
	for n := range int(hours * 3600 / dt) {
		airC, _ := h((float64(n) + 0.5) * dt)
		b.conductances(fs, w, airC, &b.film, b.base)
		b.flows(fs, w, airC)
		for i, v := range b.volume {
			for k := i * b.layers; k < (i+1)*b.layers; k++ {
				fs.Heat[k] += w.flow[k] * dt / v
				fs.Highest[k] = max(fs.Highest[k], fs.Heat[k])
				w.tC[k], w.c[k], w.k[k] = c.read(fs.Heat[k], fs.Highest[k], &w.places[k])
			}
		}
		for j := range fs.SleeveC {
			fs.SleeveC[j] += w.flow[b.cells()+j] * dt / b.sleeveJK
		}
		if each != nil {
			each()
		}
	}
}

const explicitS = 5 // stable on the default grid for 100 by 150 mm

// The worst is where the front arrives at the axis and the core then rises by
// some 40 K in a minute: it is a matter of seconds.
func TestAgainstExplicit(t *testing.T) {
	m := compile(t, sleeved(100, 150))
	b := m.flasks[0].body
	run := func(dt float64, how func(s *State, each func())) (coreC []float64) {
		s := m.Start(20)
		n := 0
		how(&s, func() {
			if n++; math.Mod(float64(n)*dt, 60) == 0 {
				coreC = append(coreC, b.middle(s.Flasks[0].work.tC, 0))
			}
		})
		return coreC
	}
	want := run(1, func(s *State, each func()) { explicit(m, s, stepped, 12, 1, each) })
	for _, tt := range []struct{ dt, mean, worst float64 }{{5, 0.02, 1}, {20, 0.05, 3}, {60, 0.15, 9}} {
		got := run(tt.dt, func(s *State, each func()) { steps(m, s, stepped, 12, tt.dt, each) })
		worst, sum := 0.0, 0.0
		for n := range want {
			off := math.Abs(got[n] - want[n])
			worst, sum = max(worst, off), sum+off
		}
		t.Logf("core, steps of %g s against explicit of 1 s: mean %.4f K, worst %.3f K", tt.dt, sum/float64(len(want)), worst)
		assert.Less(t, sum/float64(len(want)), tt.mean)
		assert.Less(t, worst, tt.worst)
	}
}

// The same flask-day by explicit steps, for comparison with FlaskDay.
func BenchmarkFlaskDayExplicit(b *testing.B) {
	m := compile(b, sleeved(100, 150))
	for b.Loop() {
		s := m.Start(20)
		explicit(m, &s, stepped, 24, explicitS, nil)
	}
}

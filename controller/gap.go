package controller

import (
	"math"
	"time"

	"calx/controller/guard"
	"calx/controller/law"
	"calx/controller/relay"
	"calx/storage/record"
)

// Gap is a time without readings through which the moulds have not been
// carried yet: that needs the first reading after it.
type Gap struct {
	LostS float64   // how long it has lasted, s
	FromC float64   // the last reading before it that was believed, °C
	Law   law.State // the estimate at that time: what is hot in the kiln
}

// interrupted is the state of a firing that nobody controlled after s: the
// relay counts as just opened, the guards start anew, and what lies behind is
// a gap.
func interrupted(s State) State {
	if s.Gap == nil && s.History.Seen {
		s.Gap = &Gap{FromC: s.History.HotC, Law: s.Law}
	}
	s.Relay = relay.Resumed(s.Relay)
	s.Restored = true
	s.History = s.History.Interrupted()
	return s
}

// lose notes that a tick has cost time without readings.
func (t *tick) lose() {
	switch g := t.s.Gap; {
	case g != nil:
		t.s.Gap = &Gap{g.LostS + t.dtS, g.FromC, g.Law}
	case t.late && t.s.History.Seen:
		t.s.Gap = &Gap{t.dtS, t.s.History.HotC, t.s.Law}
	}
}

// bridge carries the moulds through a gap, once a reading says where it led.
// The kiln has cooled in it as kilns do, quickly at first: a straight line would
// take the moulds for hotter than they were.
func (t *tick) bridge() {
	g := t.s.Gap
	t.s.Gap = nil
	c, m := t.c, t.c.cfg.Mould
	if m == nil || !t.s.Inside.Begun {
		return
	}
	const coldS = 48 * 3600 // by then every kiln is
	g = &Gap{math.Min(g.LostS, coldS), g.FromC, g.Law}
	n := int(math.Ceil(g.LostS / observeS))
	for _, chamberC := range c.cooling(*g, t.s.History.HotC, n) {
		t.s.Inside = m.follow(t.s.Inside, g.LostS/float64(n), chamberC, false, nil)
	}
}

// cooling is the chamber at the ends of n equal parts of a gap that led to toC:
// the kiln's own course without heat, fitted to both ends.
func (c *Controller) cooling(g Gap, toC float64, n int) []float64 {
	out := make([]float64, n)
	w := c.unheated(g.Law)
	startC, highestC, atS := w.chamberC(), w.chamberC(), 0.0
	for i := range out {
		for until := g.LostS * float64(i+1) / float64(n); atS < until; atS += c.periodS {
			w.pass()
		}
		out[i] = w.chamberC()
		highestC = math.Max(highestC, out[i])
	}
	// Scaled, the fall keeps its shape. Where the kiln first rose by what was
	// stored in its elements, or hardly moved, the difference is spread instead.
	const leastC, coast = 5, 0.5
	fellC, fall := startC-w.chamberC(), g.FromC-toC
	for i, modelC := range out {
		if fellC >= leastC && fall > 0 && highestC-startC <= coast*fellC {
			out[i] = g.FromC - fall*(startC-modelC)/fellC
			continue
		}
		out[i] = g.FromC + (modelC - startC) + (fellC-fall)*float64(i+1)/float64(n)
	}
	return out
}

// cold is a kiln left without heat, by the model of the law.
type cold struct {
	c      *Controller
	s      law.State
	extra  float64 // what the model did not explain when the heat went off
	startC float64
}

func (c *Controller) unheated(s law.State) *cold {
	s = c.law.Off(s)
	return &cold{c, s, s.Extra, c.law.JunctionC(s)}
}

func (w *cold) chamberC() float64 { return w.c.law.JunctionC(w.s) }

// pass lets one period pass. What the model did not explain is for the most
// part a loss that it does not know, and losses go down with the temperature.
// With that, the shipped kilns are met within 10 % of their fall for six hours.
func (w *cold) pass() {
	ambientC := w.c.cfg.Plant.AmbientC
	w.s.Extra = 0
	if above := w.startC - ambientC; above > 0 {
		w.s.Extra = w.extra * math.Max(w.chamberC()-ambientC, 0) / above
	}
	w.s = w.c.law.Advance(w.s, 0)
}

// FallTime is how long the kiln of s, left without heat, takes until its
// chamber is at toC; ok is false when that is not within most.
func (c *Controller) FallTime(s State, toC float64, most time.Duration) (d time.Duration, ok bool) {
	if !s.Law.Ready {
		return 0, false
	}
	w := c.unheated(s.Law)
	for t := 0.0; t <= most.Seconds(); t += c.periodS {
		if w.chamberC() <= toC {
			return time.Duration(t * float64(time.Second)), true
		}
		w.pass()
	}
	return 0, false
}

// Retrace carries on over one recorded tick what follows from the log alone,
// whatever people pressed: the memory of the guards, the estimate of the law
// and the inside of the moulds, all bit for bit. The rest of the state it
// returns means nothing.
func (c *Controller) Retrace(s State, in Input, r *record.Reading) State {
	t := &tick{c: c, s: s, in: in}
	t.time()
	t.look()
	t.observe()
	heated := !math.IsNaN(r.SetpointC) && t.s.Law.Ready && guard.Judge(&c.cfg.Guard, &t.s.History).Verdict == guard.Fine
	on := 0.0
	if heated {
		t.s.Law.Duty = r.Duty
	} else {
		t.s.Law = c.law.Off(t.s.Law)
	}
	if t.s.Relay.On = r.Relay; r.Relay {
		on = 1
	}
	t.s.Law = c.law.Advance(t.s.Law, on)
	t.s.Plan = Cursor{Entered: !math.IsNaN(r.SetpointC), SetC: r.SetpointC}
	t.s.Air = r.Air
	return t.s
}

// Interrupt is what an interruption makes of a retraced state.
func Interrupt(s State) State { return interrupted(s) }

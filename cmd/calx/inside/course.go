package inside

import (
	"math"
	"time"

	"calx/controller"
	"calx/profile"
)

// Course is how moulds fare along a profile by plan. Times count from the
// start of the firing and are -1 for what does not come in it.
type Course struct {
	Dry     time.Duration // no free water left
	Clear   time.Duration // by the model
	ByOdds  time.Duration // when the chance of being clear is Want
	Want    float64       // what the profile asks for, or 0.95
	Chance  float64       // of being clear at the end, 0..1
	Warning []string      // what the model warns of, for people
	holds   map[profile.Step]time.Duration
}

// Hold is how long a hold that ends on an observation takes, fit for
// profile.Outlook; for one that somebody ends, its least.
func (c Course) Hold(s profile.Step) time.Duration {
	if d, ok := c.holds[s]; ok {
		return d
	}
	return s.AtLeast
}

// Wanted is the chance of being clear that a profile asks for: that of its last
// hold until clear, or 0.95.
func Wanted(p *profile.Profile) float64 {
	want := 0.95
	for _, s := range p.Steps {
		if s.Kind == profile.Hold && s.Until == profile.UntilClear {
			want = s.Clear
		}
	}
	return want
}

// Follow runs the moulds along the profile. It costs some ten milliseconds.
func Follow(m *controller.Mould, p *profile.Profile, o profile.Outlook) Course {
	c := Course{Want: Wanted(p), holds: map[profile.Step]time.Duration{}}
	w := newWalker(m.Model, m.Clear, o.StartC, c.Want)
	o.Hold = nil
	for _, g := range profile.Unroll(p, o).Segments {
		s := p.Steps[g.Step]
		if s.Kind == profile.Hold && s.Until == profile.ClockTime && !o.Start.IsZero() {
			now := o.Start.Add(duration(w.state.TimeS))
			g.To = g.From + profile.NextClock(now, s.Hour, s.Minute).Sub(now)
		}
		if took := w.step(s, g, 0); g.Open {
			c.holds[s] = duration(took).Round(time.Second)
		}
	}
	c.Dry, c.Clear, c.ByOdds, c.Chance = duration(w.dryS), duration(w.clearS), duration(w.chanceS), w.chance()
	r := m.Model.Read(&w.state)
	seen := map[string]bool{}
	for _, f := range r.Flasks {
		for _, x := range f.Warnings.List() {
			if t := x.Text(); !seen[t] {
				seen[t] = true
				c.Warning = append(c.Warning, f.Name+": "+t)
			}
		}
	}
	return c
}

// duration is -1 for what has not come.
func duration(s float64) time.Duration {
	if math.IsNaN(s) {
		return -1
	}
	return time.Duration(s * float64(time.Second))
}

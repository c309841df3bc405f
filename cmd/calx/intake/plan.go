package intake

import (
	"math"
	"time"

	"calx/profile"
)

// How far a curve may lie off the straight pieces that stand for it, °C: a
// setpoint is drawn with a ruler, a chamber is not.
const setTolC, tempTolC = 1.5, 8.0

// holdCPerH is the slope below which a piece is a hold.
const holdCPerH = 6.0

// piece is a straight stretch of a curve.
type piece struct {
	from, to   time.Duration
	fromC, toC float64
}

// Plan is the profile that a table was fired by, as far as it shows: the
// setpoint in straight pieces, or the chamber where there is none. Its steps
// and the times at which each begins; nil when nothing rises in it.
func (t *Table) Plan(fahrenheit bool) (*profile.Profile, []time.Duration) {
	curve, tol := t.curve(t.HasSet), tempTolC
	if t.HasSet {
		tol = setTolC
	}
	if len(curve) < 2 {
		return nil, nil
	}
	p := &profile.Profile{Fahrenheit: fahrenheit}
	var at []time.Duration
	for _, g := range merged(straight(curve, tol)) {
		s := g.step(!t.HasSet, fahrenheit)
		p.Steps = append(p.Steps, s)
		at = append(at, g.from)
	}
	// What is written and read back is what is kept.
	again, err := profile.Parse(p.String())
	if err != nil {
		return nil, nil
	}
	return again, at
}

func (t *Table) curve(set bool) []Row {
	var out []Row
	for _, r := range t.Rows {
		if set {
			r.TempC = r.SetC
		}
		if !math.IsNaN(r.TempC) {
			out = append(out, r)
		}
	}
	return out
}

// straight puts pieces through a curve that it leaves by no more than tol
// (Douglas and Peucker, Cartographica 10(2), 1973).
func straight(curve []Row, tol float64) []piece {
	type span struct{ a, b int }
	keep := make([]bool, len(curve))
	keep[0], keep[len(curve)-1] = true, true
	for todo := []span{{0, len(curve) - 1}}; len(todo) > 0; {
		s := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		worst, at := tol, -1
		a, b := curve[s.a], curve[s.b]
		for i := s.a + 1; i < s.b; i++ {
			f := float64(curve[i].Since-a.Since) / float64(b.Since-a.Since)
			if d := math.Abs(curve[i].TempC - a.TempC - f*(b.TempC-a.TempC)); d > worst {
				worst, at = d, i
			}
		}
		if at >= 0 {
			keep[at] = true
			todo = append(todo, span{s.a, at}, span{at, s.b})
		}
	}
	var out []piece
	last := 0
	for i := 1; i < len(curve); i++ {
		if keep[i] {
			out = append(out, piece{curve[last].Since, curve[i].Since, curve[last].TempC, curve[i].TempC})
			last = i
		}
	}
	return out
}

func (g piece) cPerH() float64 {
	return (g.toC - g.fromC) / math.Max((g.to-g.from).Hours(), 1e-9)
}

func (g piece) holds() bool { return math.Abs(g.cPerH()) < holdCPerH }

// merged joins holds that follow each other, and pieces too short to be steps.
func merged(in []piece) []piece {
	const short = time.Minute
	var out []piece
	for _, g := range in {
		if n := len(out); n > 0 && (out[n-1].holds() && g.holds() || g.to-g.from < short) {
			out[n-1].to, out[n-1].toC = g.to, g.toC
			continue
		}
		out = append(out, g)
	}
	return out
}

// step words a piece. A chamber that falls is taken to fall by itself.
func (g piece) step(falls, inF bool) profile.Step {
	const grid = time.Minute
	lasts := max((g.to - g.from).Round(grid), grid)
	toC := math.Round(g.toC)
	if inF {
		toC = (math.Round(g.toC*9/5+32) - 32) * 5 / 9
	}
	switch {
	case g.holds() || math.Abs(g.toC-g.fromC) < 1:
		return profile.Step{Kind: profile.Hold, Until: profile.Elapsed, For: lasts}
	case g.toC > g.fromC:
		return profile.Step{Kind: profile.Heat, TargetC: toC, Pace: profile.InTime, For: lasts}
	case falls:
		return profile.Step{Kind: profile.Cool, TargetC: toC, Pace: profile.Unpowered}
	}
	return profile.Step{Kind: profile.Cool, TargetC: toC, Pace: profile.InTime, For: lasts}
}

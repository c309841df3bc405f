package plan

import (
	"math"
	"time"

	"calx/profile"
)

// Make finds the shortest profile that keeps every limit. An input that cannot
// be is a [Refusal], so is a pour time that no profile reaches. Make takes about
// a second for one flask; it is the same for the same input.
func Make(in Input) (*Plan, error) {
	k, err := newMaker(in, false)
	if err != nil {
		return nil, err
	}
	p, err := k.make()
	if err != nil {
		return nil, err
	}
	return p, k.fix(p)
}

func (k *maker) make() (*Plan, error) {
	k.guess()
	m := k.coarse
	if len(k.in.Beliefs) == 0 && k.burns() {
		m = m.Vary(k.standIn().vary)
	}
	k.fit(k.march(m))
	k.search(m)
	k.repair()
	return k.plan()
}

// burns tells whether there is anything to burn.
func (k *maker) burns() bool {
	for _, p := range k.in.Moulds {
		if len(p.Patterns) > 0 && !k.soaked {
			return true
		}
	}
	return false
}

// standIn is the draw whose clear time is that of the chance asked for. It is
// nearly the same draw for every profile, so the search may follow it alone.
func (k *maker) standIn() draw {
	const enough = 60
	d := quantile(k.chances(k.coarse, k.untilClear(), min(enough, k.in.Samples)), k.in.Clear)
	d.vary.Conductivity = 1
	return d
}

func (k *maker) untilClear() []profile.Step {
	return append(k.d.drying(), k.d.burning(k.in.Clear, k.in.AirOn)...)
}

// plan builds the answer from the draft.
func (k *maker) plan() (*Plan, error) {
	until := k.untilClear()
	w := k.walker(k.fine, k.begin(k.fine)).run(until)
	if w.never >= 0 {
		return nil, k.never(w, until)
	}
	p := &Plan{Profile: &profile.Profile{CeilingC: onGrid(k.lim.CeilingC), Fahrenheit: k.in.Fahrenheit}}
	hold := w.legs[len(w.legs)-1]
	clearS := hold.toS
	if k.burns() {
		sorted := k.chances(k.fine, until, k.in.Samples)
		at := func(q float64) time.Duration { return roundUp(seconds(quantile(sorted, q).clearS), time.Minute) }
		p.ClearAt = Interval{Low: at((1 - level) / 2), Median: at(0.5), High: at((1 + level) / 2), Level: level}
		clearS = quantile(sorted, k.in.Clear).clearS
		if math.IsInf(clearS, 1) {
			return nil, k.neverClear(sorted)
		}
		p.ClearBy = roundUp(seconds(clearS), time.Minute)
	}
	steps := append(until, k.d.cooling(k.in.PourC, k.in.AirOn)...)
	if k.in.PourC > 0 {
		steps = append(steps, profile.Step{Kind: profile.Hold, Until: profile.UntilStopped, AtMost: min(roundUp(pourWait+p.ClearBy-p.ClearAt.Low, time.Hour), longestStep)})
	}
	walked := append([]profile.Step(nil), steps...)
	if !k.soaked {
		holdS := roundUp(seconds(max(clearS-hold.fromS, k.soakS(w), leastSoak.Seconds())), time.Minute)
		walked[len(until)-1] = profile.Step{Kind: profile.Hold, Until: profile.Elapsed, For: holdS}
	}
	w = k.walker(k.fine, k.begin(k.fine)).run(walked)
	if w.never >= 0 {
		return nil, k.never(w, walked)
	}
	k.walked = w
	k.spans(steps, w)
	p.Profile.Steps = steps
	p.Total = roundUp(seconds(w.totalS()), time.Minute)
	p.DryAt = seconds(k.dryS(w))
	p.Curve = w.samples
	p.Marched, p.Fitted = seconds(k.marchedS), seconds(k.fittedS)
	p.Common = commonFor(k.in.Moulds)
	k.explain(p, walked, w)
	k.judge(p, w)
	return p, nil
}

// dryS is when the last mould was dry.
func (k *maker) dryS(w *walk) float64 {
	last := 0.0
	for i := range w.end.Flasks {
		last = max(last, w.end.Flasks[i].DryS)
	}
	return last
}

// soakS is how long after the start of the top hold the core was near enough.
func (k *maker) soakS(w *walk) float64 {
	hold := w.legs[len(w.legs)-1]
	for _, v := range w.samples {
		if v.Since.Seconds() >= hold.fromS && math.Abs(v.ChamberC-v.CoreC) <= soakK {
			return v.Since.Seconds() - hold.fromS
		}
	}
	return hold.toS - hold.fromS
}

// longestStep is the most that a profile takes for one step.
const longestStep = 30 * 24 * time.Hour

// spans writes least and most into the holds that an observation ends.
func (k *maker) spans(steps []profile.Step, w *walk) {
	const tick = 5 * time.Minute
	for i := range steps {
		s := &steps[i]
		if s.Kind != profile.Hold || s.Until == profile.Elapsed || s.Until == profile.UntilStopped {
			continue
		}
		length := seconds(w.legs[i].toS - w.legs[i].fromS)
		least, most := leastShare, mostShare
		if s.Until == profile.UntilClear {
			least, most = clearLeast, clearMost
		}
		s.AtLeast = time.Duration(least * float64(length)).Truncate(tick)
		s.AtMost = min(roundUp(time.Duration(most*float64(length))+spare, tick), longestStep)
		if s.Until == profile.UntilClear {
			s.AtLeast = max(s.AtLeast, leastSoak)
		}
	}
}

func roundUp(d, to time.Duration) time.Duration { return (d + to - 1).Truncate(to) }

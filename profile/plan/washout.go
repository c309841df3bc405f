package plan

import (
	"fmt"
	"slices"
	"time"

	"calx/profile"
	"calx/sim/mould"
)

// Of a cool-down, °C.
const (
	aboveInversionC = 290 // the slow part begins here
	belowInversionC = 190 // and ends here
	handleC         = 45  // cool enough to carry and rinse
)

// WashOut plans what follows a burnout whose ash is to be washed out. Its
// Cooldown, to be put behind the clear hold of the burnout, takes the mould
// through both inversions and down to the hand. The plan itself is a firing of
// its own: it dries the soaked mould, which must be dry before it may go above
// the steam hold, and heats it to the pour temperature. PourAt is that of the
// second firing. What [Make] refuses is refused here.
func WashOut(in Input) (*Plan, error) {
	down, err := cooldown(in)
	if err != nil {
		return nil, err
	}
	in.AirOn = false // nothing is left to burn
	k, err := newMaker(in, true)
	if err != nil {
		return nil, err
	}
	p, err := k.make()
	if err != nil {
		return nil, err
	}
	p.Cooldown = down
	return p, k.fix(p)
}

// cooldown plans the way from the top hold, everything clear, to the hand.
func cooldown(in Input) (*Plan, error) {
	in.PourC, in.PourAt, in.Now = 0, time.Time{}, time.Time{}
	k, err := newMaker(in, false)
	if err != nil {
		return nil, err
	}
	if _, err := k.make(); err != nil {
		return nil, err
	}
	hot := k.walked.end
	u := words{in.Fahrenheit}
	to := []float64{k.grid.temp(quartzLowC - 10), k.grid.temp(aboveInversionC), k.grid.temp(belowInversionC)}
	var steps []profile.Step
	fromC := k.d.top
	for _, c := range to {
		rate := k.slowed(hot, func(r float64) []profile.Step { return append(slices.Clone(steps), cool(c, r)) }, k.fastest(fromC, c))
		steps, fromC = append(steps, cool(c, rate)), c
	}
	steps = append(steps, profile.Step{Kind: profile.Wait, TargetC: k.grid.temp(handleC)})
	w := k.from(hot).run(steps)
	clearS := hot.TimeS
	p := &Plan{Profile: &profile.Profile{CeilingC: onGrid(k.lim.CeilingC), Fahrenheit: in.Fahrenheit, Steps: steps}}
	for i, l := range w.legs {
		r := Reason{Limit: ByCooling, From: seconds(l.fromS - clearS), To: seconds(l.toS - clearS)}
		if i < len(to) {
			r.Text, r.Limit = k.whyRamp(k.from(hot), steps, w, i)
		}
		switch i {
		case len(to) - 1:
			r.Text += fmt.Sprintf("; cristobalite turns here and the mould shrinks: most cracks come now. A mould that is not to be washed stays above %s: blow its ash out instead", u.temp(cristobalHighC-leastAboveK))
		case len(to):
			r.Text = fmt.Sprintf("heat off until the mould can be carried; rinse it at %s or less, drain it, and let it stand a day: it is wet and weak", u.temp(handleC))
		}
		p.Reasons = append(p.Reasons, r)
	}
	p.Total = roundUp(seconds(w.totalS()-clearS), time.Minute)
	for _, v := range w.samples {
		v.Since -= seconds(clearS)
		p.Curve = append(p.Curve, v)
	}
	p.Binding = binding(p)
	return p, nil
}

// leastAboveK is how far below the upper end of the inversion a hot mould may
// go: cristobalite turns at 200 to 270 °C, by its order.
const leastAboveK = 10

// waitTailCPerH is how fast a kiln falls where its curve ends: a guess, on the
// slow side of small kilns (common practice, no source).
const waitTailCPerH = 10

// from is a walker that starts in a state of the full grid.
func (k *maker) from(s mould.State) *walker {
	w := k.walker(k.fine, s)
	w.waitCPerH = max(waitTailCPerH, k.can.CoolRate((belowInversionC+handleC)/2))
	return w
}

// slowed is the fastest rate from most down that keeps the limits.
func (k *maker) slowed(s mould.State, steps func(float64) []profile.Step, most float64) float64 {
	rate := k.grid.rate(most)
	const least = 5
	for ; rate > least; rate = k.slower(rate) {
		if k.excess(k.from(s).run(steps(rate))) == 0 {
			break
		}
	}
	return rate
}

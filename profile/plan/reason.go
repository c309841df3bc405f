package plan

import (
	"fmt"
	"time"

	"calx/profile"
)

// explain writes the reason beside every step.
func (k *maker) explain(p *Plan, walked []profile.Step, w *walk) {
	for i, s := range p.Profile.Steps {
		l := w.legs[i]
		r := Reason{From: seconds(l.fromS), To: seconds(l.toS)}
		switch {
		case s.Kind == profile.Air:
			r.Text = k.whyAir(s)
		case s.Kind == profile.Heat, s.Kind == profile.Cool:
			r.Text, r.Limit = k.whyRamp(k.walker(k.fine, k.begin(k.fine)), walked, w, i)
		case s.Until == profile.UntilDry:
			r.Text, r.Limit = k.whyDry(l)
		case s.Until == profile.UntilClear:
			r.Text, r.Limit = k.whyClear(p, l)
		case s.Until == profile.UntilCore:
			r.Text, r.Limit = k.whyCore(l, s), ByLag
		case s.Until == profile.UntilStopped:
			r.Text = fmt.Sprintf("ready: take the flask out and press step on; after %s the heat goes off by itself", took(s.AtMost))
		}
		p.Reasons = append(p.Reasons, r)
	}
}

func (k *maker) whyAir(s profile.Step) string {
	air := airOf(k.in.Kiln, k.in.AmbientC)
	if s.On {
		return fmt.Sprintf("%.0f instead of %.0f changes of air an hour, for the smoke and then for the char", air.ChangesOnPerH, air.ChangesPerH)
	}
	return "nothing is left to burn, and fresh air cools the flask unevenly"
}

func (k *maker) whyDry(l leg) (string, Limit) {
	u := words{k.in.Fahrenheit}
	text := fmt.Sprintf("hold %s at %s: %s of water are still in the %s, and keep the core near %s; ",
		took(seconds(l.toS-l.fromS)), u.temp(l.toC), mass(l.startKg), k.moulds(), u.temp(100))
	kept := k.lim.SteamIndex * (1 - k.lim.Margin)
	if l.toC < k.grid.temp(k.lim.SteamHoldC) {
		return text + fmt.Sprintf("hotter would push the steam index over %s (here %s)", index(kept), index(l.steam)), BySteam
	}
	if k.soaked {
		return text + fmt.Sprintf("a wall wetted twice is weak, so it goes no hotter than %s until it is dry (common practice); steam index up to %s of %s allowed",
			u.temp(k.lim.SteamHoldC), index(l.steam), index(kept)), ByWater
	}
	return text + fmt.Sprintf("hotter than the steam hold of %s the wall nears the cristobalite inversion (%s) while the core is wet; steam index up to %s of %s allowed",
		u.temp(k.lim.SteamHoldC), u.temp(cristobalLowC), index(l.steam), index(kept)), ByWater
}

func (k *maker) moulds() string {
	n := 0
	for _, p := range k.in.Moulds {
		n += max(1, p.Count)
	}
	if n == 1 {
		return "mould"
	}
	return fmt.Sprintf("%d moulds", n)
}

func (k *maker) whyClear(p *Plan, l leg) (string, Limit) {
	u := words{k.in.Fahrenheit}
	length := took(seconds(l.toS - l.fromS))
	if !k.burns() {
		return fmt.Sprintf("hold %s at %s: nothing is left to burn; the core comes from %s to within %s", length, u.temp(l.toC), u.temp(l.startCoreC), u.diff(soakK)), ByLag
	}
	chance := fmt.Sprintf("half of %d draws are clear by %s, %s by %s", k.in.Samples, took(p.ClearAt.Median), percent(k.in.Clear), took(p.ClearBy))
	const little, mostly = 0.005, 0.5
	switch {
	case p.ClearBy.Seconds() <= l.fromS+leastSoak.Seconds():
		return fmt.Sprintf("hold %s at %s: the pattern is clear already or soon; the core comes from %s to within %s; %s", length, u.temp(l.toC), u.temp(l.startCoreC), u.diff(soakK), chance), ByLag
	case l.startChar < little:
		return fmt.Sprintf("hold %s at %s: the model has it clear by now, but air access is known to a factor of 1.8 only; %s", length, u.temp(l.toC), chance), ByAir
	case l.starved > mostly:
		return fmt.Sprintf("hold %s at %s: %s of the char is left and waits for air, not for heat (%s of the oxygen is lacking where it burns); %s",
			length, u.temp(l.toC), percent(l.startChar), percent(l.starved), chance), ByAir
	}
	return fmt.Sprintf("hold %s at %s: %s of the char is left and burns as fast as heat lets it; %s", length, u.temp(l.toC), percent(l.startChar), chance), ByLag
}

func (k *maker) whyCore(l leg, s profile.Step) string {
	u := words{k.in.Fahrenheit}
	off := l.startCoreC - l.toC
	side := "above"
	if off < 0 {
		off, side = -off, "below"
	}
	return fmt.Sprintf("hold %s at %s: the core is %s %s it and must come within %s: the metal meets the core, not the kiln",
		took(seconds(l.toS-l.fromS)), u.temp(l.toC), u.diff(off), side, u.diff(s.WithinC))
}

// whyRamp tries the ramp a little faster and tells what then gives.
func (k *maker) whyRamp(from *walker, walked []profile.Step, w *walk, i int) (string, Limit) {
	u := words{k.in.Fahrenheit}
	s, l := walked[i], w.legs[i]
	faster := k.faster(s.RateCPerH)
	can := k.fastest(l.fromC, l.toC)
	if faster > can {
		return k.whyNoFaster(l, s.RateCPerH, can)
	}
	tried := append([]profile.Step(nil), walked...)
	tried[i].RateCPerH = faster
	v := from.run(tried)
	limit, was, would, allowed, kept := k.broken(w, v)
	head := u.rate(s.RateCPerH) + ": "
	switch limit {
	case BySteam:
		return head + fmt.Sprintf("steam index up to %s; %s would make it %s, over the %s allowed (%s less the margin)", index(was), u.rate(faster), index(would), index(kept), index(allowed)), limit
	case ByCristobalite, ByQuartz:
		low, high := float64(cristobalLowC), float64(cristobalHighC)
		if limit == ByQuartz {
			low, high = quartzLowC, quartzHighC
		}
		return head + fmt.Sprintf("%s through the wall while any part is at %s (%s); %s would make it %s, over the %s allowed (%s less the margin)",
			u.exact(was), u.span(low, high), limit, u.rate(faster), u.exact(would), u.exact(kept), u.exact(allowed)), limit
	}
	saves := k.saving(walked, w, v, i)
	switch {
	case saves >= time.Minute:
		return head + fmt.Sprintf("%s would keep the limits by a hair and save %s at most; a finer figure is not worth it", u.rate(faster), took(saves)), ByNothing
	case s.Kind == profile.Heat && k.burns():
		return head + fmt.Sprintf("%s would make nothing clear sooner: the char waits for air", u.rate(faster)), ByAir
	}
	return head + fmt.Sprintf("%s would make nothing ready sooner", u.rate(faster)), ByNothing
}

// saving is what step i as in v, a notch faster than in w, saves. Before the top
// hold of a mould that burns that is when it is clear, since the hold of v is
// only as long as that of w.
func (k *maker) saving(walked []profile.Step, w, v *walk, i int) time.Duration {
	until := k.untilClear()
	if !k.burns() || i >= len(until) || walked[i].Kind != profile.Heat {
		return seconds(w.totalS() - v.totalS())
	}
	from := k.walker(k.fine, k.begin(k.fine))
	before := from.run(until).totalS()
	until[i].RateCPerH = k.faster(until[i].RateCPerH)
	return seconds(before - from.run(until).totalS())
}

func (k *maker) whyNoFaster(l leg, rate, can float64) (string, Limit) {
	u := words{k.in.Fahrenheit}
	head := u.rate(rate) + ": "
	switch {
	case can >= k.lim.MostCPerH:
		return u.rate(rate) + ": the fastest ramp allowed, whatever the model says (common practice)", ByRate
	case l.toC < l.fromC:
		return head + fmt.Sprintf("the kiln falls by %s at %s with the heat off; %s is kept back", u.rate(k.can.CoolRate(l.toC)), u.temp(l.toC), percent(k.lim.PowerMargin)), ByCooling
	}
	return head + fmt.Sprintf("the kiln rises by %s at %s on full power; %s is kept back", u.rate(k.can.FullPowerRate(l.toC)), u.temp(l.toC), percent(k.lim.PowerMargin)), ByPower
}

// broken is the limit that walk v passes most, its value in w and v, the limit
// and what of it is allowed.
func (k *maker) broken(w, v *walk) (limit Limit, was, would, allowed, kept float64) {
	worst := 1.0
	for i := range v.end.Flasks {
		a, b := &w.end.Flasks[i], &v.end.Flasks[i]
		for _, f := range []struct {
			limit          Limit
			was, is, allow float64
		}{
			{BySteam, a.MostSteam, b.MostSteam, k.lim.SteamIndex},
			{ByCristobalite, a.MostCristobalK, b.MostCristobalK, k.lim.CristobaliteK},
			{ByQuartz, a.MostQuartzK, b.MostQuartzK, k.lim.QuartzK},
		} {
			if share := f.is / (f.allow * (1 - k.lim.Margin)); share > worst {
				worst = share
				limit, was, would, allowed, kept = f.limit, f.was, f.is, f.allow, f.allow*(1-k.lim.Margin)
			}
		}
	}
	return limit, was, would, allowed, kept
}

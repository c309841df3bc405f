package health

import (
	"fmt"
	"math"
	"time"

	"calx/sim/kiln"
)

const nothing = "Nothing."

// soon is how many firings ahead a part is worth having on the shelf.
const soon = 20

func (r Report) elements(u Units) Part {
	p := Part{Name: "elements", Title: "Elements", Do: nothing}
	p.ratio(r.Power)
	p.Means = "Heat that the elements give, over what the kiln file says. They thin from firing to firing and give less."
	if r.Needed.Known() {
		p.Means += fmt.Sprintf(" To hold %s, the hottest of %s, takes %.0f %%; ramps fall behind well before that.", u.At(r.TopC), lately(r.Firings), 100*float64(r.Needed))
	}
	switch f := r.Reach; {
	case f == nil:
	case f.In == 0:
		p.Do = "Have elements and mains measured before the next firing, by a licensed electrician, power off."
	case f.From <= soon:
		p.Do = fmt.Sprintf("Have a new set at hand, fitted before %s from now by a licensed electrician, power off.", count(max(int(f.From), 1), "firing"))
	default:
		p.Do = "Nothing yet; note what set was fitted, and when."
	}
	p.Blind = blind(r.Power, u, "Whether they wear", "Wear from weak mains: both give less.") + counted(r.New.Elements, "elements", "a new set")
	return p
}

// blind words what a trend of wear cannot tell: no wear yet, not whether there is
// any, or, once it is told, what looks like it.
func blind(t Trend, u Units, whether, alike string) string {
	switch {
	case len(t.Points) < 3:
		return "Wear, yet: " + few(t, u) + "."
	case !t.Told:
		return whether + ": the scatter between firings is larger than any trend."
	}
	return alike
}

// counted words from when firings count for a part, by its name in a kiln file.
func counted(day, part, fresh string) string {
	if t, err := time.Parse(kiln.Day, day); err == nil {
		return fmt.Sprintf(" Counted from %s on.", t.Format("2 Jan 2006"))
	}
	return fmt.Sprintf(" When %s is fitted, write the day into the kiln file, %s: new: 2026-01-31; the count begins there.", fresh, part)
}

// lately words the firings that say what is fired now.
func lately(firings int) string {
	if firings == 1 {
		return "the one firing"
	}
	return fmt.Sprintf("the last %d firings", min(recent, firings))
}

func (r Report) heatLoss(u Units) Part {
	p := Part{Name: "heat loss", Title: "Heat loss", Do: nothing}
	p.ratio(r.Loss)
	p.Means = "Heat that goes to the room, over what the kiln file says. It grows as door seal and lining open up."
	if r.HoldDuty.Known() {
		p.Means += " " + r.Holding(u) + "."
	}
	if r.Loss.Told && r.Loss.Each > 0 {
		p.Do = "Cold and switched off, look along door seal, peephole and lining for gaps and cracks."
	}
	p.Blind = blind(r.Loss, u, "Whether the seal wears", "A worn seal from a vent left open or a colder room.")
	return p
}

// Holding words what holding takes now and by the kiln file; HoldDuty must be
// known.
func (r Report) Holding(u Units) string {
	takes := "takes"
	if r.HoldDuty >= 1 {
		takes = "would take"
	}
	return fmt.Sprintf("Holding %s %s %.0f %% duty, by the kiln file %.0f %%", u.At(r.HoldC), takes, float64(r.HoldDuty)*100, r.FileDuty*100)
}

func (r Report) relayPart() Part {
	p := Part{Name: "relay", Title: "Relay", Value: fmt.Sprint(r.Cycles), Of: "closures", Do: nothing}
	if r.Rated == 0 {
		p.Means = "Nothing moves in a solid-state relay, so closures do not wear it. It fails of heat, and then mostly stays on."
		p.Do = "Keep its heat sink clean and its cover cool."
		p.Blind = "When it will fail."
		return p
	}
	share := float64(r.Cycles) / float64(r.Rated)
	p.Of = fmt.Sprintf("of %d cycles, %.0f %%", r.Rated, 100*share)
	p.Means = "Every closure wears the contacts. Worn ones weld shut, and then no program takes the heat off."
	switch {
	case share >= 1:
		p.Do = "Have it replaced before the next firing, by a licensed electrician, power off."
	case share >= 0.8 || r.Relay != nil && r.Relay.From <= soon:
		p.Do = "Have a new one at hand, fitted by a licensed electrician, power off."
	}
	p.Blind = "Closures before calx." + counted(r.New.Relay, "relay", "a new one")
	return p
}

func (r Report) second(u Units) Part {
	p := Part{Name: "probes", Title: "Second thermocouple", Do: nothing}
	if len(r.Second.Points) == 0 {
		p.Blind = "Whether the thermocouple drifts: there is no second one in the chamber. Give one the role \"chamber 2\" in calx.yaml and they watch each other."
		return p
	}
	now := r.Second.Now
	p.Value = fmt.Sprintf("%+.1f %s", u.Apart(float64(now.Value)), u.Degree())
	p.Of = fmt.Sprintf("to the second ± %.1f", math.Max(u.Apart(2*float64(now.SE)), 0.1))
	p.change(r.Second, u.Apart(1), u.Degree())
	p.Means = fmt.Sprintf("Chamber less second thermocouple, above %s. A steady difference is two places in one chamber; one that grows is a probe that drifts.", u.At(hotC))
	p.Blind = "Which of the two drifts." + counted(r.New.Probe, "probe", "a new one")
	if r.Second.Told {
		p.Do = "Compare both with a fresh one in the same hole; change probes cold and switched off."
	}
	return p
}

func (r Report) quartz(u Units) Part {
	p := Part{Name: "quartz", Title: "Quartz inversion", Do: nothing}
	if len(r.Inversion.Points) == 0 {
		p.Blind = fmt.Sprintf("How true the thermocouple in the core is: in no firing did one (role \"witness\") show the inversion. It takes quartz in the investment, and a core that passes %s to %s.", u.At(coreFrom), u.At(coreTo))
		return p
	}
	now, off := r.Inversion.Now, float64(r.Inversion.Now.Value)-quartzC
	p.Value = u.At(float64(now.Value))
	p.Of = "as seen, true " + u.At(quartzC)
	p.change(r.Inversion, u.Apart(1), u.Degree())
	p.Means = "Where the core dwelt while its quartz inverted: a fixed point that checks the thermocouple in the core."
	const step = 2 // °C to which one firing shows it
	p.Blind = fmt.Sprintf("Anything finer than ± %.0f %s, and the thermocouple of the chamber.", u.Apart(2*step), u.Degree())
	if math.Abs(off) > 2*step {
		way := "high"
		if off < 0 {
			way = "low"
		}
		p.Do = fmt.Sprintf("It reads about %.0f %s too %s there: compare it with a fresh one.", math.Abs(u.Apart(off)), u.Degree(), way)
	}
	return p
}

// QuartzC is where quartz inverts, °C.
const QuartzC = quartzC

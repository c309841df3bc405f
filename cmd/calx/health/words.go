package health

import (
	"fmt"
	"math"
)

// Words are a report as a person reads it, the same in a terminal and on a
// page.
type Words struct {
	Over     string    // how many firings, from when to when
	Findings []Finding // what it comes to, the gravest first
	Parts    []Part    // always five: elements, heat loss, relay, second thermocouple, quartz
}

// Finding is one sentence of what it comes to.
type Finding struct {
	Text  string
	Grave bool // act on it before the next firing
}

// Part is one thing that wears, or that shows wear.
type Part struct {
	Name  string // a word for a margin
	Title string
	Value string // the figure of now; "" where nothing is known
	Of    string // what it is held against, and its doubt
	Each  string // the change from firing to firing; "" where there is nothing to change
	Sure  string // its interval; "" where no trend is told
	Means string
	Do    string
	Blind string // what cannot be told, and why
	Trend Trend  // without points: nothing to draw
}

// Cautions go with every page about wear.
func Cautions() []string {
	return []string{
		"Elements, relay and mains wiring are for a licensed electrician: power off, locked off, measured dead.",
		"Nothing here protects anybody. When a relay welds or a probe lies, the independent limit controller with its own contactor takes the heat off; let it cut the heat once a season.",
		"These are estimates. An interval is right in 95 of 100 cases, as long as nothing but wear has changed: not the mains, the load, the kiln file.",
	}
}

// Words words the report.
func (r Report) Words(u Units) Words {
	const day = "2 Jan 2006"
	return Words{
		Over:     fmt.Sprintf("%s, %s to %s", count(r.Firings, "firing"), r.From.Local().Format(day), r.To.Local().Format(day)),
		Findings: r.findings(u),
		Parts:    []Part{r.elements(u), r.heatLoss(u), r.relayPart(), r.second(u), r.quartz(u)},
	}
}

// Units are how a person reads temperatures.
type Units struct{ InF bool }

// Degree is the unit: °C or °F.
func (u Units) Degree() string {
	if u.InF {
		return "°F"
	}
	return "°C"
}

// Of is a temperature given in °C.
func (u Units) Of(c float64) float64 {
	if u.InF {
		return c*9/5 + 32
	}
	return c
}

// Apart is a difference of temperatures given in °C.
func (u Units) Apart(c float64) float64 {
	if u.InF {
		return c * 9 / 5
	}
	return c
}

// At words a temperature given in °C, without decimals.
func (u Units) At(c float64) string { return fmt.Sprintf("%.0f %s", u.Of(c), u.Degree()) }

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// findings say what it comes to.
func (r Report) findings(u Units) []Finding {
	out := []Finding{r.ofElements(u)}
	tell := func(grave bool, format string, args ...any) {
		f := Finding{fmt.Sprintf(format, args...), grave}
		if grave && !out[0].Grave {
			out = append([]Finding{f}, out...)
			return
		}
		out = append(out, f)
	}
	if l := r.Loss; l.Told && l.Each > 0 {
		tell(false, "The kiln loses more heat from firing to firing, %.2f %% each (%.2f to %.2f): look at the door seal.", 100*float64(l.Each), 100*float64(l.EachLo), 100*float64(l.EachHi))
	}
	if r.Rated > 0 && r.Relay != nil {
		if r.Relay.In == 0 {
			tell(true, "The relay has passed the cycles it is rated for: replace it before it welds.")
		} else {
			tell(false, "As it is fired now the relay reaches its rated cycles in about %s.", r.Relay)
		}
	}
	if r.Second.Told {
		tell(false, "The two thermocouples in the chamber drift apart: compare both with a fresh one.")
	}
	return out
}

func (r Report) ofElements(u Units) Finding {
	p := r.Power
	switch {
	case len(p.Points) < 3:
		return Finding{Text: "Nothing can be told of wear yet: " + few(p, u) + "."}
	case r.Reach != nil && r.Reach.In == 0:
		return Finding{fmt.Sprintf("The elements hardly hold %s any more, the hottest of the last firings: have them measured.", u.At(r.TopC)), true}
	}
	give := fmt.Sprintf("The elements give %s of what the kiln file says", percent(p.Now))
	switch {
	case r.Reach != nil:
		give = fmt.Sprintf("%s and lose %.2f %% a firing (%.2f to %.2f)", give, -100*float64(p.Each), -100*float64(p.EachHi), -100*float64(p.EachLo))
		if r.Reach.Beyond(r.Firings) {
			return Finding{Text: fmt.Sprintf("%s; at this rate they hold %s for more than %d firings yet, further than %d can foretell.", give, u.At(r.TopC), foresight*r.Firings, r.Firings)}
		}
		return Finding{Text: fmt.Sprintf("%s; at this rate %s is out of reach in about %s.", give, u.At(r.TopC), r.Reach)}
	case !p.Told:
		return Finding{Text: fmt.Sprintf("%s; no trend stands out from the scatter of %s.", give, count(len(p.Points), "firing"))}
	}
	return Finding{Text: give + "; no wear shows."}
}

// foresight is how many times their own number firings can foretell: a straight
// line is drawn no further.
const foresight = 3

// Beyond reports whether all of the forecast lies further ahead than so many
// firings can foretell.
func (f Forecast) Beyond(firings int) bool { return float64(f.From) > float64(foresight*firings) }

// few words why a trend needs more firings.
func few(t Trend, u Units) string {
	return fmt.Sprintf("it takes three firings from a cold kiln to above %s with a long hold, and there %s", u.At(300), isAre(len(t.Points)))
}

func isAre(n int) string {
	switch n {
	case 0:
		return "is none"
	case 1:
		return "is one"
	}
	return fmt.Sprintf("are %d", n)
}

func percent(e Estimate) string { return fmt.Sprintf("%.0f %%", float64(e.Value)*100) }

// String words a number of firings with its interval.
func (f Forecast) String() string {
	if math.IsInf(float64(f.To), 0) || f.To > 5*f.In+50 {
		return fmt.Sprintf("%s (%.0f or more)", count(int(f.In), "firing"), float64(f.From))
	}
	return fmt.Sprintf("%s (%.0f to %.0f)", count(int(f.In), "firing"), float64(f.From), float64(f.To))
}

// change words the change of a trend from firing to firing.
func (p *Part) change(t Trend, scale float64, unit string) {
	p.Trend = t
	switch {
	case len(t.Points) == 0:
	case !t.Told:
		p.Each = "no trend told"
	default:
		p.Each = fmt.Sprintf("%+.2f %s a firing", float64(t.Each)*scale, unit)
		p.Sure = fmt.Sprintf("%+.2f to %+.2f", float64(t.EachLo)*scale, float64(t.EachHi)*scale)
	}
}

// ratio words a ratio as per cent with the doubt of 95 %, two standard errors.
func (p *Part) ratio(t Trend) {
	p.change(t, 100, "%")
	if e := t.Now; e.Value.Known() {
		p.Value, p.Of = percent(e), fmt.Sprintf("of the kiln file ± %.0f", math.Max(2*100*float64(e.SE), 1))
	}
}

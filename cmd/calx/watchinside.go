package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"calx/cmd/calx/chart"
	"calx/cmd/calx/station"
	"calx/profile"
)

// The inside takes a line for each of the first kinds of mould; what the chance
// rests on has one where the view is high enough.
const (
	mostMouldLines = 3
	evidenceHeight = 20
)

// Shares from which a mould is dry and a piece clear, as package mould has
// them, and from which burning is worth a word.
const (
	dryShare   = 0.001
	clearShare = 0.995
	begunShare = 0.005
)

// inside are the moulds: what the model makes of them now and when they will be
// clear.
func (s *scene) inside() []string {
	in := s.st.Inside
	if in == nil || s.st.Firing == nil {
		return nil
	}
	var out []string
	for i, f := range in.Flasks {
		if i == mostMouldLines && len(in.Flasks) > mostMouldLines {
			out = append(out, s.row().to(planColumn).put(faint, fmt.Sprintf("and %d more", len(in.Flasks)-i)).String())
			break
		}
		name := "inside"
		if len(in.Flasks) > 1 {
			name = f.Name
		}
		out = append(out, s.named(name, "", "core "+wholeTemperature(f.CoreC, s.inF), ", "+s.wetness(f, i == 0)+burning(f))...)
	}
	out = append(out, s.named("clear", bold, share(in.Chance)+" likely", s.outlook(in))...)
	if s.height >= evidenceHeight {
		out = append(out, s.named("", faint, "on "+in.Evidence, "")...)
	}
	return out
}

// named is a line under a name: a text in a colour, and more. What does not fit
// goes on in the next line, without the colour.
func (s *scene) named(name, sgr, text, more string) []string {
	r := s.row().put(faint, fit(printable(name), planColumn-1)).to(planColumn)
	if planColumn+cells(text)+cells(more) <= r.width {
		return []string{r.put(sgr, text).put("", more).String()}
	}
	out := s.wrapped("", strings.Repeat(" ", planColumn), text+more)
	out[0] = r.put("", strings.TrimLeft(out[0], " ")).String()
	return out
}

// wetness words the free water left, and when it will be gone.
func (s *scene) wetness(f station.Flask, first bool) string {
	if f.WaterLeft < dryShare {
		return "dry"
	}
	text := share(f.WaterLeft) + " of the water left"
	if d := s.st.Inside.DryS; first && d != nil && *d > s.st.Firing.SinceS {
		text += ", dry about " + s.clock(*d)
	}
	return text
}

// burning words how far the pieces are.
func burning(f station.Flask) string {
	switch {
	case f.Clear > clearShare:
		return ", clear by the model"
	case f.Clear < begunShare && f.WaterLeft >= dryShare:
		return "" // as is to be expected
	case f.Clear < begunShare:
		return ", nothing burnt yet"
	}
	return ", " + share(f.Clear) + " burnt"
}

// outlook is when the moulds will be as clear as is wanted.
func (s *scene) outlook(in *station.Inside) string {
	if in.Chance >= in.Want {
		return ""
	}
	want := fmt.Sprintf("%.0f %%", in.Want*100)
	switch {
	case in.WantAtS != nil:
		want = ", " + want + " about " + s.clock(*in.WantAtS)
	case in.ForeseenS != nil:
		want = ", " + want + " not within this profile"
	default:
		return ""
	}
	if c := in.ClearS; c != nil && *c > s.st.Firing.SinceS {
		want += "; by the model alone " + s.clock(*c)
	}
	return want
}

// clock is the wall clock at a time of the firing.
func (s *scene) clock(sinceS float64) string {
	return s.st.Wall.Add(seconds(sinceS - s.st.Firing.SinceS)).Local().Format("Mon 15:04")
}

// foreseen is how long the present hold still lasts when it waits for something
// that has been predicted.
func foreseen(st station.Status, step profile.Step) (time.Duration, bool) {
	in := st.Inside
	if in == nil || step.Kind != profile.Hold {
		return 0, false
	}
	var at *float64
	switch {
	case step.Until == profile.UntilDry:
		at = in.DryS
	case step.Until == profile.UntilClear && step.Clear == in.Want:
		at = in.WantAtS
	}
	if at == nil {
		return 0, false
	}
	held, left := seconds(st.Firing.HeldS), seconds(*at-st.Firing.SinceS)
	return min(max(left, step.AtLeast-held, 0), max(step.AtMost-held, 0)), true
}

// seeInside adds the cores to the curve; the rest is told in words.
func (p *past) seeInside(since time.Duration, in *station.Inside) {
	if in == nil {
		return
	}
	if p.curve.Extra == nil {
		for _, f := range in.Flasks {
			name := "core"
			if len(in.Flasks) > 1 {
				name += " " + f.Name
			}
			p.curve.Extra = append(p.curve.Extra, chart.Series{Name: name})
		}
	}
	for i, f := range in.Flasks {
		if i >= len(p.curve.Extra) {
			return
		}
		x := &p.curve.Extra[i]
		if n := len(x.Samples); n == 0 || since-x.Samples[n-1].Since >= insideEvery {
			x.Samples = append(x.Samples, chart.Sample{Since: since, Value: f.CoreC})
		}
	}
}

// cores are the curves in °C of those of the inside.
func cores(all []chart.Series) (out []chart.Series) {
	for _, x := range all {
		if !x.Fraction {
			out = append(out, x)
		}
	}
	return out
}

// insideWords is the inside in a few words, "" without any: the least of the
// cores and the chance.
func insideWords(in *station.Inside, fahrenheit bool) string {
	if in == nil || len(in.Flasks) == 0 {
		return ""
	}
	coreC, wet := math.Inf(1), 0.0
	for _, f := range in.Flasks {
		coreC, wet = min(coreC, f.CoreC), max(wet, f.WaterLeft)
	}
	words := []string{"core " + wholeTemperature(coreC, fahrenheit)}
	if wet >= dryShare {
		words = append(words, "water "+share(wet))
	}
	if in.Chance >= begunShare {
		words = append(words, "clear "+share(in.Chance))
	}
	return strings.Join(words, "  ")
}

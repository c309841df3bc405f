package main

import (
	"fmt"
	"strings"
	"time"

	"calx/controller/tidings"
	"calx/profile"
)

// gypsumC is above which gypsum-bonded investment breaks down where char is
// left, °C: common practice, no source; calcium sulphate with carbon gives off
// sulphur dioxide from about 700 °C.
const gypsumC = 750.0

// fire judges the profile and the moulds of the firing.
func (b *before) fire() (out []looked) {
	f := b.profile
	for _, e := range f.Errors {
		out = append(out, looked{"profile", fails, e.sentence(f.File), "change the profile"})
	}
	for _, p := range f.Problems {
		out = append(out, looked{"profile", warns, p.where() + p.Text, ""})
	}
	if f.Profile == nil {
		return out
	}
	if len(out) == 0 {
		out = append(out, looked{"profile", passes, fmt.Sprintf("%s: %s, up to %s", f.File, hours(b.lasts()), wholeTemperature(f.Profile.PeakC, b.fahrenheit)), ""})
	}
	return append(out, b.ceiling(), b.ending())
}

// lasts is how long the firing takes with this kiln, else as written.
func (b *before) lasts() time.Duration {
	if s := b.profile.Profile.ExpectedS; s != nil {
		return seconds(*s)
	}
	return seconds(b.profile.Profile.TotalS)
}

// ceiling holds the highest temperature that calx would allow against what the
// mould bears.
func (b *before) ceiling() looked {
	p := b.profile.Profile
	t := func(c float64) string { return wholeTemperature(c, b.fahrenheit) }
	most, words := p.PeakC, fmt.Sprintf("the profile goes to %s and names no ceiling", t(p.PeakC))
	if p.CeilingC != nil {
		most, words = *p.CeilingC, "never above "+t(*p.CeilingC)
	}
	gypsum := len(b.moulds) == 0 // nobody said: as a rule it is
	for _, m := range b.moulds {
		gypsum = gypsum || m.Investment.Binder == nil || *m.Investment.Binder > 0
	}
	switch {
	case gypsum && most > gypsumC && len(b.moulds) > 0:
		return looked{"ceiling", fails, fmt.Sprintf("%s: gypsum-bonded investment breaks down above %s where char is left", words, t(gypsumC)), "lower the ceiling and the top hold"}
	case gypsum && most > gypsumC:
		return looked{"ceiling", warns, fmt.Sprintf("%s: too hot for gypsum-bonded investment, which breaks down above %s; nobody said what is fired", words, t(gypsumC)), "name the mould with --mould, or lower it"}
	case p.CeilingC == nil:
		return looked{"ceiling", warns, words, fmt.Sprintf("begin it with: never above %.0f C", min(most+15, gypsumC))}
	}
	return looked{"ceiling", passes, words + ", which the investment bears", ""}
}

// ending says when somebody must be there: at the pour, else at the end.
func (b *before) ending() looked {
	p := b.profile.Profile
	if p.Stuck {
		return looked{"end", fails, "the kiln never finishes this profile", "change the profile"}
	}
	d, what := b.lasts(), "it ends"
	if i := tidings.PourStep(p.prof); i >= 0 {
		d, what = expectedFrom(p.plan, i, p.ExpectedS != nil), "it can be poured"
	}
	at := p.Start.Add(d)
	words := fmt.Sprintf("%s about %s, begun %s", what, at.Format("Mon 15:04"), p.Start.Format("Mon 15:04"))
	if !b.quiet(at) {
		return looked{"end", passes, words, ""}
	}
	later := time.Duration(0)
	for later < 24*time.Hour && b.quiet(at.Add(later)) {
		later += 5 * time.Minute
	}
	return looked{"end", warns, words + ", when people sleep", fmt.Sprintf("begin it %s later, about %s", hours(later), p.Start.Add(later).Format("Mon 15:04"))}
}

// expectedFrom is when step i begins, with the kiln's limits or as written.
func expectedFrom(t *profile.Timeline, i int, byKiln bool) time.Duration {
	for _, s := range t.Segments {
		if s.Step == i && byKiln {
			return s.ExpectedFrom
		} else if s.Step == i {
			return s.From
		}
	}
	return t.Total
}

// bytesWord words a number of bytes.
func bytesWord(n uint64) string {
	switch {
	case n >= 10<<30:
		return fmt.Sprintf("%d GB", n>>30)
	case n >= 10<<20:
		return fmt.Sprintf("%d MB", n>>20)
	}
	return fmt.Sprintf("%d KB", n>>10)
}

// countOf words a number of things: 1 firing, 12 firings.
func countOf(n float64, thing string) string {
	const many = 100
	switch {
	case n >= many:
		return fmt.Sprintf("more than %d %ss", many, thing)
	case int(n) == 1:
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", int(n), thing)
}

func firstLineOf(s string) string {
	line, _, _ := strings.Cut(s, "\n")
	return line
}

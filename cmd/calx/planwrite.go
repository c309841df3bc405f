package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"calx/profile"
)

// planHead begins every profile that plan writes; only such a file is written
// over.
const planHead = "# Planned by calx"

// file is where this plan goes when the first one goes to name.
func (p *planned) file(name string) string {
	if !p.wash {
		return name
	}
	ext := filepath.Ext(name)
	return strings.TrimSuffix(name, ext) + "-wash-out" + ext
}

// text is the profile with its reasons as comments.
func (p *planned) text() string {
	var b strings.Builder
	comment := func(s string) {
		const width = 78
		for _, l := range strings.Split(wrapUnits(s, width, 2), "\n") {
			fmt.Fprintf(&b, "# %s\n", strings.TrimSpace(l))
		}
	}
	fmt.Fprintf(&b, "%s for %s on kiln %s%s.\n", planHead, p.title, p.in.Kiln.Name, p.which)
	comment(p.summary())
	if p.wash {
		comment(strings.ToUpper(noteByClock[:1]) + noteByClock[1:] + ".")
	} else {
		comment("The holds end on the model run beside the kiln: fire with the same moulds.")
	}
	// The sentences come from Profile.String, so that they read back exactly.
	steps := 0
	for _, l := range strings.Split(strings.TrimSpace(p.Profile.String()), "\n") {
		b.WriteString("\n")
		if !strings.HasPrefix(l, "never above") && steps < len(p.Reasons) {
			r := p.Reasons[steps]
			comment("at " + hoursMinutes(r.From.Seconds()) + ", " + r.Text)
			steps++
		}
		b.WriteString(l + "\n")
	}
	return b.String()
}

// summary is the plan in one paragraph.
func (p *planned) summary() string {
	s := hours(p.Total)
	if !p.Start.IsZero() {
		s += fmt.Sprintf(": started %s it is ready %s", day(p.Start), day(p.Ready))
	}
	if p.ClearBy > 0 {
		s += fmt.Sprintf(". Clear %s after the start, %.0f %% sure between %s and %s", hours(p.ClearAt.Median), p.ClearAt.Level*100, hours(p.ClearAt.Low), hours(p.ClearAt.High))
	}
	return s + ". About " + kWh(p.EnergyKWh) + "."
}

// writePlanned writes a profile whole or not at all, and over nothing but an
// earlier plan.
func writePlanned(name, text string) error {
	if _, err := profile.Parse(text); err != nil {
		panic("BUG: a planned profile does not read back: " + err.Error())
	}
	old, err := os.ReadFile(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return err
	case !bytes.HasPrefix(old, []byte(planHead)):
		return fmt.Errorf("%s is there already and was not written by calx plan, so it stays as it is; name another file with --out", name)
	}
	part, err := os.CreateTemp(filepath.Dir(name), filepath.Base(name)+".*")
	if err != nil {
		return err
	}
	_, err = part.WriteString(text)
	const mode = 0o644
	err = errors.Join(err, part.Chmod(mode), part.Sync(), part.Close())
	if err == nil {
		err = os.Rename(part.Name(), name)
	}
	if err != nil {
		return errors.Join(err, os.Remove(part.Name()))
	}
	return nil
}

// next says what to type now.
func (c *planCmd) next(v planView, plans []*planned) {
	v.written(c, plans)
	v.heading("next")
	out := c.Out
	if out == "" {
		out = "seeds.txt"
		v.printf("  calx %s --out %s\n", strings.Join(quoted(os.Args[1:]), " "), out)
	}
	kiln := ""
	if c.Kiln != "" {
		kiln = " --kiln " + quotedWord(c.Kiln)
	}
	asked := ""
	if c.Data != "" {
		asked = " --data " + quotedWord(c.Data)
	}
	if c.NoPieces {
		asked += " --no-pieces"
	}
	for _, p := range plans {
		file, moulds := quotedWord(p.file(out)), ""
		for _, m := range quoted(c.Moulds) {
			if !p.wash {
				moulds += " --mould " + m
			}
		}
		v.printf("  calx check %s%s%s%s\n", file, kiln, moulds, asked)
		v.printf("  calx fire %s%s", file, moulds)
		if !p.Start.IsZero() {
			v.printf("   %s", v.paint(faint, "# "+clockOf(p.Start, 0)))
		}
		v.printf("\n")
	}
}

// written says which files there are now.
func (v planView) written(c *planCmd, plans []*planned) {
	if c.Out+c.PNG+c.SVG == "" {
		return
	}
	v.heading("written")
	for _, p := range plans {
		for _, f := range []struct{ file, what string }{{c.Out, "the profile"}, {c.PNG, "the plan, drawn"}, {c.SVG, "the plan, drawn"}} {
			if f.file != "" {
				v.printf("  %s  %s\n", p.file(f.file), v.paint(faint, f.what))
			}
		}
	}
}

func quoted(words []string) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = quotedWord(w)
	}
	return out
}

// quotedWord is a word as a shell takes it.
func quotedWord(s string) string {
	plain := func(r rune) bool {
		return r == '-' || r == '_' || r == '.' || r == '/' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z'
	}
	if s != "" && strings.IndexFunc(s, func(r rune) bool { return !plain(r) }) < 0 {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}

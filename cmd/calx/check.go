package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"calx/cmd/calx/inside"
	"calx/profile"
	"calx/sim/quantity"
)

type checkCmd struct {
	Files []string `arg:"" optional:"" name:"file" help:"Profiles, kilns, moulds or configurations, or names of shipped ones; otherwise calx.yaml."`
	Kiln  string   `help:"Judge profiles by this kiln file or shipped kiln; otherwise by the one calx.yaml names." placeholder:"FILE"`
	Mould []string `help:"Follow these moulds through the profiles: mould file, or the name of a shipped mould; once for each kind." sep:"none" placeholder:"FILE"`
	preflightFlags
	Start string `help:"When the firing would start, 24-hour clock; otherwise now." placeholder:"HH:MM"`
	piecesFlags
	jsonFlag
	unitsFlag
}

// checkResult is the object that --json writes: one entry a file, in order.
type checkResult struct {
	OK    bool          `json:"ok"` // no file has errors
	Files []checkedFile `json:"files"`
}

// checkedFile is what was found about one file. Errors keep calx from using
// it; problems are what is impossible or surely not meant; notes are what had
// to be assumed. Exactly one of the last four is set when there are no
// errors.
type checkedFile struct {
	File     string          `json:"file"`
	Kind     fileKind        `json:"kind"` // "profile", "kiln", "mould", "configuration"; "" when it could not be read
	OK       bool            `json:"ok"`
	Errors   []finding       `json:"errors"`
	Problems []finding       `json:"problems"`
	Notes    []finding       `json:"notes"`
	Profile  *checkedProfile `json:"profile,omitempty"`
	Kiln     *checkedKiln    `json:"kiln,omitempty"`
	Mould    *checkedMould   `json:"mould,omitempty"`
	Config   *checkedConfig  `json:"configuration,omitempty"`
}

// finding is one thing worth saying about a file.
type finding struct {
	Line   int    `json:"line"`   // from 1; 0 when it is about no line
	Column int    `json:"column"` // from 1; 0 when unknown
	Step   int    `json:"step"`   // of a profile, from 1; 0 when it is about no step
	Text   string `json:"text"`
}

// checking is what files are judged by.
type checking struct {
	kiln   *oven // nil: a kiln without limits
	moulds []inside.File
	pulls  inside.Pulls // test pieces, asked about the moulds
	start  time.Time
	units  unitsFlag
}

func (c *checkCmd) Run(e *env) error {
	by := checking{units: c.unitsFlag}
	var err error
	if by.start, err = startTime(c.Start, time.Now()); err != nil {
		return usageError{err}
	}
	files := c.Files
	if (c.Relay || c.Tell) && !c.BeforeFiring {
		return usageError{errors.New("--relay and --tell go with --before-firing")}
	}
	if len(files) == 0 && !c.BeforeFiring {
		f := c.find()
		if f == "" {
			return usageError{errors.New("nothing to check: there is no calx.yaml here; name a profile, a kiln or a configuration")}
		}
		files = []string{f}
	}
	if by.kiln, err = c.judge(); err != nil {
		return err
	}
	if by.moulds, err = loadMoulds(c.Mould); err != nil {
		return err
	}
	if len(by.moulds) > 0 && by.kiln == nil {
		return usageError{errors.New("--mould needs a kiln, whose air the pieces burn with; name one with --kiln")}
	}
	if len(by.moulds) > 0 {
		if by.pulls, err = c.known(e); err != nil {
			return err
		}
	}
	if c.BeforeFiring {
		return c.beforeFiring(e, by)
	}
	res := checkResult{OK: true}
	for i, name := range files {
		f := by.check(name)
		res.Files = append(res.Files, f)
		res.OK = res.OK && f.OK
		if !c.JSON {
			if i > 0 {
				e.printf("\n")
			}
			if err := by.print(e, f); err != nil {
				return err
			}
		}
	}
	if c.JSON {
		if err := e.writeJSON(res); err != nil {
			return err
		}
	}
	return res.verdict()
}

// judge is the kiln that profiles are held against. A configuration that is
// itself unfit only costs the kiln: its own check says why.
func (c *checkCmd) judge() (*oven, error) {
	if c.Kiln != "" {
		return openOven(c.Kiln)
	}
	conf, err := c.load()
	if err != nil && c.Config != "" {
		return nil, err
	}
	if conf == nil {
		return nil, nil
	}
	k, _ := configuredOven(conf)
	return k, nil
}

// startTime is today's hh:mm in local time, or now.
func startTime(s string, now time.Time) (time.Time, error) {
	if s == "" {
		return now.Truncate(time.Minute), nil
	}
	t, err := time.Parse("15:04", s)
	if err != nil {
		return t, fmt.Errorf("--start is %q; it must be a time of day such as 18:30", s)
	}
	return time.Date(now.Year(), now.Month(), now.Day(), t.Hour(), t.Minute(), 0, 0, now.Location()), nil
}

// verdict is the error behind exit code 1.
func (r checkResult) verdict() error {
	var bad []string
	for _, f := range r.Files {
		if !f.OK {
			bad = append(bad, f.File)
		}
	}
	if len(bad) == 0 {
		return nil
	}
	return fmt.Errorf("%s cannot be used as it stands", strings.Join(bad, ", "))
}

// check reads one file and finds out about it.
func (by checking) check(name string) checkedFile {
	f := checkedFile{File: name, Errors: []finding{}, Problems: []finding{}, Notes: []finding{}}
	text, kind, err := readAny(name)
	f.Kind = kind
	if err == nil {
		switch kind {
		case profileKind:
			err = by.profile(&f, text)
		case kilnKind:
			err = checkKiln(&f, by.units.fahrenheit(false))
		case mouldKind:
			err = by.mould(&f, text)
		case configKind:
			err = checkConfig(&f, text)
		}
	}
	f.Errors = append(f.Errors, findings(err)...)
	f.OK = len(f.Errors) == 0
	return f
}

// findings takes an error apart into what it says about places.
func findings(err error) []finding {
	var inProfile profile.Errors
	var inYAML quantity.Errors
	var out []finding
	switch {
	case err == nil:
	case errors.As(err, &inProfile):
		for _, e := range inProfile {
			out = append(out, finding{e.Line, e.Col, e.Step, bare(e)})
		}
	case errors.As(err, &inYAML):
		for _, e := range inYAML {
			out = append(out, finding{Line: e.Line, Column: e.Column, Text: e.Text})
		}
	default:
		out = append(out, finding{Text: err.Error()})
	}
	return out
}

// place is where a finding is, as tools and people read it.
func (f finding) place(file string) string {
	switch {
	case f.Line > 0 && f.Column > 0:
		return fmt.Sprintf("%s:%d:%d", file, f.Line, f.Column)
	case f.Line > 0:
		return fmt.Sprintf("%s:%d", file, f.Line)
	}
	return file
}

// print shows one file: what it is, what is wrong, what it would do.
func (by checking) print(e *env, f checkedFile) error {
	for _, x := range f.Errors {
		e.printf("%s %s\n", e.paint(red, "error:"), x.sentence(f.File))
	}
	switch {
	case f.Profile != nil:
		return by.printProfile(e, f)
	case f.Kiln != nil:
		printKiln(e, f, by.units.fahrenheit(false))
	case f.Mould != nil:
		printMould(e, f)
	case f.Config != nil:
		printConfig(e, f)
	}
	return nil
}

// sentence is the finding with its place, unless its text names the file.
func (f finding) sentence(file string) string {
	if f.Line == 0 && strings.Contains(f.Text, file) {
		return f.Text
	}
	return f.place(file) + ": " + f.Text
}

// printFindings lists problems and notes, each under a word that says which.
func printFindings(e *env, f checkedFile) {
	if len(f.Problems)+len(f.Notes) > 0 {
		e.printf("\n")
	}
	for _, x := range f.Problems {
		e.printf("%s %s\n", e.paint(yellow, "warning:"), wrap(x.where()+x.Text, e.width, 9))
	}
	for _, x := range f.Notes {
		e.printf("%s %s\n", e.paint(faint, "   note:"), wrap(x.where()+x.Text, e.width, 9))
	}
}

func (f finding) where() string {
	switch {
	case f.Line > 0:
		return fmt.Sprintf("line %d: ", f.Line)
	case f.Step > 0:
		return fmt.Sprintf("step %d: ", f.Step)
	}
	return ""
}

package main

import (
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"

	"calx/cmd/calx/config"
	"calx/profile"
	"calx/sim/kiln"
	"calx/sim/mould"
)

// fileKind is what a file that a person wrote is about.
type fileKind string

const (
	profileKind fileKind = "profile"
	kilnKind    fileKind = "kiln"
	mouldKind   fileKind = "mould"
	configKind  fileKind = "configuration"
)

var (
	yamlLine   = regexp.MustCompile(`(?m)^[a-z_]+:(\s|$)`)
	configLine = regexp.MustCompile(`(?m)^(channels|heater|listen|data):`)
	mouldLine  = regexp.MustCompile(`(?m)^(flask|sprue|patterns|investment):`)
)

// kindOf tells what a file is: YAML with channels or a heater is a
// configuration, with a flask a mould, other YAML is a kiln, all else is a
// profile.
func kindOf(name, text string) fileKind {
	lower := strings.ToLower(name)
	yaml := strings.HasSuffix(lower, ".yaml") || strings.HasSuffix(lower, ".yml")
	known := strings.HasSuffix(lower, ".txt") || strings.HasSuffix(lower, ".json")
	switch {
	case !yaml && (known || !yamlLine.MatchString(text)):
		return profileKind
	case configLine.MatchString(text):
		return configKind
	case mouldLine.MatchString(text):
		return mouldKind
	}
	return kilnKind
}

// readAny reads a file, or what ships with calx under that name.
func readAny(name string) (text string, kind fileKind, err error) {
	data, err := os.ReadFile(name)
	if err == nil {
		return string(data), kindOf(name, string(data)), nil
	}
	if !errors.Is(err, os.ErrNotExist) {
		return "", "", err
	}
	if text, err := profile.ShippedText(name); err == nil {
		return text, profileKind, nil
	}
	if data, err := kiln.ShippedFile(name); err == nil {
		return string(data), kilnKind, nil
	}
	if data, err := mould.ShippedFile(name); err == nil {
		return string(data), mouldKind, nil
	}
	return "", "", fmt.Errorf("%s: there is no such file, and nothing of that name comes with calx\n  profiles: %s\n  kilns:    %s\n  moulds:   %s", name, strings.Join(profile.Shipped(), ", "), strings.Join(kiln.Shipped(), ", "), strings.Join(mould.Shipped(), ", "))
}

// written is a profile as a file holds it.
type written struct {
	prof      *profile.Profile
	sentences string // what calx fires
}

// readProfile reads a profile file, or a shipped profile by its name.
func readProfile(name string) (written, error) {
	text, kind, err := readAny(name)
	if err != nil {
		return written{}, err
	}
	if kind != profileKind {
		return written{}, fmt.Errorf("%s is a %s; a profile is needed", name, kind)
	}
	return parseProfile(name, text)
}

// parseProfile reads either form of a profile. Errors name file, line and
// column, one a line.
func parseProfile(name, text string) (written, error) {
	if strings.HasPrefix(strings.TrimSpace(text), "{") {
		p := new(profile.Profile)
		if err := p.UnmarshalJSON([]byte(text)); err != nil {
			return written{}, placed(name, err)
		}
		return written{p, p.String()}, nil
	}
	p, err := profile.Parse(text)
	if err != nil {
		return written{}, placed(name, err)
	}
	return written{p, text}, nil
}

// placedErrors are the errors of a profile file: "pods.txt:4:9: read …".
type placedErrors struct {
	file string
	errs profile.Errors
}

// placed puts the name of the file before what is wrong in it.
func placed(file string, err error) error {
	var errs profile.Errors
	if errors.As(err, &errs) {
		return &placedErrors{file, errs}
	}
	return fmt.Errorf("%s: %w", file, err)
}

func (p *placedErrors) Error() string {
	lines := make([]string, len(p.errs))
	for i, e := range p.errs {
		at := p.file
		if e.Line > 0 {
			at = fmt.Sprintf("%s:%d", at, e.Line)
			if e.Col > 0 {
				at = fmt.Sprintf("%s:%d", at, e.Col)
			}
		}
		lines[i] = at + ": " + bare(e)
	}
	return strings.Join(lines, "\n")
}

func (p *placedErrors) Unwrap() error { return p.errs }

// bare is what an error says without its line, which the prefix of the file
// already names.
func bare(e *profile.Error) string {
	b := *e
	if b.Line > 0 {
		b.Line, b.Step = 0, 0
	}
	return b.Error()
}

// oven is a kiln file and what the kiln can do.
type oven struct {
	name string // file, or name of a shipped kiln
	p    kiln.Params
	env  kiln.Envelope
}

// roomC is the room that files are judged in, °C.
const roomC = 20

// openOven reads a kiln file, or a shipped kiln by its name.
func openOven(name string) (*oven, error) {
	_, p, err := loadKiln(name)
	if err != nil {
		return nil, err
	}
	return &oven{name, p, p.Envelope(roomC)}, nil
}

// configuredOven is the kiln that a configuration names.
func configuredOven(c *config.Config) (*oven, error) {
	if file := c.Path(c.Kiln); exists(file) {
		return openOven(file)
	}
	return openOven(c.Kiln)
}

func exists(file string) bool {
	_, err := os.Stat(file)
	return err == nil
}

// outlook adds to o what is known of the kiln.
func (k *oven) outlook(o profile.Outlook) profile.Outlook {
	o.MaxC, o.FullRateCPerH, o.CoolRateCPerH = k.p.MaxC(), k.env.FullPowerRate, k.env.CoolRate
	return o
}

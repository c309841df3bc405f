package config

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"calx/controller/tidings"
	"calx/sim/quantity"
)

// Secret is text that is never shown: the address of a destination as a rule
// holds a password or a token. Every way of writing it gives Hidden; Reveal
// gives the text.
type Secret struct{ text string }

// Hidden is what stands where a Secret would be shown.
const Hidden = "(hidden)"

// Reveal is the text itself, for whoever has to use it.
func (s Secret) Reveal() string { return s.text }

func (s Secret) String() string { return s.shown() }

// GoString hides it from %#v.
func (s Secret) GoString() string { return s.shown() }

func (s Secret) shown() string {
	if s.text == "" {
		return ""
	}
	return Hidden
}

// MarshalText hides it from JSON, with which a firing keeps its configuration.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.shown()), nil }

// UnmarshalText takes the text.
func (s *Secret) UnmarshalText(b []byte) error {
	s.text = strings.TrimSpace(string(b))
	return nil
}

// Destination is one entry of tell: where messages go, which, and when.
type Destination struct {
	Name    string            `yaml:"name"`               // for lists and tests: "phone"
	URL     Secret            `yaml:"url,omitempty"`      // address, or url_file
	URLFile string            `yaml:"url_file,omitempty"` // file whose first line is the address
	From    string            `yaml:"from,omitempty"`     // least severity: info, warn or alarm; optional, default info
	Kinds   []string          `yaml:"kinds,omitempty"`    // kinds of message; optional, default all
	Quiet   string            `yaml:"quiet,omitempty"`    // "22:00 to 07:00", local time; optional, default none
	Passes  string            `yaml:"passes,omitempty"`   // what quiet hours let through: alarm, person or nothing; optional, default alarm
	Repeat  quantity.Duration `yaml:"repeat,omitempty"`   // an alarm again, until somebody acknowledges it; optional, default 10 min
	Most    int               `yaml:"most,omitempty"`     // times an alarm is told at most, 1 to 100; optional, default 6
}

// Limits of repeating.
const (
	defaultRepeat = 10 * time.Minute
	leastRepeat   = time.Minute
	defaultMost   = 6
	mostMost      = 100
)

// Rule is what of d the pure part needs. d has been checked.
func (d Destination) Rule() tidings.Rule {
	r := tidings.Rule{From: severityOf(d.From), Passes: tidings.Passes(d.Passes), Repeat: quantity.Std(d.Repeat), Most: d.Most}
	for _, k := range d.Kinds {
		r.Kinds = append(r.Kinds, tidings.Kind(k))
	}
	if d.Quiet != "" {
		r.Quiet, _ = tidings.ParseQuiet(d.Quiet) // Check has read it
	}
	if r.Passes == "" {
		r.Passes = tidings.PassAlarm
	}
	if r.Repeat == 0 {
		r.Repeat = defaultRepeat
	}
	if r.Most == 0 {
		r.Most = defaultMost
	}
	return r
}

// Address is where d is, from the file or the configuration. Errors never
// hold it.
func (c *Config) Address(d Destination) (string, error) {
	if d.URLFile == "" {
		return d.URL.Reveal(), nil
	}
	b, err := os.ReadFile(c.Path(d.URLFile))
	if err != nil {
		return "", fmt.Errorf("url_file of %s: %w", d.Name, err)
	}
	for line := range strings.Lines(string(b)) {
		if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "#") {
			return line, nil
		}
	}
	return "", fmt.Errorf("url_file of %s: %s holds no address; write one line such as smtp://…", d.Name, c.Path(d.URLFile))
}

var severityNames = []string{"info", "warn", "alarm"}

func severityOf(name string) uint8 {
	if i := slices.Index(severityNames, name); i >= 0 {
		return uint8(i)
	}
	return 0
}

// checkTell finds what is wrong under tell. It never shows an address.
func (c *Config) checkTell(bad func(path, format string, a ...any)) {
	names := map[string]bool{}
	for i, d := range c.Tell {
		at := fmt.Sprintf("tell[%d].", i)
		switch {
		case d.Name == "":
			bad(at+"name", "no name given; write one to know it by, for example phone")
		case names[d.Name]:
			bad(at+"name", "%q is used twice; each destination has a name of its own", d.Name)
		}
		names[d.Name] = true
		switch {
		case d.URL.text == "" && d.URLFile == "":
			bad(at+"url", "no address given; write url, or url_file with the name of a file that holds it")
		case d.URL.text != "" && d.URLFile != "":
			bad(at+"url_file", "there is an address in url already; keep one of the two")
		case d.URL.text != "" && !strings.Contains(d.URL.text, "://"):
			bad(at+"url", "this is no address; it begins with the name of a service and ://, for example smtp://")
		}
		one := func(field, got string, want ...string) {
			if got != "" && !slices.Contains(want, got) {
				bad(at+field, "read %q; it must be one of %s", got, strings.Join(want, ", "))
			}
		}
		one("from", d.From, severityNames...)
		one("passes", d.Passes, string(tidings.PassAlarm), string(tidings.PassPerson), string(tidings.PassNothing))
		for j, k := range d.Kinds {
			one(fmt.Sprintf("kinds[%d]", j), k, tidings.KindNames()...)
		}
		if _, err := tidings.ParseQuiet(d.Quiet); d.Quiet != "" && err != nil {
			bad(at+"quiet", "%v", err)
		}
		if r := quantity.Std(d.Repeat); r != 0 && (r < leastRepeat || r > 24*time.Hour) {
			bad(at+"repeat", "read %v; it must be from 1 min to 24 h", d.Repeat)
		}
		if d.Most < 0 || d.Most > mostMost {
			bad(at+"most", "read %d; it must be from 1 to %d", d.Most, mostMost)
		}
	}
}

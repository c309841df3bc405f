// Package config reads calx.yaml, the one file that tells calx which board it
// runs on: probes, heat relay, kiln, folder of the log, address of the page.
// Every value carries its unit; every problem names its place in the file.
package config

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"calx/controller/relay"
	"calx/controller/resume"
	"calx/sensor/thermocouple"
	"calx/sim/quantity"
)

// Config is calx.yaml. Fields marked optional may be left out.
type Config struct {
	Data         string            `yaml:"data,omitempty"`            // folder of the log; optional, default "calx-data"
	Listen       string            `yaml:"listen,omitempty"`          // host:port of API and metrics; optional, default 127.0.0.1:8418
	Units        string            `yaml:"units,omitempty"`           // "C" or "F", how temperatures are shown; optional
	Kiln         string            `yaml:"kiln"`                      // kiln file beside this one, or the name of a shipped kiln
	Period       quantity.Duration `yaml:"period,omitempty"`          // between readings, 250 ms to 1 s; optional, default 1 s
	AfterCut     string            `yaml:"after_power_cut,omitempty"` // what a firing does that was not told: a word of resume.Names; optional, default go-on-if-short
	ResumeWithin quantity.Duration `yaml:"resume_within,omitempty"`   // longest interruption after which a firing goes on by itself; optional, default any
	Channels     []Channel         `yaml:"channels"`                  // the first one with the role "chamber" is controlled
	Heater       Heater            `yaml:"heater"`
	Door         Door              `yaml:"door,omitempty"` // switch at the door; optional
	Tell         []Destination     `yaml:"tell,omitempty"` // who is told of what; optional, default nobody
	dir          string
}

// Channel is one thermocouple at one amplifier.
type Channel struct {
	Role      string             `yaml:"role"`                // "chamber", "chamber 2" …, "witness 1" …
	Chip      string             `yaml:"chip"`                // max31855, max31856 or max6675
	Port      string             `yaml:"port"`                // SPI port as the board names it: SPI0.0
	Type      string             `yaml:"type"`                // thermocouple letter
	Mains     quantity.Frequency `yaml:"mains,omitempty"`     // notch of the max31856: 50 Hz or 60 Hz; optional
	Averaging int                `yaml:"averaging,omitempty"` // max31856: 1, 2, 4, 8 or 16; optional
}

// Heater is the output.
type Heater struct {
	Pin       string            `yaml:"pin"`                 // line of the heat relay: GPIO17
	Main      string            `yaml:"main,omitempty"`      // line of the main contactor, in series with the heat relay; optional, strongly advised
	Air       string            `yaml:"air,omitempty"`       // line of the fresh-air relay; optional
	Active    string            `yaml:"active,omitempty"`    // "high" or "low"; optional, default high
	Relay     string            `yaml:"relay"`               // ssr or contactor
	LeastOn   quantity.Duration `yaml:"least_on,omitempty"`  // optional, by kind of relay
	LeastOff  quantity.Duration `yaml:"least_off,omitempty"` // optional, by kind of relay
	Heartbeat string            `yaml:"heartbeat,omitempty"` // line of the missing-pulse circuit; optional, strongly advised
	Watchdog  string            `yaml:"watchdog,omitempty"`  // hardware watchdog device; optional, strongly advised
}

// Door is the switch that tells calx how the door stands. It is not the switch
// that cuts the mains.
type Door struct {
	Pin  string `yaml:"pin,omitempty"`  // input line: GPIO24
	Open string `yaml:"open,omitempty"` // level with the door open, "high" or "low"; optional, default high: a broken wire is an open door
}

// Fitted tells whether there is a switch.
func (d Door) Fitted() bool { return d.Pin != "" }

// Load reads and checks a configuration file.
func Load(file string) (*Config, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("configuration: %w", err)
	}
	return Parse(file, data)
}

// Parse reads a configuration. file names it in errors, and its folder is
// where a relative kiln file and data folder are looked for.
func Parse(file string, data []byte) (*Config, error) {
	c := &Config{Data: "calx-data", Listen: "127.0.0.1:8418", Units: "C", Period: 1, dir: filepath.Dir(file)}
	if err := quantity.Decode(file, data, c); err != nil {
		return nil, err
	}
	return c, nil
}

// Check finds what is wrong beyond the spelling. It implements
// quantity.Checker.
func (c *Config) Check() []quantity.Problem {
	var ps []quantity.Problem
	bad := func(path, format string, a ...any) {
		ps = append(ps, quantity.Problem{Path: path, Text: fmt.Sprintf(format, a...)})
	}
	oneOf := func(path, got string, want ...string) {
		for _, w := range want {
			if got == w {
				return
			}
		}
		bad(path, "read %q; it must be one of %s", got, strings.TrimPrefix(strings.Join(want, ", "), ", "))
	}
	oneOf("units", c.Units, "C", "F")
	oneOf("heater.active", c.Heater.Active, "", "high", "low")
	oneOf("heater.relay", c.Heater.Relay, "ssr", "contactor")
	if c.Period < 0.25 || c.Period > 1 {
		// The lease of the heat lasts 2 s and must be renewed well before.
		bad("period", "read %v; it must be from 250 ms to 1 s", c.Period)
	}
	if c.Heater.Pin == "" {
		bad("heater.pin", "no line given; name the line of the heat relay, for example GPIO17")
	}
	if _, err := resume.ParsePolicy(c.AfterCut); err != nil {
		bad("after_power_cut", "%v", err)
	}
	c.checkLines(bad)
	c.checkTell(bad)
	oneOf("door.open", c.Door.Open, "", "high", "low")
	if c.Door.Open != "" && !c.Door.Fitted() {
		bad("door.pin", "no line given; name the line of the door switch, for example GPIO24, or leave door out")
	}
	if len(c.Channels) == 0 {
		bad("channels", "no thermocouple given; at least one with the role chamber is needed")
		return ps
	}
	chambers, ports := 0, map[string]bool{}
	for i, ch := range c.Channels {
		at := fmt.Sprintf("channels[%d].", i)
		if ch.Role == "chamber" {
			chambers++
		}
		if ch.Role == "" {
			bad(at+"role", "no role given; write chamber, or what the probe sits in")
		}
		if ports[ch.Port] {
			bad(at+"port", "%s is used twice; each amplifier has a port of its own", ch.Port)
		}
		ports[ch.Port] = true
		oneOf(at+"chip", ch.Chip, "max31855", "max31856", "max6675")
		if _, err := thermocouple.ParseType(ch.Type); err != nil {
			bad(at+"type", "read %q; it must be a thermocouple letter: B, E, J, K, N, R, S or T", ch.Type)
		} else if ch.Chip == "max6675" && ch.Type != "K" {
			bad(at+"type", "read %s; the max6675 reads type K only", ch.Type)
		}
		if ch.Mains != 0 && ch.Mains != 50 && ch.Mains != 60 {
			bad(at+"mains", "read %v; it must be 50 Hz or 60 Hz", ch.Mains)
		}
		switch ch.Averaging {
		case 0, 1, 2, 4, 8, 16:
		default:
			bad(at+"averaging", "read %d; it must be 1, 2, 4, 8 or 16", ch.Averaging)
		}
	}
	if chambers != 1 {
		bad("channels", "%d channels have the role chamber; exactly one must, it is the one that is controlled", chambers)
	}
	return ps
}

// checkLines finds a line that is given two tasks.
func (c *Config) checkLines(bad func(path, format string, a ...any)) {
	taken := map[string]string{}
	for _, l := range []struct{ path, name string }{
		{"heater.pin", c.Heater.Pin}, {"heater.main", c.Heater.Main}, {"heater.air", c.Heater.Air},
		{"heater.heartbeat", c.Heater.Heartbeat}, {"door.pin", c.Door.Pin},
	} {
		if l.name == "" {
			continue
		}
		if first, ok := taken[l.name]; ok {
			bad(l.path, "%s is already the line of %s; each needs a line of its own", l.name, first)
		}
		taken[l.name] = l.path
	}
}

// Fahrenheit reports how temperatures are shown.
func (c *Config) Fahrenheit() bool { return c.Units == "F" }

// PeriodD is Period as a duration.
func (c *Config) PeriodD() time.Duration { return quantity.Std(c.Period) }

// Path is a file named in the configuration, seen from where the
// configuration lies.
func (c *Config) Path(name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(c.dir, name)
}

// RelayConfig is what the heat relay can bear.
func (c *Config) RelayConfig() (relay.Config, error) {
	k, err := relay.ParseKind(c.Heater.Relay)
	if err != nil {
		return relay.Config{}, err
	}
	r := relay.DefaultConfig(k)
	if c.Heater.LeastOn != 0 {
		r.LeastOnS = float64(c.Heater.LeastOn)
	}
	if c.Heater.LeastOff != 0 {
		r.LeastOffS = float64(c.Heater.LeastOff)
	}
	return r, r.Check()
}

// outputs are the fields of Heater as text: only the lines and their level
// matter to who drives the heat off.
type outputs struct {
	Pin       string `yaml:"pin"`
	Main      string `yaml:"main,omitempty"`
	Air       string `yaml:"air,omitempty"`
	Active    string `yaml:"active,omitempty"`
	Relay     string `yaml:"relay,omitempty"`
	LeastOn   string `yaml:"least_on,omitempty"`
	LeastOff  string `yaml:"least_off,omitempty"`
	Heartbeat string `yaml:"heartbeat,omitempty"`
	Watchdog  string `yaml:"watchdog,omitempty"`
}

// Check refuses what would drive a line to the wrong level, or none.
func (o outputs) Check() (ps []quantity.Problem) {
	if o.Pin == "" {
		ps = append(ps, quantity.Problem{Path: "pin", Text: "no line given; name the line of the heat relay, for example GPIO17"})
	}
	if o.Active != "" && o.Active != "high" && o.Active != "low" {
		ps = append(ps, quantity.Problem{Path: "active", Text: fmt.Sprintf("read %q; it must be one of high, low", o.Active)})
	}
	return ps
}

// LoadHeater reads the outputs alone, without the times of the relay, whatever
// else is in the file: driving the heat off must not wait for a typo elsewhere
// to be mended. Where a word of the heater itself is not known, it may be the
// one that says which level is off, and the wrong level is heat: then it
// returns an error, and nobody is to touch a line.
func LoadHeater(file string) (Heater, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return Heater{}, fmt.Errorf("configuration: %w", err)
	}
	var o outputs
	if err := quantity.DecodeField(file, data, "heater", &o); err != nil {
		return Heater{}, fmt.Errorf("it is not sure which line turns the heat off, or which level; calx touched none\n%w\n"+
			"switch the kiln off at the wall, then mend the file", err)
	}
	return Heater{Pin: o.Pin, Main: o.Main, Air: o.Air, Active: o.Active, Relay: o.Relay, Heartbeat: o.Heartbeat, Watchdog: o.Watchdog}, nil
}

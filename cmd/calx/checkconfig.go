package main

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"runtime"

	"calx/cmd/calx/config"
	"calx/controller/resume"
	"calx/sim/quantity"
)

// checkedConfig is what a configuration would make calx open.
type checkedConfig struct {
	Log      string           `json:"log"`
	Listen   string           `json:"listen"`
	Units    string           `json:"units"`
	Kiln     string           `json:"kiln"`      // name; "" when it could not be read
	KilnFile string           `json:"kiln_file"` // "" for a shipped kiln
	PeriodS  float64          `json:"period_s"`
	AfterCut string           `json:"after_power_cut"` // of a firing that was not told
	ResumeS  float64          `json:"resume_within_s"` // 0 = however long it was
	Channels []checkedChannel `json:"channels"`
	Heater   checkedHeater    `json:"heater"`
	Door     string           `json:"door"` // line of the switch; "" = none
}

// checkedChannel is one thermocouple.
type checkedChannel struct {
	Role string `json:"role"`
	Chip string `json:"chip"`
	Port string `json:"port"`
	Type string `json:"type"`
}

// checkedHeater is the output.
type checkedHeater struct {
	Pin       string  `json:"pin"`
	Main      string  `json:"main"` // "" = none, as below
	Air       string  `json:"air"`
	Active    string  `json:"active"`
	Relay     string  `json:"relay"`
	LeastOnS  float64 `json:"least_on_s"`
	LeastOffS float64 `json:"least_off_s"`
	Heartbeat string  `json:"heartbeat"`
	Watchdog  string  `json:"watchdog"`
}

func checkConfig(f *checkedFile, text string) error {
	c, err := config.Parse(f.File, []byte(text))
	if err != nil {
		return err
	}
	rc, err := c.RelayConfig()
	if err != nil {
		return err
	}
	out := &checkedConfig{
		Log: filepath.Join(c.Path(c.Data), logName), Listen: c.Listen, Units: c.Units,
		Door: c.Door.Pin, PeriodS: c.PeriodD().Seconds(), ResumeS: quantity.Std(c.ResumeWithin).Seconds(),
		Heater: checkedHeater{
			Pin: c.Heater.Pin, Main: c.Heater.Main, Air: c.Heater.Air, Active: c.Heater.Active, Relay: c.Heater.Relay,
			LeastOnS: rc.LeastOnS, LeastOffS: rc.LeastOffS, Heartbeat: c.Heater.Heartbeat, Watchdog: c.Heater.Watchdog,
		},
	}
	if out.Heater.Active == "" {
		out.Heater.Active = "high"
	}
	policy, err := resume.ParsePolicy(c.AfterCut)
	if err != nil {
		return err
	}
	out.AfterCut = policy.String()
	for _, ch := range c.Channels {
		out.Channels = append(out.Channels, checkedChannel{ch.Role, ch.Chip, ch.Port, ch.Type})
	}
	f.Config = out
	f.warnSafety(c)
	f.warnBoard(c)
	if file := c.Path(c.Kiln); exists(file) {
		out.KilnFile = file
	}
	k, err := configuredOven(c)
	if err != nil {
		return err
	}
	out.Kiln = k.p.Name
	f.warnKiln(c, k)
	return nil
}

func (f *checkedFile) warn(format string, a ...any) {
	f.Problems = append(f.Problems, finding{Text: fmt.Sprintf(format, a...)})
}

func (f *checkedFile) note(format string, a ...any) {
	f.Notes = append(f.Notes, finding{Text: fmt.Sprintf(format, a...)})
}

// warnSafety names what stands between a dead process and a hot kiln, and is
// not there.
func (f *checkedFile) warnSafety(c *config.Config) {
	if c.Heater.Heartbeat == "" {
		f.warn("no heartbeat line: nothing opens the relay when both processes of calx or the kernel die; fit a missing-pulse circuit and name its line in heater.heartbeat")
	}
	if c.Heater.Main == "" {
		f.warn("no main contactor: when the heat relay welds, calx has nothing else to open, and only the limit controller is left; fit one in series and name its line in heater.main")
	}
	if c.Heater.Watchdog == "" {
		f.warn("no watchdog: a board that hangs stays hung; name its device in heater.watchdog, as a rule /dev/watchdog")
	}
	if c.Heater.Active == "low" {
		f.warn("the relay is active low: many boards start with lines low, which is heat; an active-high relay with a pull-down is safer")
	}
	host, _, err := net.SplitHostPort(c.Listen)
	if ip := net.ParseIP(host); err == nil && host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		f.warn("calx listens on %s: everybody on that network can fire this kiln", c.Listen)
	}
	f.note("calx is not the safety device: an independent limit controller with its own probe and contactor must stand behind it")
}

// warnKiln names where configuration and kiln file contradict each other.
func (f *checkedFile) warnKiln(c *config.Config, k *oven) {
	for _, ch := range c.Channels {
		if ch.Role == "chamber" && ch.Type != k.p.Probe.Type {
			f.warn("the chamber probe is type %s here and type %s in the kiln file; a wrong letter reads wrong by tens of degrees", ch.Type, k.p.Probe.Type)
		}
	}
	if c.Heater.Relay != k.p.Relay.Kind {
		f.warn("the relay is a %s here and a %s in the kiln file; calx switches as this file says", relayName(c.Heater.Relay), relayName(k.p.Relay.Kind))
	}
}

var spiName = regexp.MustCompile(`^SPI(\d+)\.(\d+)$`)

// warnBoard names devices that are not there. On another computer than the
// board that is to be expected, so it is a note.
func (f *checkedFile) warnBoard(c *config.Config) {
	if runtime.GOOS != "linux" {
		return
	}
	for _, ch := range c.Channels {
		m := spiName.FindStringSubmatch(ch.Port)
		if m == nil {
			continue
		}
		if dev := "/dev/spidev" + m[1] + "." + m[2]; !exists(dev) {
			f.note("port %s is not there (no %s); on the board, enable SPI", ch.Port, dev)
		}
	}
	if w := c.Heater.Watchdog; w != "" && !exists(w) {
		f.note("watchdog %s is not there", w)
	}
	if info, err := os.Stat(c.Path(c.Data)); err == nil && !info.IsDir() {
		f.warn("data is %s, which is not a folder", c.Path(c.Data))
	}
}

func printConfig(e *env, f checkedFile) {
	c := f.Config
	row := func(name, format string, a ...any) {
		e.printf("  %s%s\n", e.paint(faint, fmt.Sprintf("%-12s", name)), fmt.Sprintf(format, a...))
	}
	e.printf("%s  configuration; calx serve would open\n", e.paint(bold, f.File))
	row("log", "%s", c.Log)
	row("page, API", "http://%s", c.Listen)
	from := "comes with calx"
	if c.KilnFile != "" {
		from = c.KilnFile
	}
	if c.Kiln == "" {
		row("kiln", "not found, see above")
	} else {
		row("kiln", "%s (%s)", c.Kiln, from)
	}
	for _, ch := range c.Channels {
		row(ch.Role, "%s on %s, type %s, every %g s", ch.Chip, ch.Port, ch.Type, c.PeriodS)
	}
	h := c.Heater
	row("heat relay", "%s, active %s, %s, least %g s on and %g s off", h.Pin, h.Active, relayName(h.Relay), h.LeastOnS, h.LeastOffS)
	if h.Air != "" {
		row("air relay", "%s", h.Air)
	}
	for _, o := range []struct{ name, line string }{{"main contactor", h.Main}, {"door switch", c.Door}, {"heartbeat", h.Heartbeat}, {"watchdog", h.Watchdog}} {
		if o.line == "" {
			o.line = "none"
		}
		row(o.name, "%s", o.line)
	}
	after := c.AfterCut + ", unless the firing says otherwise"
	if c.ResumeS > 0 {
		after += fmt.Sprintf("; by itself after %s at most", hours(seconds(c.ResumeS)))
	}
	row("power cut", "%s", after)
	printFindings(e, f)
}

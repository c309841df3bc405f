package main

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"calx/sensor"
	"calx/storage/record"
)

type exportCmd struct {
	firingArg
	Format string `help:"csv or openmetrics." enum:"csv,openmetrics" default:"csv"`
	Output string `short:"o" help:"Write to this file; otherwise to the standard output." placeholder:"FILE" type:"path"`
	logFlags
	Units string `help:"Temperatures of the CSV in C or F; only C keeps every bit, and OpenMetrics is always C." enum:"C,F" default:"C" placeholder:"C|F"`
}

// Run writes every reading of a firing. What is damaged is left out and named;
// the exit code is then 1.
func (c *exportCmd) Run(e *env) error {
	if c.Format == "openmetrics" && c.Units == "F" {
		return usageError{errors.New("--units F does not go with --format openmetrics: its unit is celsius by convention")}
	}
	f, damage := c.read(e, c.logFlags)
	if f == nil {
		return damage
	}
	write := func(w io.Writer) error { return writeCSV(w, f, c.Units == "F") }
	if c.Format == "openmetrics" {
		write = func(w io.Writer) error { return writeOpenMetrics(w, f) }
	}
	buffered := func(w io.Writer) error {
		b := bufio.NewWriterSize(w, 64<<10)
		return errors.Join(write(b), b.Flush())
	}
	var err error
	if c.Output == "" || c.Output == "-" {
		err = buffered(e.out)
	} else {
		err = writeFile(c.Output, func(o *os.File) error { return buffered(o) })
	}
	if err != nil {
		return err
	}
	return damage
}

// utcMillis is RFC 3339 with milliseconds.
const utcMillis = "2006-01-02T15:04:05.000Z"

// writeCSV writes one line a reading as RFC 4180 has it: a header, CRLF,
// quotes where needed. Columns name their units. Numbers are the shortest that
// read back to the same 64 bits; a value that does not exist is empty.
//
//	time_utc       wall clock as it was when read, RFC 3339 with milliseconds
//	since_s        seconds since the start of the firing, by a clock that never jumps
//	seq            number of the reading, from 0
//	step           step of the profile, from 1
//	phase          "ramping", "holding", "waiting", "paused", "cooling", …
//	setpoint_c     °C
//	duty_ratio     0 to 1, as asked for
//	relay_closed   1 while the heat relay is commanded on
//	air_on         1 while the fresh-air relay is commanded on
//	energy_j       since the start, from rated power and relay time
//	chamber_hot_c  °C, and so on for every channel by its role
//	chamber_cold_c °C, cold junction
//	chamber_fault  "ok", or the names of the faults
//	chamber_hot_code, chamber_cold_code  as the chip sent them
//	NAME_core_c    what the model had for the mould of that name: core and surface,
//	               °C; free water left, char left, share burnt, 0 to 1
//	clear_chance_ratio  that every piece by itself is clear, 0 to 1
//	observer_0 …   instead of these, where the moulds are not known
func writeCSV(w io.Writer, f *firing, fahrenheit bool) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	observers := 0
	for _, r := range f.readings {
		observers = max(observers, len(r.Observer))
	}
	t := csvTable{roles: columnNames(rolesOf(f.head.Channels)), observers: observers, fahrenheit: fahrenheit}
	if n := len(f.head.Moulds); n > 0 && (observers == 0 || observers == 5*n+1) {
		t.moulds, t.observers = columnNames(mouldNames(f.head)), 0
	}
	// Errors stay with the writer until the end.
	_ = out.Write(t.header())
	for i := range f.readings {
		_ = out.Write(t.row(&f.readings[i]))
	}
	out.Flush()
	return out.Error()
}

// csvTable lays out the columns.
type csvTable struct {
	roles      []string // of the channels, fit for column names
	moulds     []string // their names, likewise
	observers  int      // figures without a name
	fahrenheit bool
}

// columnNames turns roles into parts of column names, each used once: "witness
// 1" is witness_1.
func columnNames(names []string) []string {
	seen := map[string]bool{}
	out := make([]string, len(names))
	for i, n := range names {
		name := strings.Trim(strings.Map(func(r rune) rune {
			if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
				return r
			}
			return '_'
		}, strings.ToLower(n)), "_")
		if name == "" || seen[name] {
			name = strings.Trim(fmt.Sprintf("%s_%d", name, i+1), "_")
		}
		seen[name] = true
		out[i] = name
	}
	return out
}

func rolesOf(channels []record.Channel) []string {
	out := make([]string, len(channels))
	for i, c := range channels {
		out[i] = c.Role
	}
	return out
}

func (t csvTable) header() []string {
	unit := "_c"
	if t.fahrenheit {
		unit = "_f"
	}
	h := []string{"time_utc", "since_s", "seq", "step", "phase", "setpoint" + unit, "duty_ratio", "relay_closed", "air_on", "energy_j"}
	for _, r := range t.roles {
		h = append(h, r+"_hot"+unit, r+"_cold"+unit, r+"_fault", r+"_hot_code", r+"_cold_code")
	}
	for _, m := range t.moulds {
		h = append(h, m+"_core"+unit, m+"_surface"+unit, m+"_water_ratio", m+"_char_ratio", m+"_burnt_ratio")
	}
	if len(t.moulds) > 0 {
		h = append(h, "clear_chance_ratio")
	}
	for i := range t.observers {
		h = append(h, fmt.Sprintf("observer_%d", i))
	}
	return h
}

func (t csvTable) row(r *record.Reading) []string {
	out := []string{
		r.Wall.UTC().Format(utcMillis), number(r.Since.Seconds()), strconv.FormatUint(r.Seq, 10), strconv.Itoa(int(r.Step) + 1), r.Phase.String(),
		t.temperature(r.SetpointC), number(r.Duty), bit(r.Relay), bit(r.Air), number(r.EnergyJ),
	}
	for i := range t.roles {
		if i >= len(r.Channels) {
			out = append(out, "", "", "", "", "")
			continue
		}
		s := r.Channels[i]
		out = append(out, t.temperature(s.HotC), t.temperature(s.ColdC), sensor.Fault(s.Fault).String(), strconv.Itoa(int(s.HotCode)), strconv.Itoa(int(s.ColdCode)))
	}
	if len(t.moulds) > 0 {
		out = append(out, t.inside(r)...)
	}
	for i := range t.observers {
		if i < len(r.Observer) {
			out = append(out, number(r.Observer[i]))
		} else {
			out = append(out, "")
		}
	}
	return out
}

// inside are the columns of the moulds, empty before they were seen.
func (t csvTable) inside(r *record.Reading) []string {
	var out []string
	if r.Moulds() != len(t.moulds) {
		for range t.moulds {
			out = append(out, "", "", "", "", "")
		}
		return append(out, "")
	}
	for i := range t.moulds {
		m := r.Mould(i)
		out = append(out, t.temperature(m.CoreC), t.temperature(m.SurfaceC), number(m.WaterLeft), number(m.CharLeft), number(m.Clear))
	}
	return append(out, number(r.ClearChance()))
}

func (t csvTable) temperature(c float64) string { return number(inUnit(c, t.fahrenheit)) }

// number is the shortest decimal that reads back to the same bits; empty for
// what is not a number.
func number(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

func bit(b bool) string {
	if b {
		return "1"
	}
	return "0"
}

// began is when the firing started by the clock as it was at its end: a small
// board starts with the wrong time and corrects it later.
func (f *firing) began() time.Time {
	if n := len(f.readings); n > 0 && !f.readings[n-1].Wall.IsZero() {
		return f.readings[n-1].Wall.Add(-f.readings[n-1].Since)
	}
	return f.head.Started
}

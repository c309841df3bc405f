package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode/utf8"

	"calx/cmd/calx/intake"
	"calx/storage"
	"calx/storage/record"
)

type importCmd struct {
	File      string `arg:"" help:"Table of times and temperatures: CSV or its relatives." type:"path"`
	Time      string `required:"" help:"Column of the time: its name in the first line, or its number from 1." placeholder:"COL"`
	Temp      string `required:"" help:"Column of the chamber temperature." placeholder:"COL"`
	Unit      string `required:"" help:"Unit of the temperatures: C or F." enum:"C,F" placeholder:"C|F"`
	Date      string `help:"Column of the date, where the time stands in one of its own." placeholder:"COL"`
	Setpoint  string `help:"Column of the setpoint." placeholder:"COL"`
	Duty      string `help:"Column of the duty, 0 to 1 or per cent." placeholder:"COL"`
	TimeUnit  string `help:"What the time counts: s, min, h or ms; hms for 1:02:03; iso for dates. Needed for plain numbers, otherwise found out." enum:"auto,s,min,h,ms,hms,iso" default:"auto" placeholder:"UNIT"`
	Separator string `help:"Between fields: a character, or tab; otherwise found out." placeholder:"CHAR"`
	Decimal   string `help:"Decimal sign: . or ,; otherwise found out." placeholder:"CHAR"`
	Kiln      string `help:"Kiln file, or the name of a shipped kiln: what it was fired in; otherwise that of calx.yaml." placeholder:"FILE"`
	Name      string `help:"What to call the firing; otherwise the name of the file." placeholder:"TEXT"`
	Started   string `help:"When it began, where the table has no dates, as 2026-01-31 19:00." placeholder:"TIME"`
	DryRun    bool   `help:"Read the table and say what is in it; write nothing."`
	Data      string `help:"Folder of the log; otherwise the one calx.yaml names." placeholder:"DIR" type:"path"`
	configFlag
	jsonFlag
	unitsFlag
}

// importResult is the object that --json writes.
type importResult struct {
	ID        uint64   `json:"id"` // 0 with --dry-run
	Name      string   `json:"name"`
	File      string   `json:"file"`
	Readings  int      `json:"readings"`
	DurationS float64  `json:"duration_s"`
	LowestC   float64  `json:"lowest_c"`
	PeakC     float64  `json:"peak_c"`
	Setpoint  bool     `json:"setpoint"`
	Duty      bool     `json:"duty"`
	Gaps      int      `json:"gaps"`
	LongestS  float64  `json:"longest_gap_s"`
	Lacks     []string `json:"lacks"` // in words
	Profile   string   `json:"profile"`
}

// Run brings a firing that was recorded elsewhere into the log, or, on any
// error, changes nothing.
func (c *importCmd) Run(e *env) error {
	o, err := c.options()
	if err != nil {
		return err
	}
	data, err := os.ReadFile(c.File)
	if err != nil {
		return err
	}
	t, err := intake.Read(filepath.Base(c.File), data, o)
	if err != nil {
		return err
	}
	from, err := c.origin()
	if err != nil {
		return err
	}
	head, readings, events := t.Records(from)
	res := c.result(t, from, head, readings)
	if !c.DryRun {
		if res.ID, err = c.write(head, readings, events); err != nil {
			return err
		}
	}
	if c.JSON {
		return e.writeJSON(res)
	}
	c.print(e, res)
	return nil
}

func (c *importCmd) options() (intake.Options, error) {
	o := intake.Options{Date: c.Date, Time: c.Time, Temp: c.Temp, Setpoint: c.Setpoint, Duty: c.Duty, Fahrenheit: c.Unit == "F", TimeUnit: c.TimeUnit, Zone: time.Local}
	if o.TimeUnit == "auto" {
		o.TimeUnit = ""
	}
	switch {
	case strings.EqualFold(c.Separator, "tab"):
		o.Separator = '\t'
	case utf8.RuneCountInString(c.Separator) == 1 && !strings.ContainsAny(c.Separator, "\"\r\n0123456789"):
		o.Separator, _ = utf8.DecodeRuneInString(c.Separator)
	case c.Separator != "":
		return o, usageError{fmt.Errorf("--separator is %q; it must be one character, such as ; or the word tab", c.Separator)}
	}
	switch c.Decimal {
	case "":
	case ".", ",":
		o.Decimal = rune(c.Decimal[0])
	default:
		return o, usageError{fmt.Errorf("--decimal is %q; it must be . or ,", c.Decimal)}
	}
	if o.Decimal == ',' && o.Separator == ',' {
		return o, usageError{errors.New("--decimal and --separator are both a comma; nobody can tell them apart")}
	}
	return o, nil
}

func (c *importCmd) origin() (intake.Origin, error) {
	o := intake.Origin{Name: c.Name, File: filepath.Base(c.File), Fahrenheit: c.fahrenheit(c.Unit == "F"), Version: version, Started: time.Now()}
	if o.Name == "" {
		o.Name = strings.TrimSuffix(o.File, filepath.Ext(o.File))
	}
	if c.Started != "" {
		t, err := time.ParseInLocation("2006-01-02 15:04", c.Started, time.Local)
		if err != nil {
			return o, usageError{fmt.Errorf("--started is %q; it must be a day and a time, such as 2026-01-31 19:00", c.Started)}
		}
		o.Started = t
	}
	name := c.Kiln
	if name == "" {
		cfg, err := c.load()
		if err != nil || cfg == nil {
			return o, err
		}
		text, p, err := kilnOf(cfg)
		o.Kiln, o.RatedW = text, p.RatedW()
		return o, err
	}
	text, p, err := loadKiln(name)
	if err != nil {
		return o, err
	}
	o.Kiln, o.RatedW = text, p.RatedW()
	return o, nil
}

// write adds the firing to the log, which the daemon must not have open.
func (c *importCmd) write(head record.Firing, readings []record.Reading, events []record.Event) (id uint64, err error) {
	file, err := logFlags{Data: c.Data, daemonFlag: daemonFlag{configFlag: c.configFlag}}.file()
	if err != nil {
		return 0, err
	}
	l, err := storage.Open(file, nil)
	if errors.Is(err, storage.ErrInUse) {
		return 0, fmt.Errorf("%w\nstop calx while nothing is fired, import, and start it again; nothing was imported", err)
	}
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	return l.Import(head, readings, events)
}

func (c *importCmd) result(t *intake.Table, o intake.Origin, head record.Firing, readings []record.Reading) importResult {
	r := importResult{Name: head.Name, File: head.Imported, Readings: len(readings), DurationS: readings[len(readings)-1].Since.Seconds(),
		Setpoint: t.HasSet, Duty: t.HasDuty, Lacks: append([]string{}, t.Lacks(o)...), Profile: head.Profile}
	var most time.Duration
	r.Gaps, most = t.Gaps()
	r.LongestS = most.Seconds()
	r.LowestC, r.PeakC = readings[0].Channels[0].HotC, readings[0].Channels[0].HotC
	for _, rd := range readings {
		r.LowestC, r.PeakC = min(r.LowestC, rd.Channels[0].HotC), max(r.PeakC, rd.Channels[0].HotC)
	}
	return r
}

func (c *importCmd) print(e *env, r importResult) {
	inF := c.fahrenheit(c.Unit == "F")
	verb := fmt.Sprintf("imported as firing %d", r.ID)
	if c.DryRun {
		verb = "nothing was written"
	}
	e.printf("%s: %d readings over %s, %s to %s; %s\n", printable(r.File), r.Readings, hours(seconds(r.DurationS)), wholeTemperature(r.LowestC, inF), wholeTemperature(r.PeakC, inF), verb)
	if r.Gaps > 0 {
		e.printf("  gaps: %d, the longest %s\n", r.Gaps, span(seconds(r.LongestS)))
	}
	for _, l := range r.Lacks {
		e.printf("  %s\n", wrap(l, e.width, 2))
	}
	if r.Profile != "" {
		e.printf("as a profile:\n%s", indented(r.Profile))
	}
	if !c.DryRun {
		e.printf("Look at it: calx show %d\nLay it over the model: calx replay %d --simulate\n", r.ID, r.ID)
	}
}

func indented(text string) string {
	return "  " + strings.ReplaceAll(strings.TrimSuffix(text, "\n"), "\n", "\n  ") + "\n"
}

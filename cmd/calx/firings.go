package main

import (
	"errors"
	"fmt"
	"time"

	"calx/cmd/calx/summary"
	"calx/storage"
	"calx/storage/record"
)

type firingsCmd struct {
	Last int `help:"How many of the newest to list; 0 lists all." default:"20" placeholder:"N"`
	logFlags
	jsonFlag
	unitsFlag
}

// firingsResult is the object that --json writes: the firings, oldest first.
type firingsResult struct {
	Firings []firingRow `json:"firings"`
	Earlier int         `json:"earlier"` // older firings that were left out
}

// firingRow is one firing in the list.
type firingRow struct {
	ID        uint64         `json:"id"`
	Name      string         `json:"name"`
	Started   time.Time      `json:"started"`    // UTC
	DurationS float64        `json:"duration_s"` // from the start to the last reading
	Outcome   string         `json:"outcome"`    // "running", "finished", "stopped", "tripped", "interrupted"
	Reason    string         `json:"reason"`
	PeakC     summary.Number `json:"peak_c"` // hottest chamber reading; null when there is none
	EnergyKWh float64        `json:"energy_kwh"`
	Readings  int            `json:"readings"`
	Units     string         `json:"units"` // "C" or "F": how the person read it
}

func (c *firingsCmd) Run(e *env) (err error) {
	if c.Last < 0 {
		return usageError{fmt.Errorf("--last is %d; it must be 0 or more", c.Last)}
	}
	l, err := c.open(e.ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	heads, damage := l.Firings()
	res := firingsResult{Firings: []firingRow{}}
	if c.Last > 0 && len(heads) > c.Last {
		res.Earlier = len(heads) - c.Last
		heads = heads[res.Earlier:]
	}
	k, err := keptFigures(l.Log)
	damage = errors.Join(damage, err)
	for _, h := range heads {
		row, err := k.row(l.Log, h)
		damage = errors.Join(damage, err)
		res.Firings = append(res.Firings, row)
	}
	if c.JSON {
		return errors.Join(e.writeJSON(res), damage)
	}
	c.print(e, res)
	return damage
}

// row is a firing in the list. Where the log does not keep its figures it is
// read, and what could be read comes beside the error.
func (k figuresKept) row(l *storage.Log, h record.Firing) (firingRow, error) {
	f, ok := k[h.ID]
	var err error
	if !ok || h.Outcome == "" {
		f, err = measureFiring(l, h, nil, "")
	}
	row := firingRow{ID: h.ID, Name: h.Name, Started: h.Started, Outcome: h.Outcome, Reason: h.Reason, PeakC: f.PeakC, Units: h.Units,
		DurationS: f.DurationS, EnergyKWh: f.EnergyJ / joulesPerKWh, Readings: f.Readings}
	if row.Outcome == "" {
		row.Outcome = "running"
	}
	return row, err
}

const joulesPerKWh = 3.6e6

func (c *firingsCmd) print(e *env, res firingsResult) {
	if len(res.Firings) == 0 {
		e.printf("no firing yet\n")
		return
	}
	lines := [][]string{{"no", "started", "took", "outcome", "peak", "energy", "name"}}
	for _, r := range res.Firings {
		peak := "–"
		if r.PeakC.Known() {
			peak = wholeTemperature(float64(r.PeakC), c.fahrenheit(r.Units == "F"))
		}
		lines = append(lines, []string{fmt.Sprint(r.ID), r.Started.Local().Format("_2 Jan 2006 15:04"), hours(seconds(r.DurationS)), r.Outcome, peak, kWh(r.EnergyKWh), r.Name})
	}
	widths := make([]int, len(lines[0]))
	for _, l := range lines {
		for i, cell := range l {
			widths[i] = max(widths[i], cells(cell))
		}
	}
	for i, l := range lines {
		r := &row{width: max(e.width, leastWidth), color: e.color, unicode: true}
		if !e.tty {
			r.width = 1 << 10 // a file or a pipe has room for whole names
		}
		column := 0
		for j, cell := range l {
			sgr := ""
			switch {
			case i == 0:
				sgr = faint
			case j == outcomeColumn:
				sgr = outcomeColor(cell)
			}
			if j == outcomeColumn || j == len(l)-1 {
				r.to(column).put(sgr, cell)
			} else {
				r.to(column+widths[j]-cells(cell)).put(sgr, cell)
			}
			column += widths[j] + 2
		}
		e.printf("%s\n", r)
	}
	if res.Earlier > 0 {
		e.printf("%s\n", e.paint(faint, fmt.Sprintf("and %d earlier; --last 0 lists all", res.Earlier)))
	}
}

const outcomeColumn = 3

func outcomeColor(outcome string) string {
	switch outcome {
	case "finished":
		return green
	case "tripped", "interrupted":
		return red
	case "running":
		return bold
	}
	return ""
}

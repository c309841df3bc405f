package web

import (
	"fmt"
	"math"

	"calx/cmd/calx/health"
	"calx/cmd/calx/summary"
)

// kilnRow is a firing in the table.
type kilnRow struct {
	Firing uint64
	Cells  []kilnCell
}

type kilnCell struct {
	Text   string
	Unsure bool // too unsure to count in the trend
}

// table lists the firings, the newest first; a column that would be empty is
// left out.
func (v *kilnView) table(r *health.Report, u health.Units) {
	degree := u.Degree()
	v.Columns = []string{"Firing", "Begun", "Elements %", "Heat loss %"}
	second, quartz := len(r.Second.Points) > 0, len(r.Inversion.Points) > 0
	if second {
		v.Columns = append(v.Columns, "Second "+degree)
	}
	if quartz {
		v.Columns = append(v.Columns, "Quartz "+degree)
	}
	v.Columns = append(v.Columns, "Top "+degree, "Hours", "kWh", "Closures")
	v.Note = "With intervals of 95 %. A dash: the firing does not tell. kWh are from rated power and relay time."
	used := counted(r.Power, r.Loss)
	brackets := false
	for i := len(r.Entries) - 1; i >= 0; i-- {
		e := r.Entries[i]
		f := e.Figures
		row := kilnRow{Firing: e.ID, Cells: []kilnCell{
			{Text: e.Started.Local().Format("2 Jan 2006")},
			ratioCell(f.Power, used[0][e.ID]),
			ratioCell(f.Loss, used[1][e.ID]),
		}}
		if second {
			row.Cells = append(row.Cells, kilnCell{Text: known(f.Second.Value, func(c float64) string {
				return fmt.Sprintf("%+.1f ± %.1f", u.Apart(c), math.Max(u.Apart(2*float64(f.Second.SE)), 0.1))
			})})
		}
		if quartz {
			row.Cells = append(row.Cells, kilnCell{Text: known(f.Inversion.Value, func(c float64) string { return fmt.Sprintf("%.0f", u.Of(c)) })})
		}
		row.Cells = append(row.Cells,
			kilnCell{Text: known(f.PeakC, func(c float64) string { return fmt.Sprintf("%.0f", u.Of(c)) })},
			kilnCell{Text: fmt.Sprintf("%.1f", f.DurationS/3600)},
			kilnCell{Text: fmt.Sprintf("%.1f", f.EnergyJ/3.6e6)},
			kilnCell{Text: fmt.Sprint(f.Cycles)})
		for _, c := range row.Cells {
			brackets = brackets || c.Unsure
		}
		v.Rows = append(v.Rows, row)
	}
	if brackets {
		v.Note += " In brackets: too unsure to count."
	}
}

// counted are the firings that each trend rests on.
func counted(ts ...health.Trend) (out []map[uint64]bool) {
	for _, t := range ts {
		m := map[uint64]bool{}
		for _, p := range t.Points {
			m[p.Firing] = true
		}
		out = append(out, m)
	}
	return out
}

func ratioCell(e health.Estimate, counts bool) kilnCell {
	text := known(e.Value, func(v float64) string {
		return fmt.Sprintf("%.0f ± %.0f", 100*v, math.Max(200*float64(e.SE), 1))
	})
	if e.Value.Known() && !counts {
		return kilnCell{"(" + text + ")", true}
	}
	return kilnCell{Text: text}
}

func known(n summary.Number, word func(float64) string) string {
	if !n.Known() {
		return "–"
	}
	return word(float64(n))
}

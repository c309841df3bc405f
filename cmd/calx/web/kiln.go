package web

import (
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"unicode"

	"calx/cmd/calx/health"
	"calx/cmd/calx/summary"
)

// wear adds the paths of the kiln over all its firings.
func (a *api) wear(m *http.ServeMux) {
	m.HandleFunc("GET /kiln", a.kilnPage)
	m.HandleFunc("GET /api/health", a.kilnHealth)
}

// report is the health as it was worked out last; nil, and why, before that.
func (a *api) report() (*health.Report, string) {
	if r := a.Metrics.wear.report.Load(); r != nil && r.Firings > 0 {
		return r, ""
	}
	if _, running := a.Log.Unfinished(); running {
		return nil, "A firing is under way. The health of the kiln is worked out when it has ended."
	}
	heads, _ := a.Log.Firings()
	for _, h := range heads {
		if h.Outcome != "" && h.Imported == "" {
			return nil, "The health of the kiln is being worked out from its firings; look again in a minute."
		}
	}
	return nil, "No firing has ended yet, so nothing is known of the health of this kiln."
}

// kilnHealth answers with the object of calx show --health --json.
func (a *api) kilnHealth(w http.ResponseWriter, _ *http.Request) {
	r, why := a.report()
	if r == nil {
		refuse(w, http.StatusNotFound, "%s", why)
		return
	}
	write(w, http.StatusOK, r)
}

// kilnKind is the name of the page.
const kilnKind = "Health of the kiln"

// kilnPage shows it to a person.
func (a *api) kilnPage(w http.ResponseWriter, q *http.Request) {
	r, why := a.report()
	usual := ""
	if r != nil {
		usual = r.Units
	}
	inF, err := unitsOf(q, usual)
	switch {
	case err != nil:
		showWords(w, http.StatusBadRequest, page{Kind: kilnKind, Title: "Which units?"}, err.Error()+".")
	case r == nil:
		showWords(w, http.StatusOK, page{Kind: kilnKind, Title: "Nothing to show yet"}, why,
			"This page shows, firing by firing, what the elements give and when they no longer hold the top heat, what door seal and lining lose, how far the relay is worn, and whether the thermocouples still agree. It takes three firings from a cold kiln, each with a long hold, until wear can be told.")
	default:
		_, running := a.Log.Unfinished()
		show(w, http.StatusOK, "kiln", page{Kind: kilnKind, Title: printable(r.Kiln), Units: unitLinks(inF), Body: viewKiln(r, inF, running)})
	}
}

// printable drops what shows nothing, or turns the line around.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, s)
}

// kilnView is what the page shows.
type kilnView struct {
	health.Words
	Lead     health.Finding
	Also     []health.Finding
	Running  string
	Panels   []kilnPanel
	Note     string // to the table
	Columns  []string
	Rows     []kilnRow
	Cautions []string
}

// kilnPanel is one part, with its drawing.
type kilnPanel struct {
	health.Part
	ID   string
	Plot *plot
	Bar  *wearBar
}

// wearBar is how much of something is used up.
type wearBar struct {
	ID, Title, Desc, Class, End string
	Filled                      float64 // per cent
}

func viewKiln(r *health.Report, inF, running bool) kilnView {
	w := r.Words(inF)
	v := kilnView{Words: w, Lead: w.Findings[0], Also: w.Findings[1:], Cautions: health.Cautions()}
	if running {
		v.Running = "A firing is under way; it counts when it has ended."
	}
	for i, p := range w.Parts {
		k := kilnPanel{Part: p, ID: "part-" + strconv.Itoa(i+1)}
		if len(p.Trend.Points) > 0 {
			k.Plot = courseOf(r, p, k.ID+"-plot", inF).draw()
		}
		if p.Name == "relay" && r.Rated > 0 {
			k.Bar = barOf(r, p, k.ID+"-bar")
		}
		v.Panels = append(v.Panels, k)
	}
	v.table(r, inF)
	return v
}

// courseOf says how the trend of a part is drawn.
func courseOf(r *health.Report, p health.Part, id string, inF bool) course {
	t := p.Trend
	c := course{ID: id, Trend: t, Entries: r.Entries, Title: p.Title + " over the firings"}
	degree := map[bool]string{false: "°C", true: "°F"}[inF]
	switch p.Name {
	case "elements", "heat loss":
		c.Shown, c.Unit = func(v float64) float64 { return 100 * v }, "% of the kiln file"
		c.Home = &level{Value: 1, Label: "kiln file"}
	case "probes":
		c.Shown, c.Unit = func(v float64) float64 { return apart(v, inF) }, degree+", chamber less second"
		c.Home = &level{Value: 0, Label: "alike"}
	default:
		c.Shown, c.Unit = func(v float64) float64 { return degrees(v, inF) }, degree
		c.Home = &level{Value: health.QuartzC, Label: "true"}
	}
	if p.Name == "elements" {
		c.Tall = true
		if r.Needed.Known() {
			hold := fmt.Sprintf("to hold %.0f %s", degrees(r.TopC, inF), degree)
			c.Goal = &level{float64(r.Needed), hold, fmt.Sprintf("%s takes %.0f %%, below this picture", hold, 100*float64(r.Needed))}
			if r.Reach != nil && r.Reach.In > 0 {
				c.Reach = r.Reach
			}
		}
	}
	c.Desc = describe(c)
	return c
}

// describe says in words what a drawing shows.
func describe(c course) string {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range c.Trend.Points {
		lo, hi = math.Min(lo, c.Shown(float64(p.Value.Value))), math.Max(hi, c.Shown(float64(p.Value.Value)))
	}
	d := fmt.Sprintf("Points of %d firings, from %.1f to %.1f (%s); ", len(c.Trend.Points), lo, hi, c.Unit)
	if l, ok := c.Trend.Line(); ok {
		d += fmt.Sprintf("a line from %.1f to %.1f", c.Shown(l.At(float64(c.Trend.Points[0].Place))), c.Shown(l.At(float64(len(c.Entries)-1))))
	} else {
		d += "no line, since no trend is told"
	}
	if c.Goal != nil && c.Reach != nil {
		d += fmt.Sprintf("; it goes on to %.1f, %s, in about %s", c.Shown(c.Goal.Value), c.Goal.Label, c.Reach)
	}
	return d + ". The table below has the figures."
}

func barOf(r *health.Report, p health.Part, id string) *wearBar {
	b := &wearBar{ID: id, Title: "Closures against rated cycles", Desc: p.Value + " " + p.Of, Class: "worn", End: fmt.Sprintf("%d rated", r.Rated)}
	b.Filled = 100 * float64(r.Cycles) / float64(r.Rated)
	if b.Filled >= 100 {
		b.Filled, b.Class = 100, "over"
	}
	return b
}

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
func (v *kilnView) table(r *health.Report, inF bool) {
	degree := map[bool]string{false: "°C", true: "°F"}[inF]
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
				return fmt.Sprintf("%+.1f ± %.1f", apart(c, inF), math.Max(apart(2*float64(f.Second.SE), inF), 0.1))
			})})
		}
		if quartz {
			row.Cells = append(row.Cells, kilnCell{Text: known(f.Inversion.Value, func(c float64) string { return fmt.Sprintf("%.0f", degrees(c, inF)) })})
		}
		row.Cells = append(row.Cells,
			kilnCell{Text: known(f.PeakC, func(c float64) string { return fmt.Sprintf("%.0f", degrees(c, inF)) })},
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

// degrees is a temperature in the unit shown, apart a difference.
func degrees(c float64, inF bool) float64 {
	if inF {
		return c*9/5 + 32
	}
	return c
}

func apart(c float64, inF bool) float64 {
	if inF {
		return c * 9 / 5
	}
	return c
}

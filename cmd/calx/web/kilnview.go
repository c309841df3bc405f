package web

import (
	"fmt"
	"math"
	"strconv"

	"calx/cmd/calx/health"
)

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

func viewKiln(r *health.Report, u health.Units, running bool) kilnView {
	w := r.Words(u)
	v := kilnView{Words: w, Lead: w.Findings[0], Also: w.Findings[1:], Cautions: health.Cautions()}
	if running {
		v.Running = "A firing is under way; it counts when it has ended."
	}
	for i, p := range w.Parts {
		k := kilnPanel{Part: p, ID: "part-" + strconv.Itoa(i+1)}
		if len(p.Trend.Points) > 0 {
			k.Plot = courseOf(r, p, k.ID+"-plot", u).draw()
		}
		if p.Name == "relay" && r.Rated > 0 {
			k.Bar = barOf(r, p, k.ID+"-bar")
		}
		v.Panels = append(v.Panels, k)
	}
	v.table(r, u)
	return v
}

// courseOf says how the trend of a part is drawn.
func courseOf(r *health.Report, p health.Part, id string, u health.Units) course {
	t := p.Trend
	c := course{ID: id, Trend: t, Entries: r.Entries, Title: p.Title + " over the firings"}
	degree := u.Degree()
	switch p.Name {
	case "elements", "heat loss":
		c.Shown, c.Unit = func(v float64) float64 { return 100 * v }, "% of the kiln file"
		c.Home = &level{Value: 1, Label: "kiln file"}
	case "probes":
		c.Shown, c.Unit = u.Apart, degree+", chamber less second"
		c.Home = &level{Value: 0, Label: "alike"}
	default:
		c.Shown, c.Unit = u.Of, degree
		c.Home = &level{Value: health.QuartzC, Label: "true"}
	}
	if p.Name == "elements" {
		c.Tall = true
		if r.Needed.Known() {
			hold := "to hold " + u.At(r.TopC)
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
	if c.Goal != nil && c.Reach != nil && !c.Reach.Beyond(len(c.Entries)) {
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

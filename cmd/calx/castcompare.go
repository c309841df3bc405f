package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"calx/storage/record"
)

type castCompareCmd struct {
	By     string `help:"What to compare by." enum:"wash-out,metal,mould" default:"wash-out" placeholder:"wash-out|metal|mould"`
	Of     string `help:"Which outcome to count: good, or a defect." default:"good" placeholder:"NAME"`
	Search string `help:"Only castings that have this text anywhere." placeholder:"TEXT"`
	logFlags
	jsonFlag
}

// compareResult is the object that --json writes.
type compareResult struct {
	By       string     `json:"by"`
	Of       string     `json:"of"`
	Groups   []groupRow `json:"groups"`
	LeftOut  int        `json:"left_out"` // castings without an outcome, or without what they are compared by
	Verdict  string     `json:"verdict"`
	DiffLow  *float64   `json:"difference_low"` // of the first group's share less the second's, 95 %; null unless there are two groups
	DiffHigh *float64   `json:"difference_high"`
}

type groupRow struct {
	Name  string  `json:"name"`
	Count int     `json:"count"`
	Total int     `json:"total"`
	Share float64 `json:"share"`
	Low   float64 `json:"low"` // with High, the Wilson score interval, 95 %
	High  float64 `json:"high"`
}

func (c *castCompareCmd) Run(e *env) error {
	if c.Of != record.Good && !slices.Contains(record.Defects[:], c.Of) {
		return usageError{fmt.Errorf("--of is %q; it must be good, or of %s", c.Of, strings.Join(record.Defects[:], ", "))}
	}
	all, damage := c.notes(e.ctx, record.CastingNote)
	if all == nil && damage != nil {
		return damage
	}
	res := compare(search(record.Standing(record.Latest(all)), c.Search), c.By, c.Of)
	if c.JSON {
		return errors.Join(e.writeJSON(res), damage)
	}
	res.print(e)
	return damage
}

func compare(notes []record.Note, by, of string) compareResult {
	res := compareResult{By: by, Of: of, Groups: []groupRow{}}
	for _, n := range notes {
		name := groupOf(n.Casting, by)
		if name == "" || len(n.Casting.Outcome) == 0 {
			res.LeftOut++
			continue
		}
		i := slices.IndexFunc(res.Groups, func(g groupRow) bool { return g.Name == name })
		if i < 0 {
			i = len(res.Groups)
			res.Groups = append(res.Groups, groupRow{Name: name})
		}
		res.Groups[i].Total++
		if slices.Contains(n.Casting.Outcome, of) {
			res.Groups[i].Count++
		}
	}
	slices.SortFunc(res.Groups, func(a, b groupRow) int { return strings.Compare(b.Name, a.Name) })
	for i := range res.Groups {
		g := &res.Groups[i]
		g.Share = float64(g.Count) / float64(g.Total)
		g.Low, g.High = wilson(g.Count, g.Total)
	}
	res.judge()
	return res
}

func groupOf(c *record.Casting, by string) string {
	switch by {
	case "metal":
		return c.Metal
	case "mould":
		return strings.Join(c.Moulds, " + ")
	}
	return map[string]string{"yes": "with wash-out", "no": "without wash-out"}[c.WashOut]
}

// judge says no more than the counts do.
func (r *compareResult) judge() {
	if len(r.Groups) != 2 {
		r.Verdict = fmt.Sprintf("cannot tell: two groups are compared, and there are %d", len(r.Groups))
		return
	}
	a, b := r.Groups[0], r.Groups[1]
	low, high := newcombe(a, b)
	r.DiffLow, r.DiffHigh = &low, &high
	counts := fmt.Sprintf("%d of %d against %d of %d", a.Count, a.Total, b.Count, b.Total)
	switch {
	case low > 0:
		r.Verdict = fmt.Sprintf("%s: %s more often %s", counts, a.Name, r.Of)
	case high < 0:
		r.Verdict = fmt.Sprintf("%s: %s more often %s", counts, b.Name, r.Of)
	default:
		r.Verdict = counts + ": cannot tell"
	}
}

// z95 is the 97.5 % point of the normal distribution.
const z95 = 1.959963984540054

// wilson is the score interval of a proportion, 95 %: E. B. Wilson, Journal of
// the American Statistical Association 22 (1927) 209. total is above 0. For 81
// of 263 it is 0.2553 to 0.3662.
func wilson(count, total int) (low, high float64) {
	n, p := float64(total), float64(count)/float64(total)
	middle := p + z95*z95/(2*n)
	half := z95 * math.Sqrt(p*(1-p)/n+z95*z95/(4*n*n))
	whole := 1 + z95*z95/n
	return max(0, (middle-half)/whole), min(1, (middle+half)/whole)
}

// newcombe is the interval of the difference of two proportions, 95 %, from
// their score intervals: R. G. Newcombe, Statistics in Medicine 17 (1998) 873,
// method 10.
func newcombe(a, b groupRow) (low, high float64) {
	d := a.Share - b.Share
	return d - math.Hypot(a.Share-a.Low, b.High-b.Share), d + math.Hypot(a.High-a.Share, b.Share-b.Low)
}

func (r compareResult) print(e *env) {
	if len(r.Groups) == 0 {
		e.printf("nothing to compare: no casting has both an outcome and a %s\n", r.By)
		return
	}
	for _, g := range r.Groups {
		e.printf("%s: %d of %d %s, %s (95 %% interval %s to %s)\n", printable(g.Name), g.Count, g.Total, r.Of, share(g.Share), percent(g.Low), percent(g.High))
	}
	e.printf("%s\n", printable(r.Verdict))
	if len(r.Groups) == 2 {
		e.printf("%s\n", wrap("A difference found so may have another cause: castings differ in more than one thing.", e.width, 0))
	}
	if r.LeftOut > 0 {
		e.printf("%d left out: without an outcome or a %s\n", r.LeftOut, r.By)
	}
}

package chart

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// letters name the marks, in the sketch and in the image alike.
const letters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"

// keyed is a mark with its letter.
type keyed struct {
	Mark
	letter string
}

// pick keeps at most n marks, the gravest first and among equals the earliest,
// and letters them in order of time. left says how many were not kept.
func pick(all []Mark, n int) (kept []keyed, left int) {
	n = max(min(n, len(letters)), 0)
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(all[b].Severity, all[a].Severity), cmp.Compare(all[a].Since, all[b].Since))
	})
	order = order[:min(n, len(order))]
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(all[a].Since, all[b].Since), cmp.Compare(a, b))
	})
	for i, o := range order {
		kept = append(kept, keyed{all[o], letters[i : i+1]})
	}
	return kept, len(all) - len(kept)
}

func hoursSince(t time.Duration) string { return fmt.Sprintf("%.1f h", t.Hours()) }

// clock is the wall clock at a time since the start, if the start is known.
func (f Firing) clock(since time.Duration) string {
	if f.Start.IsZero() {
		return ""
	}
	return f.Start.Add(since).Format("Mon 15:04")
}

// spread puts things of the given width, wanted at the ascending centres at,
// side by side within [lo, hi] so that none overlap, each as near to its place
// as those before it allow. If they cannot all fit they share the room evenly.
func spread(at []float64, width, lo, hi float64) []float64 {
	n := len(at)
	out := make([]float64, n)
	if n == 0 {
		return out
	}
	width = min(width, (hi-lo)/float64(n))
	edge := lo
	for i, x := range at {
		out[i] = max(x, edge+width/2)
		edge = out[i] + width/2
	}
	edge = hi
	for i := n - 1; i >= 0; i-- {
		out[i] = min(out[i], edge-width/2)
		edge = out[i] - width/2
	}
	return out
}

// stagger deals things wanted at the ascending centres at to at most rows
// rows: to the first row where the thing is free at its own place, else to the
// row that has most room. It returns the row and the centre of each, and how
// many rows are in use.
func stagger(at []float64, width, lo, hi float64, rows int) (row []int, centre []float64, used int) {
	rows = max(rows, 1)
	row, centre = make([]int, len(at)), make([]float64, len(at))
	edge := make([]float64, rows)
	for r := range edge {
		edge[r] = lo - width
	}
	for i, x := range at {
		best := 0
		for r := range edge {
			if edge[r] <= x-width/2 {
				best = r
				break
			}
			if edge[r] < edge[best] {
				best = r
			}
		}
		row[i] = best
		edge[best] = max(x, edge[best]+width/2) + width/2
		used = max(used, best+1)
	}
	for r := range used {
		var want []float64
		for i := range at {
			if row[i] == r {
				want = append(want, at[i])
			}
		}
		got := spread(want, width, lo, hi)
		for i := range at {
			if row[i] == r {
				centre[i], got = got[0], got[1:]
			}
		}
	}
	return row, centre, used
}

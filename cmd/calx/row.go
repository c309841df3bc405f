package main

import (
	"strings"

	"golang.org/x/text/width"
)

// row is one line of a view: it never grows wider than its width, whatever it
// is given.
type row struct {
	strings.Builder
	used, width    int
	color, unicode bool
}

// put appends text in a colour; what does not fit ends in an ellipsis.
func (r *row) put(sgr, s string) *row {
	s = printable(s)
	if !r.unicode {
		s = sevenBits.Replace(s)
	}
	s = fit(s, r.width-r.used)
	r.used += cells(s)
	r.WriteString(paintIf(r.color, sgr, s))
	return r
}

// maybe appends text that fits, or nothing.
func (r *row) maybe(sgr, s string) *row {
	if r.used+cells(s) <= r.width {
		r.put(sgr, s)
	}
	return r
}

// to moves on to a column, if the row is not past it.
func (r *row) to(column int) *row {
	if n := min(column, r.width) - r.used; n > 0 {
		r.WriteString(strings.Repeat(" ", n))
		r.used += n
	}
	return r
}

// end appends text that ends at the right edge, if it fits.
func (r *row) end(sgr, s string) *row {
	if n := cells(s); r.used+2+n <= r.width {
		r.to(r.width-n).put(sgr, s)
	}
	return r
}

// sevenBits spells what views write beyond ASCII.
var sevenBits = strings.NewReplacer("°", "", "·", "-", "–", "-", "—", "-", "−", "-", "…", "~", "→", "->", "█", "#", "▌", "#", "░", ".")

// cells is how many columns a terminal gives s (Unicode Standard Annex #11,
// East Asian Width).
func cells(s string) int {
	n := 0
	for _, r := range s {
		n += cellsOf(r)
	}
	return n
}

func cellsOf(r rune) int {
	switch width.LookupRune(r).Kind() {
	case width.EastAsianWide, width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// fit shortens s to n columns.
func fit(s string, n int) string {
	if cells(s) <= n {
		return s
	}
	used := 0
	for i, r := range s {
		if used+cellsOf(r) > n-1 {
			if n < 1 {
				return ""
			}
			return s[:i] + "…"
		}
		used += cellsOf(r)
	}
	return s
}

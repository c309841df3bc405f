package chart

import (
	"io"
	"strings"
	"unicode"

	"golang.org/x/text/width"
)

// tone is what a cell of the sketch shows; it chooses the colour, if any.
type tone uint8

const (
	plain   tone = iota
	quiet        // axes and labels
	hot          // measured
	planned      // setpoint, and the plan
	heat         // duty
	extra        // further curves
	grave        // alarms, the ceiling, missing readings
)

// sgr holds the parameters of ECMA-48 (5th edition, 8.3.117) for each tone, all
// from the sixteen colours that a terminal's own theme keeps legible.
var sgr = [...]string{plain: "", quiet: "2", hot: "1;36", planned: "33", heat: "34", extra: "35", grave: "31"}

// grid is a page of character cells.
type grid struct {
	w, h    int
	unicode bool // false: seven bits only
	r       []rune
	t       []tone
}

func newGrid(w, h int, unicode bool) *grid {
	g := &grid{w: w, h: h, unicode: unicode, r: make([]rune, w*h), t: make([]tone, w*h)}
	for i := range g.r {
		g.r[i] = ' '
	}
	return g
}

func (g *grid) set(x, y int, r rune, t tone) {
	if x >= 0 && x < g.w && y >= 0 && y < g.h {
		g.r[y*g.w+x], g.t[y*g.w+x] = r, t
	}
}

// covered stands in the second cell of a wide character.
const covered = rune(-1)

// text writes s from column x, no further than column limit, and returns the
// column after it. What does not fit ends in an ellipsis.
func (g *grid) text(x, y, limit int, s string, t tone) int {
	limit = min(limit, g.w)
	if !g.unicode {
		s = strings.ReplaceAll(s, "°", "")
	}
	for _, r := range clip(s, limit-x) {
		g.set(x, y, r, t)
		x++
		if cellsOf(r) == 2 {
			g.set(x, y, covered, t)
			x++
		}
	}
	return x
}

// writeTo writes the page without trailing blanks.
func (g *grid) writeTo(w io.Writer, colour bool) error {
	var b strings.Builder
	for y := range g.h {
		row := g.r[y*g.w : (y+1)*g.w]
		last := len(row)
		for last > 0 && row[last-1] == ' ' {
			last--
		}
		now := plain
		for x, r := range row[:last] {
			t := g.t[y*g.w+x]
			if r == ' ' {
				t = now
			}
			if colour && t != now {
				if now != plain {
					b.WriteString("\x1b[0m")
				}
				if t != plain {
					b.WriteString("\x1b[" + sgr[t] + "m")
				}
				now = t
			}
			if !g.unicode {
				r = ascii(r)
			}
			if r != covered {
				b.WriteRune(r)
			}
		}
		if now != plain {
			b.WriteString("\x1b[0m")
		}
		b.WriteByte('\n')
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// asciiOf spells what the sketch itself writes in seven bits.
var asciiOf = map[rune]rune{
	'·': '-', '…': '~', '–': '-', '—': '-', '│': '|', '─': '-', '┤': '+', '└': '+', '┴': '+',
	'×': 'x', '’': '\'', '−': '-',
}

func ascii(r rune) rune {
	if r < unicode.MaxASCII {
		return r
	}
	if a, ok := asciiOf[r]; ok {
		return a
	}
	return '?'
}

// cellsOf is how many columns a terminal gives a printable character (Unicode
// Standard Annex #11, East Asian Width).
func cellsOf(r rune) int {
	switch width.LookupRune(r).Kind() {
	case width.EastAsianWide, width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// tidy drops what would move the cursor, change colours or take no room: names
// and notices may come from elsewhere.
func tidy(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\t', r == '\n':
			return ' '
		case !unicode.IsPrint(r), unicode.Is(unicode.Mn, r), unicode.Is(unicode.Me, r):
			return -1
		}
		return r
	}, s)
}

// clip tidies s and shortens it to n columns.
func clip(s string, n int) string {
	s = tidy(s)
	if cellsIn(s) <= n {
		return s
	}
	if n <= 0 {
		return ""
	}
	used := 0
	for i, r := range s {
		if used+cellsOf(r) > n-1 {
			return strings.TrimRight(s[:i], " ") + "…"
		}
		used += cellsOf(r)
	}
	return s
}

func cellsIn(s string) int {
	n := 0
	for _, r := range s {
		n += cellsOf(r)
	}
	return n
}

package main

import "strings"

// bigRows is the height of big figures in lines; each line shows two rows of
// the pattern below.
const bigRows = 4

// bigFigures is our own lettering: eight rows of dots a figure.
var bigFigures = map[rune][2 * bigRows]string{
	'0': {" #### ", "######", "##  ##", "##  ##", "##  ##", "##  ##", "######", " #### "},
	'1': {"  ##  ", " ###  ", "####  ", "  ##  ", "  ##  ", "  ##  ", "######", "######"},
	'2': {" #### ", "######", "##  ##", "   ###", "  ### ", " ###  ", "######", "######"},
	'3': {"##### ", "######", "    ##", " #### ", " #### ", "    ##", "######", "##### "},
	'4': {"   ## ", "  ### ", " #### ", "## ## ", "######", "######", "   ## ", "   ## "},
	'5': {"######", "######", "##    ", "##### ", "######", "    ##", "######", "##### "},
	'6': {" #### ", "##### ", "##    ", "##### ", "######", "##  ##", "######", " #### "},
	'7': {"######", "######", "    ##", "   ## ", "  ##  ", "  ##  ", "  ##  ", "  ##  "},
	'8': {" #### ", "######", "##  ##", " #### ", " #### ", "##  ##", "######", " #### "},
	'9': {" #### ", "######", "##  ##", "######", " #####", "    ##", " #####", " #### "},
	'.': {"  ", "  ", "  ", "  ", "  ", "  ", "##", "##"},
	'-': {"    ", "    ", "    ", "####", "####", "    ", "    ", "    "},
}

// halves are the blocks for the upper and the lower of two dots.
var halves = map[bool]map[string]string{
	true:  {"  ": " ", "# ": "▀", " #": "▄", "##": "█"},
	false: {"  ": " ", "# ": "\"", " #": "o", "##": "#"},
}

// big writes figures as lines of equal width, bigRows times scale of them.
func big(s string, scale int, unicode bool) []string {
	out := make([]string, bigRows*scale)
	for y := range out {
		upper, lower := 2*y/scale, (2*y+1)/scale
		var b strings.Builder
		for i, r := range s {
			dots, ok := bigFigures[r]
			if !ok {
				continue
			}
			if i > 0 {
				b.WriteString(strings.Repeat(" ", scale))
			}
			for x := range dots[0] {
				b.WriteString(strings.Repeat(halves[unicode][string([]byte{dots[upper][x], dots[lower][x]})], scale))
			}
		}
		out[y] = b.String()
	}
	return out
}

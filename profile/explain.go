package profile

import (
	"errors"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/alecthomas/participle/v2"
)

// explain turns what the parser says about a line into an Error in our words.
func explain(err error, line string, lineNo int, ts tokens) *Error {
	var s *slip
	var odd *participle.UnexpectedTokenError
	switch {
	case errors.As(err, &s):
	case errors.As(err, &odd):
		s = &slip{extent: from(&odd.Unexpected), guess: true}
	default:
		s = &slip{extent: extent{0, len(line)}, want: err.Error()}
	}
	e := placeError(line, lineNo, s.extent)
	head := strings.ToLower(ts[0].Value)
	e.Want = s.want
	if s.guess && (e.Want == "" || head == "hold" && s.start <= secondStart(ts)) {
		e.Want = misfit(head, e.Got)
	}
	if s.guess {
		e.Want = didYouMean(head, e.Got, s.start == ts[0].Pos.Offset) + e.Want
	}
	return e
}

// secondStart is where the second word of a line starts, or its end.
func secondStart(ts tokens) int { return ts[min(1, len(ts)-1)].Pos.Offset }

// placeError gives an error the place and the text of a stretch of a line.
func placeError(line string, lineNo int, at extent) *Error {
	start, end := min(at.start, len(line)), min(at.end, len(line))
	return &Error{
		Line: lineNo, Col: utf8.RuneCountInString(line[:start]) + 1,
		Got: line[start:end],
	}
}

// misfit says how a sentence with this first word is written.
func misfit(head, got string) string {
	how, known := usage[head]
	switch {
	case !known:
		return "a sentence starts with " + starts
	case got == "":
		return how
	case strings.EqualFold(got, "pm") || strings.EqualFold(got, "am"):
		return "the time of day is on the 24-hour clock; write 2 pm as 14:00"
	}
	return "does not fit here; " + how
}

// didYouMean suggests the nearest word that may stand there, or nothing.
func didYouMean(head, got string, first bool) string {
	choices := vocabulary[head]
	if first {
		choices = nil
		for w := range vocabulary {
			choices = append(choices, w)
		}
		slices.Sort(choices)
	}
	got = strings.ToLower(got)
	if utf8.RuneCountInString(got) > clipAt || slices.Contains(choices, got) {
		return ""
	}
	best, nearest := "", 3
	for _, w := range choices {
		if d := distance(got, w); d < nearest && d <= max(1, (len(w)-1)/2) {
			best, nearest = w, d
		}
	}
	if best == "" {
		return ""
	}
	return `did you mean "` + best + `"? `
}

// distance counts the single-letter edits and swaps of neighbours from a to b
// (optimal string alignment; Damerau, Commun. ACM 7 (1964) 171).
func distance(a, b string) int {
	s, t := []rune(a), []rune(b)
	d := make([][]int, len(s)+1)
	for i := range d {
		d[i] = make([]int, len(t)+1)
		d[i][0] = i
	}
	for j := range t {
		d[0][j+1] = j + 1
	}
	for i := 1; i <= len(s); i++ {
		for j := 1; j <= len(t); j++ {
			cost := 1
			if s[i-1] == t[j-1] {
				cost = 0
			}
			d[i][j] = min(d[i-1][j]+1, d[i][j-1]+1, d[i-1][j-1]+cost)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(s)][len(t)]
}

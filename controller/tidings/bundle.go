package tidings

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"calx/storage/record"
)

const (
	// lateAfter is how old a message is that says so: people act on what they
	// read as if it were now.
	lateAfter = 5 * time.Minute
	// MostAtOnce is how many messages go out as one: services cut at 2 to 4 KB.
	MostAtOnce = 8
	// Longest lines and texts, in bytes.
	mostSubject = 150
	mostBody    = 1500
)

// Bundle words what is sent at a time, 1 to MostAtOnce messages in the order
// they came up: after a night of quiet or without a network one letter, not
// eight. again is how often the first of them was told before; local is the
// clock on the wall, in the zone of the house.
func Bundle(ms []record.Message, again int, local time.Time) (subject, body string) {
	if len(ms) == 1 {
		subject, body = ms[0].Subject, ms[0].Body
		if w := when(&ms[0], local); w != "" {
			body = joined(body, w)
		}
		if again > 0 {
			subject = "still: " + subject
		}
		if Repeats(&ms[0]) && ms[0].Acked.IsZero() {
			body = joined(body, "calx tell --ack   when you have seen this; it is repeated until then")
		}
		return subject, body
	}
	lead := 0
	for i := range ms {
		if ms[i].Severity >= ms[lead].Severity { // of two that are as grave, the later
			lead = i
		}
	}
	var b strings.Builder
	for i := range ms {
		fmt.Fprintf(&b, "%s  %s\n", clock(ms[i].At, local), ms[i].Subject)
		if i == lead && ms[i].Body != "" {
			fmt.Fprintf(&b, "%s\n", indented(ms[i].Body))
		}
	}
	return fmt.Sprintf("%s (and %d more)", ms[lead].Subject, len(ms)-1), strings.TrimSuffix(b.String(), "\n")
}

// when says when it happened, for what is told late.
func when(m *record.Message, local time.Time) string {
	if local.Sub(m.At) < lateAfter {
		return ""
	}
	return "told late: this was at " + clock(m.At, local)
}

// clock is a time of day, with the day unless it is today.
func clock(at, local time.Time) string {
	at = at.In(local.Location())
	y, m, d := local.Date()
	if ay, am, ad := at.Date(); ay == y && am == m && ad == d {
		return at.Format("15:04")
	}
	return at.Format("Mon 2 Jan 15:04")
}

func joined(body, line string) string {
	if body == "" {
		return line
	}
	return body + "\n" + line
}

func indented(s string) string { return "       " + strings.ReplaceAll(s, "\n", "\n       ") }

// Fit cuts subject and body to what every service takes, drops what would
// break a header or a terminal, and says where something was cut.
func Fit(m *record.Message) {
	m.Subject = cut(clean(m.Subject, false), mostSubject)
	m.Body = cut(clean(m.Body, true), mostBody)
}

func clean(s string, lines bool) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' && lines:
			return r
		case r == '\n' || r == '\r' || r == '\t':
			return ' '
		case r < ' ' || r == 0x7f || r == utf8.RuneError:
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, ""))
}

// cut shortens s to at most n bytes, at a whole character.
func cut(s string, n int) string {
	const mark = " …"
	if len(s) <= n {
		return s
	}
	at := n - len(mark)
	for at > 0 && !utf8.RuneStart(s[at]) {
		at--
	}
	return strings.TrimRight(s[:at], " ") + mark
}

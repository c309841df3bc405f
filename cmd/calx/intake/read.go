package intake

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

const (
	mostBytes = 256 << 20
	mostRows  = 5_000_000
	longest   = 60 * 24 * time.Hour
)

// separators in the order in which they are tried.
var separators = []rune{',', ';', '\t', '|'}

// Read reads a table. file names it in errors, which are Errors.
func Read(file string, data []byte, o Options) (*Table, error) {
	fail := func(line, column int, format string, a ...any) error {
		return Errors{{file, line, column, fmt.Sprintf(format, a...)}}
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")) // byte order mark, RFC 3629 section 6
	switch {
	case len(data) > mostBytes:
		return nil, fail(1, 1, "the file has %d MB; a firing has at most %d", len(data)>>20, mostBytes>>20)
	case bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")):
		return nil, fail(1, 1, "the file is UTF-16; save it as UTF-8")
	case !utf8.Valid(data):
		data = latin1(data)
	}
	sep, err := separator(file, data, o)
	if err != nil {
		return nil, err
	}
	r := &reader{file: file, o: o, csv: newCSV(data, sep)}
	r.sep = sep
	return r.read()
}

// latin1 is what older loggers write: every byte is the character of its
// number (ISO 8859-1).
func latin1(data []byte) []byte {
	var b bytes.Buffer
	for _, c := range data {
		b.WriteRune(rune(c))
	}
	return b.Bytes()
}

func newCSV(data []byte, sep rune) *csv.Reader {
	r := csv.NewReader(bytes.NewReader(data))
	r.Comma, r.FieldsPerRecord, r.ReuseRecord = sep, -1, true
	return r
}

// separator is the first one that finds every column.
func separator(file string, data []byte, o Options) (rune, error) {
	if o.Separator != 0 {
		return o.Separator, nil
	}
	var first error
	for _, s := range separators {
		head, err := newCSV(data, s).Read()
		if err == nil {
			_, err = find(file, head, o)
		}
		if err == nil {
			return s, nil
		}
		if first == nil || len(head) > 1 {
			first = err
		}
	}
	return separators[0], located(file, first)
}

// located gives an error of package csv its place.
func located(file string, err error) error {
	var p *csv.ParseError
	switch {
	case errors.Is(err, io.EOF):
		return Errors{{file, 1, 1, "the file is empty"}}
	case errors.As(err, &p):
		return Errors{{file, p.Line, p.Column, p.Err.Error() + "; a field with quotes is written \"so\", and a quote within it twice"}}
	}
	return err
}

// columns are the places of the columns, from 0; -1 for none.
type columns struct{ date, time, temp, set, duty int }

func find(file string, head []string, o Options) (c columns, err error) {
	var es Errors
	at := func(name, flag string, needed bool) int {
		if name == "" {
			if needed {
				es = append(es, Error{file, 1, 1, "no column given; name it with " + flag})
			}
			return -1
		}
		for i, h := range head {
			if strings.EqualFold(strings.TrimSpace(h), strings.TrimSpace(name)) {
				return i
			}
		}
		if n, err := strconv.Atoi(name); err == nil && n >= 1 && n <= len(head) {
			return n - 1
		}
		es = append(es, Error{file, 1, 1, fmt.Sprintf("%s: there is no column %q; the first line has %s", flag, name, quoted(head))})
		return -1
	}
	c = columns{at(o.Date, "--date", false), at(o.Time, "--time", true), at(o.Temp, "--temp", true), at(o.Setpoint, "--setpoint", false), at(o.Duty, "--duty", false)}
	if es != nil {
		return c, es
	}
	return c, nil
}

func quoted(head []string) string {
	const most = 12
	var out []string
	for i, h := range head {
		if i == most {
			out = append(out, fmt.Sprintf("and %d more", len(head)-most))
			break
		}
		out = append(out, strconv.Quote(clip(strings.TrimSpace(h))))
	}
	return strings.Join(out, ", ")
}

// clip shortens a value for an error.
func clip(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

// reader is one table under way.
type reader struct {
	file  string
	o     Options
	csv   *csv.Reader
	sep   rune
	at    columns
	clock clock
	out   Table
	errs  Errors
	fracs bool // a duty above 1.5 was seen: per cent
}

func (r *reader) bad(field int, format string, a ...any) {
	line, column := r.csv.FieldPos(field)
	r.errs = append(r.errs, Error{r.file, line, column, fmt.Sprintf(format, a...)})
}

func (r *reader) read() (*Table, error) {
	head, err := r.csv.Read()
	if err != nil {
		return nil, located(r.file, err)
	}
	if r.at, err = find(r.file, head, r.o); err != nil {
		return nil, err
	}
	r.clock = clock{o: r.o}
	if numeric(head, r.at) { // no header: numbers were given for columns
		r.row(head)
	}
	for len(r.errs) < mostErrors && len(r.out.Rows) < mostRows {
		rec, err := r.csv.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, located(r.file, err)
		}
		r.row(rec)
	}
	if r.errs == nil {
		r.finish()
	}
	if r.errs != nil {
		return nil, r.errs
	}
	return &r.out, nil
}

// numeric reports whether the first line is already a row.
func numeric(head []string, at columns) bool {
	_, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(head[at.temp]), ",", ".", 1), 64)
	return err == nil
}

// row takes one line in.
func (r *reader) row(rec []string) {
	if len(rec) == 1 && strings.TrimSpace(rec[0]) == "" {
		return
	}
	need := max(r.at.time, r.at.temp, r.at.date)
	if len(rec) <= need {
		line, _ := r.csv.FieldPos(0)
		r.errs = append(r.errs, Error{r.file, line, 1, fmt.Sprintf("the line has %d fields; the columns asked for need %d", len(rec), need+1)})
		return
	}
	when := strings.TrimSpace(rec[r.at.time])
	if r.at.date >= 0 {
		when = strings.TrimSpace(rec[r.at.date]) + " " + when
	}
	since, err := r.clock.read(when)
	if err != nil {
		r.bad(r.at.time, "%v", err)
		return
	}
	row := Row{Since: since, TempC: math.NaN(), SetC: math.NaN(), Duty: math.NaN()}
	row.TempC = r.temperature(rec, r.at.temp, "temperature")
	row.SetC = r.temperature(rec, r.at.set, "setpoint")
	row.Duty = r.duty(rec)
	if n := len(r.out.Rows); n > 0 {
		switch last := r.out.Rows[n-1].Since; {
		case since < last:
			r.bad(r.at.time, "read %q, which is before the row above; times must rise; where a clock was set back, give times with their offset or in UTC", clip(when))
			return
		case since == last:
			r.out.Repeated++
			return
		}
	}
	if since > longest {
		r.bad(r.at.time, "read %q, %.0f days after the first row; a firing lasts at most %.0f", clip(when), since.Hours()/24, longest.Hours()/24)
		return
	}
	if math.IsNaN(row.TempC) {
		r.out.Missing++
	}
	r.out.Rows = append(r.out.Rows, row)
}

// finish looks at the table as a whole.
func (r *reader) finish() {
	valid := len(r.out.Rows) - r.out.Missing
	if valid < 2 {
		r.errs = Errors{{r.file, 1, 1, fmt.Sprintf("%d rows with a time and a temperature were found; a firing has two at least", valid)}}
		return
	}
	r.out.Start = r.clock.first
	for i := range r.out.Rows {
		row := &r.out.Rows[i]
		if r.fracs {
			row.Duty /= 100
		}
		row.Duty = min(row.Duty, 1) // 1.02 of a share is all; NaN stays
		r.out.HasSet = r.out.HasSet || !math.IsNaN(row.SetC)
		r.out.HasDuty = r.out.HasDuty || !math.IsNaN(row.Duty)
	}
}

package main

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"time"

	"calx/sim/quantity"
	"calx/storage/record"
)

// notKnown is what takes a value out of an entry again.
const notKnown = "-"

// flagOf is the flag that sets a field of a note.
var flagOf = map[string]string{
	"author": "author", "name": "name", "material": "material", "section_m": "section", "flask": "flask", "sprue": "sprue",
	"firing": "firing", "follow": "follow", "pulled_s": "pulled", "hold_c": "temp", "hold_s": "hold", "state": "state",
	"core_m": "core", "dry_kg": "dry", "residue_kg": "residue", "note": "note", "moulds": "mould", "firings": "firing",
	"wash_out": "wash-out", "wash_out_how": "wash-out-how", "pour_c": "pour-temp", "flask_c": "flask-temp", "metal": "metal",
	"metal_kg": "metal-mass", "photos": "photo", "outcome": "outcome",
}

// asFlags finds fields named in the text about another.
var asFlags = regexp.MustCompile(`\b[a-z]+(_[a-z]+)+\b`)

// inFlags names the flags instead of the fields.
func inFlags(err error) error {
	joined, ok := err.(interface{ Unwrap() []error })
	if err == nil || !ok {
		return err
	}
	var out []error
	for _, one := range joined.Unwrap() {
		var f record.FieldError
		if errors.As(one, &f) && flagOf[f.Field] != "" {
			one = fmt.Errorf("--%s %s", flagOf[f.Field], asFlags.ReplaceAllStringFunc(f.Text, func(field string) string {
				if flag := flagOf[field]; flag != "" {
					return "--" + flag
				}
				return field
			}))
		}
		out = append(out, one)
	}
	return usageError{errors.Join(out...)}
}

// edits apply flags to an entry: what is not given stays, "-" takes out.
type edits []error

func (e *edits) err() error {
	if len(*e) == 0 {
		return nil
	}
	return usageError{errors.Join(*e...)}
}

func (e *edits) fail(flag string, err error) { *e = append(*e, fmt.Errorf("--%s: %w", flag, err)) }

func (e *edits) text(into *string, given string) {
	switch given {
	case "":
	case notKnown:
		*into = ""
	default:
		*into = given
	}
}

func (e *edits) list(into *[]string, given []string) {
	switch {
	case len(given) == 0:
	case len(given) == 1 && given[0] == notKnown:
		*into = nil
	default:
		*into = given
	}
}

// value reads a quantity into the unit it is kept in.
func value[T ~float64, P interface {
	*T
	Parse(string) error
}](text string) (float64, error) {
	var q T
	err := P(&q).Parse(text)
	return float64(q), err
}

func (e *edits) number(flag string, into *float64, given string, read func(string) (float64, error)) {
	switch given {
	case "":
	case notKnown:
		*into = 0
	default:
		v, err := read(given)
		if err != nil {
			e.fail(flag, err)
			return
		}
		*into = v
	}
}

func (e *edits) firing(given string) (id uint64) {
	id, err := strconv.ParseUint(given, 10, 64)
	if err != nil || id == 0 {
		e.fail("firing", fmt.Errorf("%q is not the number of a firing; calx firings lists them", given))
	}
	return id
}

// dayAndTime is how a person writes when something was.
const dayAndTime = "2006-01-02 15:04"

func (e *edits) time(flag string, into *time.Time, given string) {
	switch given {
	case "":
	case notKnown:
		*into = time.Time{}
	default:
		t, err := time.ParseInLocation(dayAndTime, given, time.Local)
		if err != nil {
			e.fail(flag, fmt.Errorf("%q is not a day and a time; it must be like \"2026-11-28 14:00\"", given))
			return
		}
		*into = t.UTC()
	}
}

var (
	readLength      = value[quantity.Length]
	readMass        = value[quantity.Mass]
	readDuration    = value[quantity.Duration]
	readTemperature = value[quantity.Temperature]
)

// withdrawal is how an entry stops counting, and counts again.
type withdrawal struct {
	Withdraw bool `help:"It no longer counts; it stays in the notebook, and --all lists it." xor:"standing"`
	Restore  bool `help:"It counts again." xor:"standing"`
}

func (w withdrawal) apply(n *record.Note) {
	n.Withdrawn = n.Withdrawn && !w.Restore || w.Withdraw
}

// entryArg is which entry is meant.
type entryArg struct {
	Number uint64 `arg:"" help:"Number of the entry." placeholder:"N"`
}

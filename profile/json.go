package profile

import (
	"bytes"
	_ "embed" // the schema
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"strconv"
	"strings"
)

//go:embed schema.json
var schema []byte

// Schema is the JSON Schema (draft 2020-12) of the JSON form of a profile. The
// caller owns the copy.
func Schema() []byte { return bytes.Clone(schema) }

const (
	jsonVersion = 1
	maxJSON     = 1 << 20 // bytes
)

// wireProfile is the JSON form: temperatures and rates in °C, durations in
// seconds, probabilities 0..1, the unit always in the key. "units" is only the
// unit to show the profile in, and C where nothing in it has one.
type wireProfile struct {
	Version     int        `json:"version"`
	Units       string     `json:"units"`
	NeverAboveC *float64   `json:"never_above_c,omitempty"`
	Steps       []wireStep `json:"steps"`
}

type wireStep struct {
	Do        string   `json:"do"`
	Line      int      `json:"line,omitempty"`
	ToC       *float64 `json:"to_c,omitempty"`
	RateCPerH *float64 `json:"rate_c_per_h,omitempty"`
	InS       *float64 `json:"in_s,omitempty"`
	Pace      string   `json:"pace,omitempty"` // fastest, unpowered
	ForS      *float64 `json:"for_s,omitempty"`
	Until     string   `json:"until,omitempty"` // dry, core, clear, stopped, door or 14:00
	WithinC   *float64 `json:"within_c,omitempty"`
	Clear     *float64 `json:"clear,omitempty"`
	AtLeastS  *float64 `json:"at_least_s,omitempty"`
	AtMostS   *float64 `json:"at_most_s,omitempty"`
	BelowC    *float64 `json:"below_c,omitempty"`
	On        *bool    `json:"on,omitempty"`
	Message   *string  `json:"message,omitempty"`
}

var (
	kinds = map[Kind]string{Heat: "heat", Cool: "cool", Hold: "hold", Wait: "wait", Air: "air", Tell: "tell"}
	paces = map[Pace]string{Fastest: "fastest", Unpowered: "unpowered"}
	ends  = map[Until]string{UntilDry: "dry", UntilCore: "core", UntilClear: "clear", UntilStopped: "stopped", UntilDoor: "door"}
)

// keyOf is the inverse of the tables above; the zero key when v is none.
func keyOf[K comparable](m map[K]string, v string) K {
	for k, name := range m {
		if name == v {
			return k
		}
	}
	var none K
	return none
}

// MarshalJSON writes the JSON form that Schema describes. The receiver is a
// value so that a Profile held by value is written the same way.
func (p Profile) MarshalJSON() ([]byte, error) {
	w := wireProfile{Version: jsonVersion, Units: string(scaleOf(p.Fahrenheit)), Steps: []wireStep{}}
	if p.CeilingC != 0 {
		w.NeverAboveC = degrees(p.CeilingC)
	}
	for _, s := range p.Steps {
		w.Steps = append(w.Steps, toWire(s))
	}
	return json.Marshal(w)
}

// UnmarshalJSON reads the JSON form and checks it as Parse checks text. On any
// error p is left as it was; errors in the steps come as Errors.
func (p *Profile) UnmarshalJSON(data []byte) error {
	if len(data) > maxJSON {
		return fmt.Errorf("profile: the JSON is %d kB long, at most %d kB are read", len(data)>>10, maxJSON>>10)
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	var w wireProfile
	if err := dec.Decode(&w); err != nil {
		return fmt.Errorf("profile: %w", plain(err))
	}
	q, err := w.profile()
	if err != nil {
		return err
	}
	if err := q.Check(); err != nil {
		return err
	}
	*p = *q
	return nil
}

// plain turns a wrong JSON type into words, and leaves other errors alone.
func plain(err error) error {
	var e *json.UnmarshalTypeError
	if !errors.As(err, &e) {
		return err
	}
	want := "a list or an object"
	switch e.Type.Kind() {
	case reflect.Float64:
		want = "a number"
	case reflect.Int:
		want = "a whole number"
	case reflect.String:
		want = "a text in quotes"
	case reflect.Bool:
		want = "true or false"
	}
	where := "the document"
	if e.Field != "" {
		where = strconv.Quote(e.Field)
	}
	return fmt.Errorf("%s cannot be %s; write %s", where, e.Value, want)
}

func (w wireProfile) profile() (*Profile, error) {
	var errs Errors
	if w.Version != jsonVersion {
		errs = append(errs, &Error{Want: fmt.Sprintf(`"version" is %d; this calx reads version %d`, w.Version, jsonVersion)})
	}
	if w.Units != string(celsius) && w.Units != string(fahrenheit) {
		errs = append(errs, &Error{Want: fmt.Sprintf(`"units" is %q; write "C" or "F"`, clip(w.Units))})
	}
	p := &Profile{}
	if w.NeverAboveC != nil {
		p.CeilingC = onGrid(*w.NeverAboveC)
		if p.CeilingC == 0 {
			errs = append(errs, &Error{Want: `"never_above_c" is 0; leave it out for no ceiling`})
		}
	}
	if n := len(w.Steps); n > maxSteps { // no complaint about each of them
		return nil, append(errs, tooManySteps(n))
	}
	for i, ws := range w.Steps {
		s := ws.step()
		p.Steps = append(p.Steps, s)
		if want := ws.mismatch(s); want != "" {
			errs = append(errs, &Error{Line: s.Line, Step: i + 1, Want: want})
		}
	}
	if len(errs) > 0 {
		return nil, errs
	}
	p.Fahrenheit = w.Units == string(fahrenheit) && p.inDegrees()
	return p, nil
}

// mismatch says which keys are missing or do not belong to this kind of step.
func (w wireStep) mismatch(s Step) string {
	if s.Kind == 0 {
		return fmt.Sprintf(`"do" is %q; write heat, cool, hold, wait, air or tell`, clip(w.Do))
	}
	if s.Line < 0 {
		return `"line" counts from 1; leave it out when there is no text`
	}
	given, needed := w.keys(), toWire(s).keys()
	var wrong []string
	for _, k := range wireKeys {
		switch {
		case given[k] && !needed[k]:
			wrong = append(wrong, fmt.Sprintf("%q does not belong in it", k))
		case needed[k] && !given[k]:
			wrong = append(wrong, fmt.Sprintf("it needs %q", k))
		}
	}
	if len(wrong) == 0 {
		return ""
	}
	return `in this "` + w.Do + `" step ` + strings.Join(wrong, ", ")
}

// wireKeys are the keys that only some steps have, in the order of complaint.
var wireKeys = []string{"to_c", "rate_c_per_h", "in_s", "pace", "for_s", "until",
	"within_c", "clear", "at_least_s", "at_most_s", "below_c", "on", "message"}

func (w wireStep) keys() map[string]bool {
	return map[string]bool{
		"to_c": w.ToC != nil, "rate_c_per_h": w.RateCPerH != nil, "in_s": w.InS != nil,
		"pace": w.Pace != "", "for_s": w.ForS != nil, "until": w.Until != "",
		"within_c": w.WithinC != nil, "clear": w.Clear != nil,
		// a zero bound is no bound
		"at_least_s": w.AtLeastS != nil && *w.AtLeastS != 0,
		"at_most_s":  w.AtMostS != nil && *w.AtMostS != 0,
		"below_c":    w.BelowC != nil, "on": w.On != nil, "message": w.Message != nil,
	}
}

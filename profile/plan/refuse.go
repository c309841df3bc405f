package plan

import (
	"fmt"
	"math"
	"time"

	"calx/profile"
)

// Refusal tells why no plan can be made.
type Refusal struct {
	Field    string    // of the input: "pour time", "mould cone-150: flask.diameter"
	Got      string    // its value
	Want     string    // what is wrong with it and what would be right
	Limit    Limit     // what stands in the way, if it is one
	Earliest time.Time // when the mould could be ready, for a pour time too early
	WithAir  time.Time // the same with the air relay on; zero if that was not tried
}

// Error names the field, the value and what would be right.
func (r *Refusal) Error() string {
	if r.Got == "" {
		return r.Field + ": " + r.Want
	}
	return r.Field + " " + r.Got + ": " + r.Want
}

func refuse(field, got, format string, args ...any) error {
	return &Refusal{Field: field, Got: got, Want: fmt.Sprintf(format, args...)}
}

// never refuses a profile with a step that does not end within the longest
// hold.
func (k *maker) never(w *walk, steps []profile.Step) error {
	u := words{k.in.Fahrenheit}
	days := longestHoldS / (24 * 3600)
	l := w.legs[w.never]
	r := &Refusal{Field: "moulds"}
	switch steps[w.never].Until {
	case profile.UntilDry:
		r.Limit, r.Want = ByWater, fmt.Sprintf("%s of water are still in them after %d days at %s; a hotter steam hold or a smaller flask would do", mass(l.endKg), days, u.temp(l.toC))
	case profile.UntilCore:
		r.Limit, r.Want = ByLag, fmt.Sprintf("the core is at %s after %d days at %s; a smaller flask would do", u.temp(l.endCoreC), days, u.temp(l.toC))
	default:
		r.Limit, r.Want = ByAir, fmt.Sprintf("they are not clear after %d days at %s: %s of the char is left; open the sprue, stand the flask on a grate or let more air into the kiln", days, u.temp(l.toC), percent(l.endChar))
	}
	return r
}

// neverClear refuses a chance that too few draws reach.
func (k *maker) neverClear(sorted []draw) error {
	done := 0
	for _, d := range sorted {
		if !math.IsInf(d.clearS, 1) {
			done++
		}
	}
	r := &Refusal{Field: "clear", Got: percent(k.in.Clear), Limit: ByAir}
	r.Want = fmt.Sprintf("only %s of the draws are clear after a hold %d times as long as the model's; ask for less, or give the pattern air: an open sprue, a grate, the air relay",
		percent(float64(done)/float64(len(sorted))), courseTimes)
	return r
}

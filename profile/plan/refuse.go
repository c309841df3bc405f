package plan

import (
	"fmt"
	"time"

	"calx/profile"
)

// Refusal tells why no plan can be made.
type Refusal struct {
	Field    string    // of the input: "pour at", "moulds[0].flask.diameter"
	Got      string    // its value
	Want     string    // what would be right
	Limit    Limit     // what stands in the way, if it is one
	Earliest time.Time // when the mould could be ready, for a pour time too early
	WithAir  time.Time // the same with the air relay on
}

func (r *Refusal) Error() string { return fmt.Sprintf("%s %s: %s", r.Field, r.Got, r.Want) }

func (k *maker) never(w *walk, steps []profile.Step) error {
	return fmt.Errorf("step %d never ends", w.never)
}
func (k *maker) neverClear([]draw) error { return fmt.Errorf("never clear") }

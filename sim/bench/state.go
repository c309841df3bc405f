package bench

import (
	"fmt"
	"time"

	"calx/controller"
	"calx/sim/kiln"
)

// State is a workshop just after a tick: kiln, clock and coils, but neither
// noise nor mishaps. New lets a second pass; then the next tick of the firing is
// due.
type State struct {
	Of              string // name of the kiln
	Now             time.Duration
	WallStep        time.Duration // what mishaps had added to the wall clock
	Kiln            kiln.State
	Heat, Main, Air bool
}

// State is a copy of the present state.
func (b *Bench) State() State {
	s := State{Of: b.o.Kiln.Name, Now: b.now, WallStep: time.Duration(b.wallStep.Load()), Kiln: b.kiln.State(), Heat: bool(b.relay.Read()), Air: bool(b.air.Read())}
	if b.main != nil {
		s.Main = bool(b.main.Read())
	}
	return s
}

// restore begins at s. Errors: a state of another kiln.
func (b *Bench) restore(s State) error {
	if s.Of != b.o.Kiln.Name {
		return fmt.Errorf("restore kiln %s: the state belongs to another kiln, %s", b.o.Kiln.Name, s.Of)
	}
	if err := b.kiln.Restore(s.Kiln); err != nil {
		return err
	}
	b.now = s.Now
	b.wallStep.Store(int64(s.WallStep))
	return b.Outputs().Set(controller.Lines{Heat: s.Heat, Main: s.Main, Air: s.Air})
}

package station

import (
	"errors"
	"fmt"
	"time"

	"calx/storage"
	"calx/storage/record"
)

// Trip is a guard's verdict that nobody has cleared: nothing is fired until
// somebody has looked at the kiln.
type Trip struct {
	Firing uint64    `json:"firing"`
	Name   string    `json:"name"` // of the firing
	At     time.Time `json:"at"`
	Code   string    `json:"code"` // of the notice catalogue; "" when its event was lost
	Text   string    `json:"text"` // what happened
	Hint   string    `json:"hint"` // what to look at
}

// TripError says that a trip stands in the way of a firing.
type TripError struct{ Trip Trip }

func (e *TripError) Error() string {
	t := e.Trip
	words := fmt.Sprintf("firing %d tripped on %s and nobody has cleared it: %s", t.Firing, t.At.Local().Format("Mon 2 Jan 15:04"), t.Text)
	if t.Hint != "" {
		words += "; " + t.Hint
	}
	return words + "; then calx clear"
}

// ErrNoTrip says that there is no trip, or another one, to clear.
var ErrNoTrip = storage.ErrNoTrip

// latch shows in the status whether a trip is latched. What the log cannot say
// counts as none here; it lets no firing begin past it.
func (s *Station) latch() {
	var trip *Trip
	if head, ok, err := s.parts.Log.Trip(); ok && err == nil {
		trip = &Trip{Firing: head.ID, Name: head.Name, At: head.Ended, Text: head.Reason}
		events, _ := s.parts.Log.Events(head.ID) // those that can be read
		for _, e := range events {
			if e.Severity == record.Alarm && e.Text == head.Reason {
				trip.At, trip.Code, trip.Hint = e.Wall, e.Code, e.Hint
			}
		}
	}
	s.update(func(st *Status) { st.Trip = trip })
}

// tripped is the trip that stands in the way of a firing; nil for none.
func (s *Station) tripped() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.status.Trip == nil {
		return nil
	}
	return &TripError{*s.status.Trip}
}

// Clear lets go of the trip of a firing: a person has looked at the kiln. It is
// remembered when Clear returns nil. Errors: ErrNoTrip, or what the log says.
func (s *Station) Clear(firing uint64) error {
	err := s.parts.Log.Clear(firing)
	if err != nil && !errors.Is(err, ErrNoTrip) {
		return fmt.Errorf("the trip is not cleared: %w", err)
	}
	s.latch()
	return err
}

package station

import (
	"context"
	"errors"
	"fmt"
	"time"

	"calx/controller"
	"calx/sensor"
	"calx/storage"
	"calx/storage/record"
)

// journal is the station's log as the loop sees it.
type journal struct {
	log    *storage.Log
	id     uint64
	first  []record.Event // written with the next reading, before its own
	moulds bool           // the state holds the inside of moulds
	passed int            // snapshots since the last one that was kept
}

func (j *journal) Append(r record.Reading, e []record.Event, state []byte) error {
	if j.first != nil {
		e = append(j.first, e...)
		j.first = nil
	}
	if j.moulds && state != nil {
		state = j.slim(state, len(e) > 0)
	}
	return j.log.Append(j.id, r, e, state)
}

// fire runs one firing to its end and closes its record.
func (s *Station) fire(ctx context.Context, j *job) error {
	q := s.parts
	defer s.release()
	s.drain()
	s.update(func(st *Status) {
		st.Firing = &Firing{ID: j.head.ID, Name: j.head.Name, PlannedS: j.planned.Seconds(), Steps: len(j.prof.Steps)}
		st.events = nil
		s.looked = true // so that the first who looks finds a prediction
	})
	late, ahead, first := time.Duration(0), &foresight{}, j.first
	loop := controller.Loop{
		Controller: j.control, Chamber: q.Chamber, Others: q.Others, Doorway: q.Doorway, Heater: watched{q.Heater, s}, Clock: q.Clock,
		Journal: &journal{log: q.Log, id: j.head.ID, first: j.first, moulds: j.moulds.model != nil}, Commands: s.commands, Until: q.Until, Gap: j.gap,
		Late: func(d time.Duration) { late = d },
		Observe: func(cs controller.State, out controller.Output) {
			// What the station says of an interruption comes with the first tick.
			out.Events, first = append(first, out.Events...), nil
			s.saw(j, cs, out, late)
			s.foresee(ahead, j, cs)
			q.Monitor.Tick(late, out)
		},
	}
	end, err := loop.Run(ctx, j.state)
	outcome, reason := end.Outcome(), s.lastReason()
	if outcome == "" {
		// The process is being ended: the firing stays open in the log, so that
		// the next start can go on with it.
		return errors.Join(err, q.Log.Flush())
	}
	s.update(func(st *Status) {
		f := *st.Firing
		f.Outcome, f.Reason, f.Events = outcome, reason, eventsOf(st.events)
		st.Last, st.Firing, st.Inside = &f, nil, nil
	})
	err = q.Log.End(j.head.ID, outcome, reason, q.Clock.Wall().UTC().Truncate(time.Millisecond))
	if err != nil && !errors.Is(err, storage.ErrNotDurable) {
		return fmt.Errorf("the firing ended (%s), but its end could not be written: %w", outcome, err)
	}
	// What is not on disk is tried again by the log; the status says so.
	s.latch()
	return nil
}

// drain forgets commands that were meant for an earlier firing.
func (s *Station) drain() {
	for {
		select {
		case <-s.commands:
		default:
			return
		}
	}
}

// watched notes whether the output answers.
type watched struct {
	controller.Heater
	s *Station
}

func (w watched) Set(want controller.Lines) error {
	err := w.Heater.Set(want)
	if err != nil {
		w.s.update(func(st *Status) { st.OutputError = text(err) })
	}
	return err
}

func text(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

// door words how the door stands; "" where no switch is fitted.
func (s *Station) door(d sensor.Door) string {
	if s.parts.Doorway == nil {
		return ""
	}
	return d.String()
}

const eventsKept = 12

// saw publishes one tick.
func (s *Station) saw(j *job, cs controller.State, out controller.Output, late time.Duration) {
	s.update(func(st *Status) {
		st.LateS = late.Seconds()
		st.LogBehind = cs.LogSick
		st.seeRecord(out.Record)
		st.Door = s.door(sensor.Door(out.Record.Door))
		st.fill(cs, out)
		st.Inside = j.moulds.look(st.Inside, cs, &out.Record)
		if i := cs.Plan.Step; i < len(j.prof.Steps) {
			st.Firing.Sentence = j.prof.Sentence(i)
		}
		st.events = append(st.events, out.Events...)
		if n := len(st.events); n > eventsKept {
			st.events = append([]record.Event(nil), st.events[n-eventsKept:]...)
		}
	})
}

// lastReason is the text of the newest event: what ended the firing.
func (s *Station) lastReason() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n := len(s.status.events); n > 0 {
		return s.status.events[n-1].Text
	}
	return ""
}

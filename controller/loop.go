package controller

import (
	"context"
	"fmt"
	"time"

	"calx/controller/warden"
	"calx/sensor"
	"calx/storage/record"
)

// Thermometer reads one thermocouple. at is the monotonic time since the
// firing began.
type Thermometer interface {
	Read(at time.Duration) sensor.Reading
}

// Lines is what the outputs are asked to be; the zero value is everything off.
type Lines = warden.Lines

// Heater is the outputs: heat relay, fresh-air relay, second contactor. Set
// renews the lease of what it asks for; an output that is not renewed opens by
// itself.
type Heater interface {
	Set(Lines) error
}

// Doorway tells how the door stands, where a switch is fitted.
type Doorway interface {
	Door() sensor.Door
}

// Journal keeps what happened. state is a snapshot to resume from, or nil.
// Append must not wait for the disk; an error means that the record is kept in
// memory only.
type Journal interface {
	Append(r record.Reading, events []record.Event, state []byte) error
}

// Clock is the time, and a way to let it pass. The two times are told apart
// because a small board starts with a wrong wall clock and corrects it later.
type Clock interface {
	Mono() time.Duration // since some start; never jumps
	Wall() time.Time     // may be wrong, and may be set
	Sleep(ctx context.Context, d time.Duration) error
}

// Loop is the one place that owns a ticker. It runs a firing from its
// beginning, or from a restored state, until ctx ends or Until says so.
type Loop struct {
	Controller *Controller
	Chamber    Thermometer
	Others     []Thermometer
	Doorway    Doorway // may be nil: no switch is fitted
	Heater     Heater
	Journal    Journal
	Clock      Clock
	Commands   <-chan Command             // may be nil
	Observe    func(State, Output)        // called after every tick; may be nil
	Until      func(State, Output) bool   // ends the loop; nil: when the firing has ended
	Late       func(behind time.Duration) // how late a tick began; may be nil
	Gap        time.Duration              // how long a restored firing was interrupted
}

// snapshotEvery is the number of ticks between two snapshots. A resume replays
// the readings since the last one, so it is a matter of bytes, not of loss.
const snapshotEvery = 60

// Run ticks until the end. The heat is off when it returns, however it
// returns; a panic passes on after that.
func (l *Loop) Run(ctx context.Context, s State) (State, error) {
	defer func() { _ = l.Heater.Set(Lines{}) }()
	period := l.Controller.cfg.Period
	start := l.Clock.Mono() - s.Now
	if s.Begun {
		start -= period + l.Gap // the tick that resumes is a new one
	}
	var outputDead, logBehind bool
	first := true // after an interruption a replay cannot come past it without a snapshot
	for due := l.Clock.Mono(); ; {
		now := l.Clock.Mono()
		if l.Late != nil {
			l.Late(now - due)
		}
		in := Input{
			Now: (now - start).Truncate(time.Millisecond), Wall: l.Clock.Wall().UTC().Truncate(time.Millisecond),
			Commands: l.pressed(), OutputDead: outputDead, LogBehind: logBehind,
		}
		if l.Doorway != nil {
			in.Door = l.Doorway.Door()
		}
		in.Chamber = l.Chamber.Read(in.Now)
		for _, o := range l.Others {
			in.Others = append(in.Others, o.Read(in.Now))
		}
		var out Output
		s, out = l.Controller.Step(s, in)
		outputDead = l.Heater.Set(out.Lines()) != nil
		snap, err := l.snapshot(s, out, first)
		if err != nil {
			return s, err
		}
		first = false
		logBehind = l.Journal.Append(out.Record, out.Events, snap) != nil
		if l.Observe != nil {
			l.Observe(s, out)
		}
		if l.ended(s, out) {
			return s, nil
		}
		due += period
		if now-due > period {
			due = now // do not hurry after ticks that are lost
		}
		if err := l.Clock.Sleep(ctx, due-l.Clock.Mono()); err != nil {
			return s, fmt.Errorf("controller: the loop ended: %w", err)
		}
	}
}

func (l *Loop) ended(s State, out Output) bool {
	if l.Until != nil {
		return l.Until(s, out)
	}
	return out.Ended
}

func (l *Loop) snapshot(s State, out Output, always bool) ([]byte, error) {
	if !always && out.Record.Seq%snapshotEvery != 0 && len(out.Events) == 0 {
		return nil, nil
	}
	return s.Snapshot()
}

// pressed drains the commands.
func (l *Loop) pressed() []Command {
	var cmds []Command
	for {
		select {
		case c, ok := <-l.Commands:
			if !ok {
				return cmds
			}
			cmds = append(cmds, c)
		default:
			return cmds
		}
	}
}

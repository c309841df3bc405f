// Package station is a kiln under calx: its probes, its heat, its log, and at
// most one firing at a time. It runs the controller's loop while something is
// fired and keeps reading while nothing is. Web and terminal see it through
// Status and speak to it through Start and Command; they decide nothing.
package station

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"calx/controller"
	"calx/controller/guard"
	"calx/controller/law"
	"calx/controller/relay"
	"calx/profile"
	"calx/sensor"
	"calx/storage"
	"calx/storage/record"
)

// Parts is what a station is built from. All fields but Others, Zone and
// Monitor must be set.
type Parts struct {
	Log      *storage.Log
	Chamber  controller.Thermometer
	Others   []controller.Thermometer
	Heater   controller.Heater
	Clock    controller.Clock
	Channels []record.Channel // first the chamber, then Others
	KilnName string
	KilnText string // the kiln file, kept with every firing
	Config   string // settings, kept with every firing
	Plant    law.Plant
	Guard    guard.Limits
	Relay    relay.Config
	Period   time.Duration
	NoiseC   float64
	Zone     *time.Location
	Units    string // "C" or "F"
	Version  string
	Boot     string // identity of this boot
	Monitor  Monitor
	Until    func(controller.State, controller.Output) bool // ends a firing's loop; nil: when it has ended
}

// Monitor is told what only metrics want to know. It must return at once.
type Monitor interface {
	Tick(late time.Duration, out controller.Output)
	Fault(f sensor.Fault)
}

type nobody struct{}

func (nobody) Tick(time.Duration, controller.Output) {}
func (nobody) Fault(sensor.Fault)                    {}

// Station is built by New and driven by Run.
type Station struct {
	parts    Parts
	start    chan *job
	commands chan controller.Command

	mu      sync.Mutex
	status  Status
	busy    bool
	watches map[chan struct{}]struct{}
}

// Errors that callers branch on.
var (
	ErrBusy = errors.New("a firing is running; stop it first")
	ErrIdle = errors.New("no firing is running")
)

// job is a firing about to begin.
type job struct {
	head    record.Firing
	control *controller.Controller
	prof    *profile.Profile
	state   controller.State
	planned time.Duration
	gap     time.Duration // how long a resumed firing was interrupted
}

// New builds a station. It does nothing until Run.
func New(p Parts) *Station {
	if p.Monitor == nil {
		p.Monitor = nobody{}
	}
	if p.Period == 0 {
		p.Period = time.Second
	}
	s := &Station{parts: p, start: make(chan *job, 1), commands: make(chan controller.Command, 8), watches: map[chan struct{}]struct{}{}}
	s.status = Status{Units: p.Units, Kiln: p.KilnName, RatedW: p.Plant.PowerW, Fault: "no reading yet"}
	for _, c := range p.Channels[1:] {
		s.status.Others = append(s.status.Others, Other{Role: c.Role})
	}
	return s
}

// Request is what a person asks to be fired.
type Request struct {
	Name    string `json:"name"`
	Profile string `json:"profile"` // in sentences
}

// Prepare checks a request against this kiln without starting anything.
func (s *Station) Prepare(r Request) (*controller.Controller, *profile.Profile, error) {
	p, err := profile.Parse(r.Profile)
	if err != nil {
		return nil, nil, err
	}
	q := s.parts
	c, err := controller.New(controller.Config{Profile: p, Plant: q.Plant, Relay: q.Relay, Guard: q.Guard, Period: q.Period, NoiseC: q.NoiseC, Zone: q.Zone})
	return c, p, err
}

// Start begins a firing and returns its number. The log holds its head before
// Start returns.
func (s *Station) Start(r Request) (uint64, error) {
	c, p, err := s.Prepare(r)
	if err != nil {
		return 0, err
	}
	if err := s.claim(); err != nil {
		return 0, err
	}
	q := s.parts
	now := q.Clock.Wall()
	j := &job{control: c, prof: p, planned: profile.Unroll(p, s.outlook(now)).Total, head: record.Firing{
		Name: r.Name, Started: now.UTC().Truncate(time.Millisecond), Boot: q.Boot, Profile: r.Profile, Kiln: q.KilnText, Config: q.Config,
		Channels: q.Channels, PeriodMS: uint32(q.Period.Milliseconds()), Units: q.Units, Version: q.Version,
	}}
	if j.head.ID, err = q.Log.Begin(j.head); err != nil {
		s.release()
		return 0, err
	}
	s.start <- j
	return j.head.ID, nil
}

// ResumeFiring goes on with a firing that was interrupted. The snapshot is the
// newest state in the log.
func (s *Station) ResumeFiring(head record.Firing, snapshot []byte, gap time.Duration) error {
	c, p, err := s.Prepare(Request{Profile: head.Profile})
	if err != nil {
		return err
	}
	state, err := controller.Restore(snapshot)
	if err != nil {
		return err
	}
	if err := s.claim(); err != nil {
		return err
	}
	s.start <- &job{control: c, prof: p, head: head, state: state, gap: gap, planned: profile.Unroll(p, s.outlook(head.Started)).Total}
	return nil
}

func (s *Station) outlook(start time.Time) profile.Outlook {
	from := 20.0
	s.mu.Lock()
	if c := s.status.ChamberC; c != nil {
		from = *c
	}
	s.mu.Unlock()
	if s.parts.Zone != nil {
		start = start.In(s.parts.Zone)
	}
	return profile.Outlook{StartC: from, Start: start, MaxC: s.parts.Guard.MaxC}
}

func (s *Station) claim() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.busy {
		return ErrBusy
	}
	s.busy = true
	return nil
}

func (s *Station) release() {
	s.mu.Lock()
	s.busy = false
	s.mu.Unlock()
}

// Command passes on what a person pressed.
func (s *Station) Command(c controller.Command) error {
	s.mu.Lock()
	busy := s.busy
	s.mu.Unlock()
	if !busy {
		return ErrIdle
	}
	select {
	case s.commands <- c:
		return nil
	default:
		return errors.New("too many commands at once; wait a second and press again")
	}
}

// Run reads while idle and fires when told to, until ctx ends. The heat is off
// when it returns.
func (s *Station) Run(ctx context.Context) error {
	for {
		select {
		case j := <-s.start:
			if err := s.fire(ctx, j); err != nil {
				return err
			}
		case <-ctx.Done():
			return ctx.Err()
		default:
			if err := s.idle(ctx); err != nil {
				return err
			}
		}
	}
}

// RunOne fires what was started and returns: for a bench, where nobody waits.
func (s *Station) RunOne(ctx context.Context) error { return s.fire(ctx, <-s.start) }

// idle reads once, keeps the lease of an open relay fresh, and waits.
func (s *Station) idle(ctx context.Context) error {
	q := s.parts
	at := q.Clock.Mono()
	r := q.Chamber.Read(at)
	others := make([]sensor.Reading, len(q.Others))
	for i, o := range q.Others {
		others[i] = o.Read(at)
	}
	err := q.Heater.Set(false, false)
	s.update(func(st *Status) {
		st.Wall, st.SetpointC, st.Duty, st.Heat, st.Air = q.Clock.Wall().UTC(), nil, 0, false, false
		st.see(r, others)
		st.OutputError = text(err)
	})
	q.Monitor.Fault(r.Fault)
	return q.Clock.Sleep(ctx, q.Period)
}

// journal is the station's log as the loop sees it.
type journal struct {
	log *storage.Log
	id  uint64
}

func (j journal) Append(r record.Reading, e []record.Event, state []byte) error {
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
	})
	late := time.Duration(0)
	loop := controller.Loop{
		Controller: j.control, Chamber: q.Chamber, Others: q.Others, Heater: watched{q.Heater, s}, Clock: q.Clock,
		Journal: journal{q.Log, j.head.ID}, Commands: s.commands, Until: q.Until, Gap: j.gap,
		Late: func(d time.Duration) { late = d },
		Observe: func(cs controller.State, out controller.Output) {
			s.saw(j, cs, out, late)
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
		f.Outcome, f.Reason = outcome, reason
		st.Last, st.Firing = &f, nil
	})
	if err := q.Log.End(j.head.ID, outcome, reason, q.Clock.Wall().UTC().Truncate(time.Millisecond)); err != nil {
		return fmt.Errorf("the firing ended (%s), but its end could not be written: %w", outcome, err)
	}
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

func (w watched) Set(heat, air bool) error {
	err := w.Heater.Set(heat, air)
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

const eventsKept = 12

// saw publishes one tick.
func (s *Station) saw(j *job, cs controller.State, out controller.Output, late time.Duration) {
	s.update(func(st *Status) {
		st.LateS = late.Seconds()
		st.LogBehind = cs.LogSick
		st.seeRecord(out.Record)
		st.fill(cs, out)
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

// update changes the status and wakes the watchers.
func (s *Station) update(f func(*Status)) {
	s.mu.Lock()
	f(&s.status)
	for w := range s.watches {
		select {
		case w <- struct{}{}:
		default: // it has not looked yet; one wake is enough
		}
	}
	s.mu.Unlock()
}

// Status is a copy of what is going on.
func (s *Station) Status() Status {
	s.mu.Lock()
	defer s.mu.Unlock()
	st := s.status
	st.Others = append([]Other(nil), st.Others...)
	if st.Firing != nil {
		f := *st.Firing
		f.Events = make([]Event, len(st.events))
		for i, e := range st.events {
			f.Events[i] = eventOf(e)
		}
		st.Firing = &f
	}
	return st
}

// Watch returns a channel that is woken after changes, and a function that
// ends the watch.
func (s *Station) Watch() (<-chan struct{}, func()) {
	w := make(chan struct{}, 1)
	s.mu.Lock()
	s.watches[w] = struct{}{}
	s.mu.Unlock()
	return w, func() {
		s.mu.Lock()
		delete(s.watches, w)
		s.mu.Unlock()
	}
}

// see puts readings into the status.
func (st *Status) see(r sensor.Reading, others []sensor.Reading) {
	st.ChamberC, st.ColdC, st.Fault = number(r.HotC), number(r.ColdC), r.Fault.String()
	for i, o := range others {
		st.Others[i].HotC, st.Others[i].Fault = number(o.HotC), o.Fault.String()
	}
}

func (st *Status) seeRecord(r record.Reading) {
	c := r.Channels[0]
	st.ChamberC, st.ColdC, st.Fault = number(c.HotC), number(c.ColdC), sensor.Fault(c.Fault).String()
	for i, o := range r.Channels[1:] {
		st.Others[i].HotC, st.Others[i].Fault = number(o.HotC), sensor.Fault(o.Fault).String()
	}
}

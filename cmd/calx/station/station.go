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

	"calx/cmd/calx/inside"
	"calx/cmd/calx/rerun"
	"calx/controller"
	"calx/controller/guard"
	"calx/controller/law"
	"calx/controller/relay"
	"calx/controller/resume"
	"calx/profile"
	"calx/sensor"
	"calx/storage"
	"calx/storage/record"
)

// Parts is what a station is built from. All fields but Others, Doorway, Dead,
// Zone, Uptime, AfterCut and Monitor must be set.
type Parts struct {
	Log      *storage.Log
	Chamber  controller.Thermometer
	Others   []controller.Thermometer
	Doorway  controller.Doorway // nil: no switch at the door
	Heater   controller.Heater
	Dead     <-chan struct{} // closed when Heater will never answer again; nil: it always will
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
	Boot     string               // identity of this boot
	Uptime   func() time.Duration // monotonic clock of this boot, the same for every process; nil: none is known
	AfterCut resume.Policy        // for firings of which nobody said what to do after a power cut
	Monitor  Monitor
	Until    func(controller.State, controller.Output) bool // ends a firing's loop; nil: when it has ended
}

// Monitor is told of every turn of the control loop, from that loop: it must
// return at once, and what it is told once more says that the loop lives.
type Monitor interface {
	// Tick is one tick of a firing; late is how late it began.
	Tick(late time.Duration, out controller.Output)
	// Idle is one look at the thermocouples while nothing is fired; wall is the
	// clock on the wall.
	Idle(wall time.Time, chamber sensor.Reading, others []sensor.Reading)
}

type nobody struct{}

func (nobody) Tick(time.Duration, controller.Output)            {}
func (nobody) Idle(time.Time, sensor.Reading, []sensor.Reading) {}

// Station is built by New and driven by Run.
type Station struct {
	parts    Parts
	start    chan *job
	commands chan controller.Command

	mu      sync.Mutex
	status  Status
	busy    bool
	looked  bool // somebody asked for the status since the last prediction
	watches map[chan struct{}]struct{}
}

// Errors that callers branch on.
var (
	ErrBusy = errors.New("a firing is running; stop it first")
	ErrIdle = errors.New("no firing is running")
	// ErrMending: Interrupted has not come to its end.
	ErrMending = errors.New("calx is still looking at the firing that was interrupted; it takes two minutes at most, then ask again")
	// ErrAsks: after an interruption a firing takes no other command.
	ErrAsks = errors.New("the firing was interrupted and waits for a person: calx resume lets it go on, calx stop ends it")
	ErrFull = errors.New("too many commands at once; wait a second and press again")
	ErrDead = errors.New("the output of the heat relay does not answer, so nothing can be fired; look at the relay and its wiring, then restart calx")
)

// ProfileError says that a profile cannot be fired on this kiln. It unwraps
// to what the profile's reader or the controller found.
type ProfileError struct{ Err error }

func (e *ProfileError) Error() string { return e.Err.Error() }

// Unwrap gives the cause.
func (e *ProfileError) Unwrap() error { return e.Err }

// PolicyError says that what to do after a power cut is not understood.
type PolicyError struct{ Err error }

func (e *PolicyError) Error() string { return "after_power_cut: " + e.Err.Error() }

// Unwrap gives the cause.
func (e *PolicyError) Unwrap() error { return e.Err }

// MouldError says that moulds cannot be fired in this kiln by this profile. It
// unwraps to what is wrong with them.
type MouldError struct{ Err error }

func (e *MouldError) Error() string { return e.Err.Error() }

// Unwrap gives the cause.
func (e *MouldError) Unwrap() error { return e.Err }

// job is a firing about to begin.
type job struct {
	head    record.Firing
	control *controller.Controller
	prof    *profile.Profile
	moulds  moulds
	state   controller.State
	planned time.Duration
	gap     time.Duration  // how long a resumed firing was interrupted
	first   []record.Event // of a resumed firing: goes into the log with its first reading
}

// New builds a station. It does nothing until Run.
func New(p Parts) *Station {
	if p.Monitor == nil {
		p.Monitor = nobody{}
	}
	if p.Period == 0 {
		p.Period = time.Second
	}
	p.Chamber = steady{p.Chamber, p.Clock}
	p.Others = append([]controller.Thermometer(nil), p.Others...)
	for i, o := range p.Others {
		p.Others[i] = steady{o, p.Clock}
	}
	s := &Station{parts: p, start: make(chan *job, 1), commands: make(chan controller.Command, 8), watches: map[chan struct{}]struct{}{}}
	s.status = Status{Units: p.Units, Kiln: p.KilnName, RatedW: p.Plant.PowerW, Fault: "no reading yet"}
	for _, c := range p.Channels[1:] {
		s.status.Others = append(s.status.Others, Other{Role: c.Role})
	}
	s.latch()
	return s
}

// steady reads by one clock, whatever is fired: a driver that saw the time of
// a firing after that of the hours before would take its clock to have run
// backwards, and the first reading of each firing would be stale.
type steady struct {
	of    controller.Thermometer
	clock controller.Clock
}

func (t steady) Read(at time.Duration) sensor.Reading {
	r := t.of.Read(t.clock.Mono())
	r.At = at
	return r
}

// Request is what a person asks to be fired.
type Request struct {
	Name    string   `json:"name"`
	Profile string   `json:"profile"` // in sentences
	Moulds  []string `json:"moulds"`  // what stands in the kiln, YAML, one for each kind; may be empty
	// AfterCut is what to do after a power cut: a word of resume.Names, or ""
	// for what calx.yaml says.
	AfterCut string `json:"after_power_cut"`
}

// prepare makes a job of a request to start at a time, without starting
// anything. Its errors are ProfileErrors and MouldErrors.
func (s *Station) prepare(r Request, at time.Time, believe believing) (*job, error) {
	p, err := profile.Parse(r.Profile)
	if err != nil {
		return nil, &ProfileError{err}
	}
	q, j := s.parts, &job{prof: p}
	o := s.outlook(at)
	if len(r.Moulds) > 0 {
		if j.moulds, err = s.mouldsOf(r.Moulds, p, believe); err != nil {
			return nil, &MouldError{err}
		}
		o.Hold = inside.Follow(j.moulds.model, p, o).Hold
	}
	j.planned = profile.Unroll(p, o).Total
	c := controller.Config{
		Profile: p, Plant: q.Plant, Relay: q.Relay, Guard: q.Guard, Period: q.Period, NoiseC: q.NoiseC, Zone: q.Zone, Mould: j.moulds.model,
		Checks: inside.Checks(s.roles()), DoorSwitch: q.Doorway != nil,
	}
	if j.control, err = controller.New(c); err != nil {
		return nil, &ProfileError{err}
	}
	j.head.Control = rerun.Of(c, at).Keep()
	return j, nil
}

// Start begins a firing and returns its number. The log holds its head before
// Start returns. Errors: a ProfileError, a MouldError, a TripError, a
// PolicyError, ErrBusy, ErrMending, ErrDead, or what the log says.
func (s *Station) Start(r Request) (uint64, error) {
	if s.dead() {
		return 0, ErrDead
	}
	if err := s.tripped(); err != nil {
		return 0, err
	}
	policy, err := resume.ParsePolicy(r.AfterCut)
	if err != nil {
		return 0, &PolicyError{err}
	}
	if r.AfterCut == "" {
		policy = s.parts.AfterCut
	}
	now := s.parts.Clock.Wall()
	j, err := s.prepare(r, now, s.learn)
	if err != nil {
		return 0, err
	}
	if err := s.claim(); err != nil {
		return 0, err
	}
	q := s.parts
	j.head = record.Firing{
		Name: r.Name, Started: now.UTC().Truncate(time.Millisecond), Boot: q.Boot, Profile: r.Profile, Kiln: q.KilnText, Moulds: r.Moulds, Config: q.Config,
		Channels: q.Channels, PeriodMS: uint32(q.Period.Milliseconds()), Units: q.Units, Version: q.Version, Control: j.head.Control,
		AfterCut: policy.String(), Runs: []record.Run{s.turn(0)},
	}
	if j.moulds.model != nil {
		j.head.Beliefs = inside.Keep(j.moulds.model)
	}
	if j.head.ID, err = q.Log.Begin(j.head); err != nil {
		s.release()
		if errors.Is(err, storage.ErrUnfinished) {
			return 0, ErrMending
		}
		return 0, err
	}
	s.start <- j
	return j.head.ID, nil
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

// dead reports whether the output is gone for good.
func (s *Station) dead() bool {
	select {
	case <-s.parts.Dead:
		return true
	default:
		return false
	}
}

func (s *Station) release() {
	s.mu.Lock()
	s.busy = false
	s.mu.Unlock()
}

// Command passes on what a person pressed. Errors: ErrIdle, ErrFull, ErrAsks.
func (s *Station) Command(c controller.Command) error {
	s.mu.Lock()
	busy, asks := s.busy, s.status.Firing != nil && s.status.Firing.Asks != ""
	blind := s.status.ChamberC == nil
	s.mu.Unlock()
	switch {
	case !busy:
		return ErrIdle
	case asks && (c == controller.Pause || c == controller.StepOn):
		return ErrAsks
	case asks && c == controller.Resume && blind:
		return fmt.Errorf("%w: there is no valid temperature of the chamber to go on from", ErrAsks)
	case asks && c == controller.Resume && s.parts.Doorway != nil && s.parts.Doorway.Door() == sensor.DoorOpen:
		return fmt.Errorf("%w: the door is open; shut it first", ErrAsks)
	}
	select {
	case s.commands <- c:
		return nil
	default:
		return ErrFull
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
	err := q.Heater.Set(controller.Lines{})
	wall, door := q.Clock.Wall().UTC(), sensor.DoorUnknown
	if q.Doorway != nil {
		door = q.Doorway.Door()
	}
	sick := q.Log.Stats().Err != nil
	s.update(func(st *Status) {
		st.Wall, st.SetpointC, st.Duty, st.Heat, st.Air = wall, nil, 0, false, false
		st.see(r, others)
		st.Door = s.door(door)
		st.LateS, st.LogBehind, st.OutputError = 0, sick, text(err)
	})
	q.Monitor.Idle(wall, r, others)
	return q.Clock.Sleep(ctx, q.Period)
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
	s.looked = true
	st := s.status
	st.Others = append([]Other(nil), st.Others...)
	if st.Firing != nil {
		f := *st.Firing
		f.Events = eventsOf(st.events)
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

// Package warden is the law by which heat is held: the heater may be on only
// while the last thing heard is a fresh lease that asks for heat. Whatever
// else happens, silence, noise, a repeated message, a clock that jumps, a line
// that does not obey, means off.
//
// The package is arithmetic: no clock, no pins, no pipe. A small process of
// its own (cmd/calx/plug) feeds it and obeys it, so that nothing which hangs
// the controller can keep the heat on. It refuses to know temperatures; the
// guards judge those and then withdraw the lease.
//
// Two contacts in series carry the heat where a kiln has them: the heat relay,
// which works all night, and the main contactor, which closes once per firing
// and so is the one that still opens when the other has welded. Whoever asks
// for heat and not for the main contactor contradicts himself, and gets
// neither.
//
// For most uses: New, then State.Update for every message and every tick.
// It is not a safety device. An independent limit controller with its own
// thermocouple and contactor must stand behind it.
package warden

import (
	"fmt"
	"time"
)

const (
	// DefaultLease is how long a lease holds after it was issued: two missed
	// renewals at one a second.
	DefaultLease = 2 * time.Second

	// MinLease and MaxLease bound the lease. Below, an ordinary late tick of
	// a small board would drop the heat; above, heat could outlive a dead
	// controller by more than the 3 s calx allows itself, of which half a
	// second is kept for the warden's own tick and a busy scheduler.
	MinLease = 500 * time.Millisecond
	MaxLease = 2500 * time.Millisecond

	// BeatEvery is the time between edges of the heartbeat line, 2 Hz in
	// full periods. A missing-pulse circuit set to three to five periods
	// (common practice, no source) drops the coil 1.5 to 2.5 s after the
	// last edge.
	BeatEvery = 250 * time.Millisecond
)

// Kind says what a Message is.
type Kind uint8

// The kinds. Anything else is treated as Garbled.
const (
	Tick     Kind = iota // nothing arrived; only time has passed
	Lease                // allows what it asks for, for the lease's length
	Withdraw             // ends all heat until a new warden is started
	Garbled              // something arrived that could not be read
	Broken               // an output did not do as it was told
)

// String names the kind.
func (k Kind) String() string {
	names := [...]string{"tick", "lease", "withdraw", "garbled", "broken"}
	if int(k) < len(names) {
		return names[k]
	}
	return fmt.Sprintf("kind(%d)", uint8(k))
}

// Lines is what somebody asks the outputs to be. The zero value is everything
// off.
type Lines struct {
	Heat bool // heat relay closed
	Air  bool // fresh-air relay closed
	Main bool // second contactor, in series with the heat relay, closed
}

// Message is one thing the warden hears. The zero value is a Tick.
type Message struct {
	Kind   Kind
	Seq    uint64        // Lease: 1, 2, 3 …; must exceed every earlier one
	Issued time.Duration // Lease: when it was written, on the clock of Update's now
	Heat   bool          // Lease: the heat relay may be on
	Air    bool          // Lease: the fresh-air relay may be on
	Main   bool          // Lease: the main contactor may be closed
}

// Reason says why the outputs are as they are.
type Reason uint8

// The reasons. From Withdrawn on they last: no lease is believed any more.
const (
	Waiting     Reason = iota // no lease has been heard yet
	Fresh                     // a lease is held
	Expired                   // the lease was not renewed in time, or came too late
	Replayed                  // a lease did not carry a higher number than the ones before
	FromFuture                // a lease claims to have been written later than now
	ClockJumped               // the clock went backwards
	Withdrawn                 // the lease was withdrawn
	Unreadable                // a message could not be read
	OutputFault               // an output did not do as it was told
)

// String is the reason in words for the log.
func (r Reason) String() string {
	names := [...]string{
		"no lease yet", "lease fresh", "lease not renewed in time", "lease number repeated",
		"lease from the future", "clock went backwards", "lease withdrawn", "unreadable message",
		"an output does not obey",
	}
	if int(r) < len(names) {
		return names[r]
	}
	return fmt.Sprintf("reason(%d)", uint8(r))
}

// Latched tells whether only a new warden can allow heat again.
func (r Reason) Latched() bool { return r >= Withdrawn }

// Output is what the lines must be now. With Fresh false everything is off.
type Output struct {
	Heat  bool // heat relay
	Air   bool // fresh-air relay
	Main  bool // main contactor; closed whenever Heat is
	Beat  bool // heartbeat level; changes every BeatEvery while Fresh
	Fresh bool // a lease is held: the hardware watchdog may be petted
	Why   Reason
}

// State is the law's memory. Use New; the zero value allows nothing, ever.
type State struct {
	lease  time.Duration
	now    time.Duration // of the last Update
	seq    uint64        // highest seen
	held   Message       // the lease held, when why is Fresh
	why    Reason
	beat   bool
	beatAt time.Duration // of the last edge
	beaten bool          // there was an edge
}

// New returns the state before the first message. A lease of 0 is
// DefaultLease; outside MinLease to MaxLease it is an error.
func New(lease time.Duration) (*State, error) {
	if lease == 0 {
		lease = DefaultLease
	}
	if lease < MinLease || lease > MaxLease {
		return nil, fmt.Errorf("warden: lease of %v is outside %v to %v", lease, MinLease, MaxLease)
	}
	return &State{lease: lease}, nil
}

// Update takes one message, or a Tick when none came, and says what the
// outputs must be. The time now is read by the caller on arrival, from a
// clock the writer of the leases shares and that keeps counting in standby
// (Linux: CLOCK_BOOTTIME); so a lease that lay in a full pipe is as old as it
// is, not as young as it looks. Call it at least every BeatEvery.
//
// Heat is on exactly if all of this is so: the last message was a lease; it
// asked for heat and for the main contactor; its number was higher than every number before; it was
// issued at or before now, less than the lease's length ago; now never went
// backwards since; nothing was ever withdrawn, unreadable or broken.
func (s *State) Update(now time.Duration, m Message) Output {
	if now < s.now {
		s.drop(ClockJumped)
		s.beaten = false // the time of the last edge means nothing on the new clock
	}
	s.now = now
	switch m.Kind {
	case Tick:
	case Lease:
		s.drop(s.judge(m))
		s.held = m
		s.seq = max(s.seq, m.Seq)
	case Withdraw:
		s.drop(Withdrawn)
	case Broken:
		s.drop(OutputFault)
	default:
		s.drop(Unreadable)
	}
	if s.why == Fresh && now-s.held.Issued >= s.lease {
		s.drop(Expired)
	}
	return s.output()
}

// judge says whether m is fresh, and if not, why.
func (s *State) judge(m Message) Reason {
	switch {
	case m.Seq <= s.seq:
		return Replayed
	case m.Issued < 0 || m.Issued > s.now:
		return FromFuture
	case s.now-m.Issued >= s.lease:
		return Expired
	}
	return Fresh
}

// drop replaces the reason, unless one that lasts is already in force.
func (s *State) drop(why Reason) {
	if !s.why.Latched() {
		s.why = why
	}
}

func (s *State) output() Output {
	if s.why != Fresh {
		if s.beat {
			s.beat, s.beatAt = false, s.now
		}
		return Output{Why: s.why}
	}
	if !s.beaten || s.now-s.beatAt >= BeatEvery {
		s.beat, s.beatAt, s.beaten = !s.beat, s.now, true
	}
	return Output{Heat: s.held.Heat && s.held.Main, Air: s.held.Air, Main: s.held.Main, Beat: s.beat, Fresh: true, Why: Fresh}
}

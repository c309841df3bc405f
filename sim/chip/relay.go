package chip

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/conn/v3/physic"
)

// RelayOptions say which relay to emulate.
type RelayOptions struct {
	Name      string // of the pin, for example "SIM_RELAY1"; must be unique while registered
	ActiveLow bool   // the contact closes on a low level
	Now       func() time.Duration
}

// Relay is an output pin with a relay on it, a gpio.PinIO. Until the first Out
// the pin is an input and an external resistor holds the relay off. Its methods
// may be called from several goroutines at once.
type Relay struct {
	name      string
	activeLow bool
	now       func() time.Duration

	mu       sync.Mutex
	level    gpio.Level
	drivenAt time.Duration // of the last Out
	faults   faultSet
	closed   bool
	since    time.Duration // of the last change of closed
	closures int
	total    time.Duration // closed time before since
}

// NewRelay makes a relay that is off. It fails without a name or a time.
func NewRelay(o RelayOptions) (*Relay, error) {
	if o.Name == "" || o.Now == nil {
		return nil, errors.New("sim/chip: RelayOptions needs Name and Now")
	}
	return &Relay{name: o.Name, activeLow: o.ActiveLow, now: o.Now, level: gpio.Level(o.ActiveLow)}, nil
}

// Register puts the pin into periph's registry, where gpioreg.ByName finds it.
// It fails on a name that is taken.
func (r *Relay) Register() error {
	if err := gpioreg.Register(r); err != nil {
		return fmt.Errorf("sim/chip: register relay: %w", err)
	}
	return nil
}

// Unregister takes the pin out of the registry.
func (r *Relay) Unregister() error {
	if err := gpioreg.Unregister(r.name); err != nil {
		return fmt.Errorf("sim/chip: %w", err)
	}
	return nil
}

// Closed reports whether the contact conducts: whether there is heat.
func (r *Relay) Closed() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.closed
}

// Cycles is how often the contact has gone from open to closed.
func (r *Relay) Cycles() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.closures
}

// OnTime is how long the contact has conducted in all, up to now. The
// difference of two calls is the heat between them, however often the relay
// switched meanwhile.
func (r *Relay) OnTime() time.Duration {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return r.total + r.now() - r.since
	}
	return r.total
}

// Inject puts a fault on the relay. It fails on an amplifier's fault. A contact
// that is welded and stuck open at once conducts.
func (r *Relay) Inject(f Fault) error {
	f, err := f.normal()
	if err != nil {
		return fmt.Errorf("sim/chip: %w", err)
	}
	if !f.Kind.OnRelay() {
		return fmt.Errorf("sim/chip: fault %s is for an amplifier, not for a relay", f.Kind)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.faults.set(f)
	r.follow()
	return nil
}

// Clear takes the given kinds of fault away, or all without an argument.
func (r *Relay) Clear(ks ...Kind) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.faults.clear(ks)
	r.follow()
}

// follow moves the contact to where coil and faults want it.
func (r *Relay) follow() {
	closed := bool(r.level) != r.activeLow
	switch {
	case r.faults.has(Welded):
		closed = true
	case r.faults.has(StuckOpen):
		closed = false
	}
	if closed == r.closed {
		return
	}
	now := r.now()
	if closed {
		r.closures++
	} else {
		r.total += now - r.since
	}
	r.closed, r.since = closed, now
}

// Out drives the coil.
func (r *Relay) Out(l gpio.Level) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.level, r.drivenAt = l, r.now()
	r.follow()
	return nil
}

// Driven is when the coil was last driven, to either level.
func (r *Relay) Driven() time.Duration {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.drivenAt
}

// In stops driving the pin, so that the external resistor turns the coil off.
// Edges cannot be waited for.
func (r *Relay) In(_ gpio.Pull, edge gpio.Edge) error {
	if edge != gpio.NoEdge {
		return fmt.Errorf("sim/chip: %s: edge detection is not supported", r.name)
	}
	return r.Out(gpio.Level(r.activeLow))
}

// Read gives the level on the coil. Unlike some real drivers it leaves an
// output an output.
func (r *Relay) Read() gpio.Level {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.level
}

// PWM is not supported.
func (r *Relay) PWM(gpio.Duty, physic.Frequency) error {
	return fmt.Errorf("sim/chip: %s: PWM is not supported", r.name)
}

// Halt leaves the level as it is, as a real output does when its process ends.
func (r *Relay) Halt() error { return nil }

// Name is the name in the registry.
func (r *Relay) Name() string { return r.name }

// String is the name in the registry.
func (r *Relay) String() string { return r.name }

// Number is -1: the pin has none.
func (r *Relay) Number() int { return -1 }

// Function is "Out/High" or "Out/Low".
func (r *Relay) Function() string { return "Out/" + r.Read().String() }

// WaitForEdge is not supported and returns false at once.
func (r *Relay) WaitForEdge(time.Duration) bool { return false }

// Pull is unknown: the resistor is outside the pin.
func (r *Relay) Pull() gpio.Pull { return gpio.PullNoChange }

// DefaultPull is unknown.
func (r *Relay) DefaultPull() gpio.Pull { return gpio.PullNoChange }

var _ gpio.PinIO = (*Relay)(nil)

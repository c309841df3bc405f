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

// Contact is an input pin with a switch to ground at it, as at the door of a
// kiln: closed, and so low, while the door is shut; open, and pulled high, while
// it stands open or its wire is broken. Its methods may be called from several
// goroutines at once.
type Contact struct {
	name string

	mu    sync.Mutex
	open  bool
	stuck bool
	stays bool // what it says while it is stuck
}

// NewContact makes a closed switch. It fails without a name.
func NewContact(name string) (*Contact, error) {
	if name == "" {
		return nil, errors.New("sim/chip: a contact needs a name")
	}
	return &Contact{name: name}, nil
}

// Set opens or closes the switch.
func (c *Contact) Set(open bool) {
	c.mu.Lock()
	c.open = open
	c.mu.Unlock()
}

// Stick makes the switch say the same whatever the door does, until Free: open,
// as with a broken wire, or closed, as with a bent lever.
func (c *Contact) Stick(open bool) {
	c.mu.Lock()
	c.stuck, c.stays = true, open
	c.mu.Unlock()
}

// Free ends Stick.
func (c *Contact) Free() {
	c.mu.Lock()
	c.stuck = false
	c.mu.Unlock()
}

// Open reports what the switch says.
func (c *Contact) Open() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.stuck {
		return c.stays
	}
	return c.open
}

// Register puts the pin into periph's registry. It fails on a name that is
// taken.
func (c *Contact) Register() error {
	if err := gpioreg.Register(c); err != nil {
		return fmt.Errorf("sim/chip: register contact: %w", err)
	}
	return nil
}

// Unregister takes the pin out of the registry.
func (c *Contact) Unregister() error {
	if err := gpioreg.Unregister(c.name); err != nil {
		return fmt.Errorf("sim/chip: %w", err)
	}
	return nil
}

// In accepts every pull but down, with which a switch to ground reads low for
// ever. Edges cannot be waited for.
func (c *Contact) In(p gpio.Pull, edge gpio.Edge) error {
	switch {
	case edge != gpio.NoEdge:
		return fmt.Errorf("sim/chip: %s: edge detection is not supported", c.name)
	case p == gpio.PullDown:
		return fmt.Errorf("sim/chip: %s: the switch is to ground, so a pull down reads shut for ever", c.name)
	}
	return nil
}

// Read is high while the switch is open.
func (c *Contact) Read() gpio.Level { return gpio.Level(c.Open()) }

// Out is refused: a switch to ground would short the output.
func (c *Contact) Out(gpio.Level) error {
	return fmt.Errorf("sim/chip: %s is an input", c.name)
}

// PWM is refused as Out is.
func (c *Contact) PWM(gpio.Duty, physic.Frequency) error { return c.Out(gpio.High) }

// WaitForEdge is not supported and returns at once, with false.
func (c *Contact) WaitForEdge(time.Duration) bool { return false }

// Halt does nothing.
func (c *Contact) Halt() error { return nil }

// Name is the name in the registry.
func (c *Contact) Name() string { return c.name }

// String is the name in the registry.
func (c *Contact) String() string { return c.name }

// Number is -1: the pin has none.
func (c *Contact) Number() int { return -1 }

// Function is "In/High" or "In/Low".
func (c *Contact) Function() string { return "In/" + c.Read().String() }

// Pull is up.
func (c *Contact) Pull() gpio.Pull { return gpio.PullUp }

// DefaultPull is up.
func (c *Contact) DefaultPull() gpio.Pull { return gpio.PullUp }

var _ gpio.PinIO = (*Contact)(nil)

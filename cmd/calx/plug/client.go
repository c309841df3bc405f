package plug

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"sync"
	"time"

	"calx/controller/warden"
)

const (
	readyWithin = 10 * time.Second       // from start to "ready": a cold card is slow
	writeWithin = 50 * time.Millisecond  // for a lease to enter the pipe
	offWithin   = 600 * time.Millisecond // for a withdrawal to be confirmed
	endWithin   = 3 * time.Second        // for the process to end once its lines are known to be off
	killWithin  = 200 * time.Millisecond // for a killed warden to be gone
	claimWithin = 200 * time.Millisecond // for its lines to be free
)

// ErrWithdrawn is what Set returns after Off: heat needs a new Start.
var ErrWithdrawn = errors.New("the lease was withdrawn; heat needs a new warden")

// Config is what Start needs.
type Config struct {
	Wiring Wiring
	// Command is the program and the leading arguments that end in
	// WardenMain; Wiring.Args is appended. Nil: this program, "warden".
	Command []string

	testOnlyEnv  []string
	testOnlyOpen opener
}

// Client is the daemon's side: it starts the warden, sends it leases and
// takes its place when it dies. Its methods may be called from several
// goroutines and none waits for the warden longer than it says.
type Client struct {
	cfg    Config
	open   opener
	cmd    *exec.Cmd
	pipe   *os.File      // leases go in here
	ready  chan struct{} // the warden said ready
	exited chan struct{} // the process is gone; exit says how
	exit   error
	isOff  chan struct{} // a withdrawal was confirmed
	heard  chan struct{} // the warden's last words were taken in
	dead   chan struct{}
	once   sync.Once // closes dead

	mu      sync.Mutex
	seq     uint64
	last    Status
	waiting time.Time // since when a lease has been unanswered; zero: none is
	leaving bool      // Off or Close was called
	why     error     // why calx killed the warden, if it did
	err     error     // set before dead is closed
	held    []Output  // lines taken over from a dead warden
}

// Start drives the lines off, as AllOff does and with its errors, then starts
// the warden and waits until it has claimed them. On error nothing is left
// running, and the error says what the warden said.
func Start(cfg Config) (*Client, error) {
	if err := cfg.Wiring.Check(); err != nil {
		return nil, err
	}
	c := &Client{
		cfg: cfg, open: cfg.testOnlyOpen, ready: make(chan struct{}), exited: make(chan struct{}),
		isOff: make(chan struct{}), heard: make(chan struct{}), dead: make(chan struct{}),
	}
	if c.open == nil {
		c.open = openLine
	}
	held, err := claimOff(c.open, patience, cfg.Wiring.Specs())
	if err := errors.Join(err, closeAll(held)); err != nil {
		return nil, err
	}
	status, err := c.launch()
	if err != nil {
		return nil, fmt.Errorf("start the warden: %w", err)
	}
	go c.listen(status)
	go c.watch()
	select {
	case <-c.ready:
		return c, nil
	case <-c.dead:
		err = c.Err()
	case <-time.After(readyWithin):
		c.killFor(fmt.Errorf("not ready %v after its start", readyWithin))
		err = c.Err()
	}
	return nil, errors.Join(fmt.Errorf("start the warden: %w", err), c.release())
}

// launch starts the process and returns the pipe of its status lines. The
// warden gets no environment: it needs none, and must not speak to the
// service manager in the daemon's name.
func (c *Client) launch() (*os.File, error) {
	command := c.cfg.Command
	if command == nil {
		self, err := os.Executable()
		if err != nil {
			return nil, err
		}
		command = []string{self, "warden"}
	}
	c.cmd = exec.Command(command[0], append(command[1:len(command):len(command)], c.cfg.Wiring.Args()...)...)
	if c.cfg.Command == nil && selfPath != "" {
		c.cmd.Path, c.cmd.Err = selfPath, nil
	}
	c.cmd.Env = append([]string{}, c.cfg.testOnlyEnv...)
	c.cmd.Stderr = os.Stderr
	detach(c.cmd)
	leasesOut, leasesIn, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	statusOut, statusIn, err := os.Pipe()
	if err != nil {
		return nil, errors.Join(err, leasesOut.Close(), leasesIn.Close())
	}
	c.cmd.Stdin, c.cmd.Stdout, c.pipe = leasesOut, statusIn, leasesIn
	err = c.cmd.Start()
	leasesOut.Close()
	statusIn.Close()
	if err != nil {
		return nil, errors.Join(err, leasesIn.Close(), statusOut.Close())
	}
	spareWarden()
	return statusOut, nil
}

// Set sends a lease that asks for the outputs as given; call it at every
// tick, at least once a second. It returns within 50 ms, nil meaning that the
// lease is on its way; Status tells what came of it. Errors wrap ErrDead or
// ErrWithdrawn. A warden that has not answered for the length of a lease is
// killed, its lines driven off from here; Set then reports ErrDead.
func (c *Client) Set(want warden.Lines) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if err := c.gone(); err != nil {
		return err
	}
	if c.leaving {
		return ErrWithdrawn
	}
	if silent := time.Since(c.waiting); !c.waiting.IsZero() && silent > c.lease() {
		return c.giveUp(fmt.Errorf("no answer for %v", silent.Round(time.Millisecond)))
	}
	if err := c.send(warden.Message{Kind: warden.Lease, Heat: want.Heat, Air: want.Air, Main: want.Main}); err != nil {
		return c.giveUp(err)
	}
	return nil
}

func (c *Client) lease() time.Duration {
	if c.cfg.Wiring.Lease == 0 {
		return warden.DefaultLease
	}
	return c.cfg.Wiring.Lease
}

// gone is ErrDead once the process is.
func (c *Client) gone() error {
	select {
	case <-c.dead:
		return c.err
	case <-c.exited:
		return ErrDead
	default:
		return nil
	}
}

// giveUp kills the warden in the background and says so. The caller holds mu.
func (c *Client) giveUp(why error) error {
	c.why = why
	go c.kill()
	return fmt.Errorf("%w: %w; it is being killed and its lines driven off", ErrDead, why)
}

// send numbers and stamps m and writes it. The caller holds mu.
func (c *Client) send(m warden.Message) error {
	c.seq++
	m.Seq, m.Issued = c.seq, bootClock()
	if m.Issued < 0 {
		return errors.New("the system's clock cannot be read")
	}
	b := warden.Encode(m)
	if err := c.pipe.SetWriteDeadline(time.Now().Add(writeWithin)); err != nil {
		return err
	}
	if _, err := c.pipe.Write(b[:]); err != nil {
		return fmt.Errorf("it takes no leases: %w", err)
	}
	if c.waiting.IsZero() {
		c.waiting = time.Now()
	}
	return nil
}

// Off withdraws the lease for good and returns when the warden has confirmed
// that the lines are off, or, where it does not, when it was killed and its
// lines driven off from here: about a second at worst. An error means that
// neither can be shown to have worked; then the plug must be pulled.
func (c *Client) Off() error {
	c.mu.Lock()
	err := c.gone()
	if err == nil && !c.leaving {
		c.leaving = true
		err = c.send(warden.Message{Kind: warden.Withdraw})
	}
	c.mu.Unlock()
	if err == nil {
		select {
		case <-c.isOff:
			return nil
		case <-c.exited:
		case <-time.After(offWithin):
			err = errors.New("the withdrawal was not confirmed")
		}
	}
	c.killFor(err)
	return c.offErr()
}

// Dead is closed when the warden is gone and the lines have been driven off
// from here, or that has failed; Err then says which. It is closed at most
// half a second after the death, usually at once.
func (c *Client) Dead() <-chan struct{} { return c.dead }

// Err is nil while the warden lives and after an orderly Close. Otherwise it
// wraps ErrDead and says how the warden died, what it said last and whether
// the lines are off.
func (c *Client) Err() error {
	select {
	case <-c.dead:
		return c.err
	default:
		return nil
	}
}

// Status is what the warden last said: what the lines really are, and why.
func (c *Client) Status() Status {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.last
}

// Close is Off, then the end of the warden. Lines taken over from a dead
// warden are let go of, off. The lines are off within about a second, as with
// Off; the process may take a few more to end.
func (c *Client) Close() error {
	err := c.Off()
	c.pipe.Close()
	select {
	case <-c.dead:
	case <-time.After(endWithin):
		c.killFor(errors.New("it does not end"))
		err = errors.Join(err, c.offErr())
	}
	return errors.Join(err, c.release())
}

// release lets go of lines taken over.
func (c *Client) release() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	held := c.held
	c.held = nil
	return closeAll(held)
}

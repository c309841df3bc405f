package plug

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"
)

// lastWords is how long the status pipe of a dead warden may take to run dry.
const lastWords = 100 * time.Millisecond

// errStillOn marks the one failure that calls for the plug to be pulled.
var errStillOn = errors.New("the lines could not be driven off; pull the plug now")

// listen takes in what the warden says, until its end of the pipe closes.
func (c *Client) listen(status *os.File) {
	defer close(c.heard)
	defer status.Close()
	sc := bufio.NewScanner(status)
	ready, off := false, false
	for sc.Scan() {
		s, ok := parseStatus(sc.Text())
		if !ok {
			continue
		}
		c.mu.Lock()
		c.last = s
		c.waiting = time.Time{}
		if s.Seq < c.seq {
			c.waiting = time.Now()
		}
		confirmed := c.leaving && s.Seq == c.seq && !s.Heat && !s.Main && s.Word == wordState
		c.mu.Unlock()
		if !ready && s.Word == wordReady {
			ready = true
			close(c.ready)
		}
		if !off && confirmed {
			off = true
			close(c.isOff)
		}
	}
}

// parseStatus reads what line wrote.
func parseStatus(line string) (Status, bool) {
	f := strings.SplitN(strings.TrimSuffix(line, "\n"), " ", 6)
	if len(f) != 6 {
		return Status{}, false
	}
	seq, err := strconv.ParseUint(f[1], 10, 64)
	if err != nil {
		return Status{}, false
	}
	return Status{Word: f[0], Seq: seq, Heat: f[2] == word(true), Main: f[3] == word(true), Air: f[4] == word(true), Text: f[5]}, true
}

// watch waits for the process to end.
func (c *Client) watch() {
	c.exit = c.cmd.Wait()
	close(c.exited)
	c.mu.Lock()
	leaving := c.leaving
	c.mu.Unlock()
	if leaving && c.exit == nil {
		c.once.Do(func() { close(c.dead) })
		return
	}
	c.takeOver()
}

// killFor is kill, with the reason to give.
func (c *Client) killFor(why error) {
	c.mu.Lock()
	if c.why == nil {
		c.why = why
	}
	c.mu.Unlock()
	c.kill()
}

// kill ends a warden that does not do its work, and drives its lines off even
// if it cannot be ended. It returns when that is done.
func (c *Client) kill() {
	// A process that is already gone needs no killing.
	_ = c.cmd.Process.Kill()
	select {
	case <-c.exited:
	case <-time.After(killWithin):
	}
	c.takeOver()
	<-c.dead
}

// takeOver claims the lines of a dead warden, off, and keeps them.
func (c *Client) takeOver() {
	c.once.Do(func() {
		defer close(c.dead)
		held, err := claimBounded(c.open, c.cfg.Wiring.Specs())
		select {
		case <-c.heard:
		case <-time.After(lastWords):
		}
		c.mu.Lock()
		defer c.mu.Unlock()
		c.held = held
		c.err = fmt.Errorf("%w: %s; it said last: %q", ErrDead, c.cause(), c.last.Text)
		if err != nil {
			c.err = fmt.Errorf("%w; %w: %w", c.err, errStillOn, err)
			return
		}
		c.err = fmt.Errorf("%w; calx has driven its lines off itself", c.err)
	})
}

// cause puts together why the warden is gone. The caller holds mu.
func (c *Client) cause() string {
	how := "it cannot be killed: a driver holds it in the kernel"
	select {
	case <-c.exited:
		how = "it ended"
		if c.exit != nil {
			how = c.exit.Error()
		}
	default:
	}
	if c.why == nil {
		return how
	}
	return c.why.Error() + "; " + how
}

// claimBounded is claimOff for a driver that may hang: it returns in any case.
func claimBounded(open opener, specs []Spec) ([]Output, error) {
	type result struct {
		held []Output
		err  error
	}
	done := make(chan result, 1)
	go func() {
		held, err := claimOff(open, claimWithin, specs)
		done <- result{held, err}
	}()
	select {
	case r := <-done:
		return r.held, r.err
	case <-time.After(2 * claimWithin):
		return nil, errors.New("the driver of the lines does not answer")
	}
}

// offErr is nil unless the lines could not be driven off.
func (c *Client) offErr() error {
	if err := c.Err(); errors.Is(err, errStillOn) {
		return err
	}
	return nil
}

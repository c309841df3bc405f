package main

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"strings"

	"golang.org/x/term"

	"calx/cmd/calx/station"
)

type clearCmd struct {
	Yes bool `help:"Do not ask: I have looked at the kiln."`
	daemonFlag
	jsonFlag
}

// clearResult is the object that --json writes.
type clearResult struct {
	Cleared *station.Trip `json:"cleared"` // null when there was none
}

func (c *clearCmd) Run(e *env) error {
	cl, err := c.client()
	if err != nil {
		return err
	}
	st, err := cl.status(e.ctx)
	if err != nil {
		return err
	}
	t := st.Trip
	if t == nil {
		if c.JSON {
			return e.writeJSON(clearResult{})
		}
		e.printf("there is no trip to clear\n")
		return nil
	}
	if !c.JSON {
		c.tell(e, st)
	}
	if err := c.agreed(e); err != nil {
		return err
	}
	if err := cl.post(e.ctx, "/api/clear", map[string]uint64{"firing": t.Firing}, nil); err != nil {
		return fmt.Errorf("the trip is not cleared: %w", err)
	}
	if c.JSON {
		return e.writeJSON(clearResult{t})
	}
	e.printf("cleared; calx fire may begin a firing again\n")
	return nil
}

// tell shows what tripped, when, and what to look at.
func (c *clearCmd) tell(e *env, st station.Status) {
	t := st.Trip
	named := fmt.Sprintf("firing %d", t.Firing)
	if t.Name != "" {
		named += fmt.Sprintf(" %q", printable(t.Name))
	}
	e.printf("%s\n", e.paint(red, fmt.Sprintf("%s tripped on %s", named, t.At.Local().Format("Mon 2 Jan at 15:04"))))
	e.printf("  %s\n", wrap(printable(t.Text), e.width, 2))
	if t.Hint != "" {
		e.printf("  look: %s\n", wrap(printable(t.Hint), e.width, 8))
	}
	e.printf("  the chamber is at %s now, the heat is %s\n", temperature(st.ChamberC, st.Units == "F"), onOff(st.Heat))
}

func onOff(on bool) string {
	if on {
		return "ON: switch the kiln off at the wall"
	}
	return "off"
}

// agreed asks, where somebody can answer.
func (c *clearCmd) agreed(e *env) error {
	if c.Yes {
		return nil
	}
	if !term.IsTerminal(int(os.Stdin.Fd())) || !e.tty || c.JSON {
		return usageError{errors.New("nothing was cleared: say --yes when you have looked at the kiln and found why it tripped")}
	}
	e.printf("Have you looked at the kiln, and is what tripped mended? [y/N] ")
	answer, err := bufio.NewReader(os.Stdin).ReadString('\n')
	if err != nil {
		return fmt.Errorf("nothing was cleared: %w", err)
	}
	if a := strings.ToLower(strings.TrimSpace(answer)); a != "y" && a != "yes" {
		return errors.New("nothing was cleared")
	}
	return nil
}

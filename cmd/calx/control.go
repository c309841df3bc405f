package main

import (
	"context"
	"fmt"
	"time"

	"calx/cmd/calx/station"
)

// controlFlags are common to the commands that a firing obeys. With --json
// they write the Status (see watch) as it is once the command has taken
// effect.
type controlFlags struct {
	daemonFlag
	jsonFlag
	unitsFlag
}

type (
	stopCmd   struct{ controlFlags }
	pauseCmd  struct{ controlFlags }
	resumeCmd struct{ controlFlags }
	stepOnCmd struct{ controlFlags }
)

// order is a command and how to see that it was carried out.
type order struct {
	word  string
	done  func(before, now station.Status) bool
	says  func(before, now station.Status, fahrenheit bool) string
	stuck string // what is wrong, and what to do, when it was not
}

// takenWithin is how long a command may take to show: the longest time between
// two readings, and a little.
const takenWithin = 12 * time.Second

const askEvery = 200 * time.Millisecond

func (c *stopCmd) Run(e *env) error {
	return c.give(e, order{
		word: "stop",
		done: func(_, now station.Status) bool { return now.Firing == nil && !now.Heat },
		says: func(before, now station.Status, f bool) string {
			return fmt.Sprintf("firing %s is stopped and the heat is off; the chamber is at %s", named(before.Firing), temperature(now.ChamberC, f))
		},
		stuck: "the heat is not off yet\nswitch the kiln off at the wall",
	})
}

func (c *pauseCmd) Run(e *env) error {
	return c.give(e, order{
		word: "pause",
		done: func(_, now station.Status) bool { return now.Firing != nil && now.Firing.Phase == "paused" },
		says: func(_, now station.Status, f bool) string {
			return fmt.Sprintf("firing %s is paused; calx keeps the chamber at %s until calx resume", named(now.Firing), temperature(now.SetpointC, f))
		},
		stuck: "the plan still runs\nlook with calx watch; calx stop turns the heat off",
	})
}

func (c *resumeCmd) Run(e *env) error {
	return c.give(e, order{
		word: "resume",
		done: func(_, now station.Status) bool {
			return now.Firing != nil && now.Firing.Phase != "paused" && now.Firing.Asks == ""
		},
		says: func(_, now station.Status, _ bool) string {
			return fmt.Sprintf("firing %s goes on: step %d of %d, %s", named(now.Firing), now.Firing.Step, now.Firing.Steps, now.Firing.Sentence)
		},
		stuck: "the plan still stands\nlook with calx watch: it says why",
	})
}

func (c *stepOnCmd) Run(e *env) error {
	return c.give(e, order{
		word: "step-on",
		done: func(before, now station.Status) bool {
			return now.Firing == nil || before.Firing == nil || now.Firing.ID != before.Firing.ID || now.Firing.Step > before.Firing.Step
		},
		says: func(before, now station.Status, _ bool) string {
			if now.Firing == nil {
				return fmt.Sprintf("that was the last step: firing %s is over and the heat is off", named(before.Firing))
			}
			return fmt.Sprintf("firing %s is now in step %d of %d: %s", named(now.Firing), now.Firing.Step, now.Firing.Steps, now.Firing.Sentence)
		},
		stuck: "the step has not ended\nlook with calx watch",
	})
}

// named is a firing as people call it: 12 "woody pods".
func named(f *station.Firing) string {
	switch {
	case f == nil:
		return "–"
	case f.Name == "":
		return fmt.Sprint(f.ID)
	}
	return fmt.Sprintf("%d %q", f.ID, f.Name)
}

// give sends an order and waits until the kiln shows that it was obeyed: an
// order that was only taken is no reason to go back to bed.
func (c *controlFlags) give(e *env, o order) error {
	cl, err := c.client()
	if err != nil {
		return err
	}
	before, err := cl.status(e.ctx)
	if err != nil {
		return err
	}
	err = cl.post(e.ctx, "/api/command", map[string]string{"command": o.word}, nil)
	if err != nil {
		return idle(err, before, c.fahrenheit(before.Units == "F"))
	}
	now, err := obeyed(e.ctx, cl, o, before)
	if err != nil {
		return err
	}
	if c.JSON {
		return e.writeJSON(now)
	}
	e.printf("%s\n", o.says(before, now, c.fahrenheit(now.Units == "F")))
	return nil
}

// idle adds to a refusal, where nothing is fired, what the kiln does instead:
// whoever asks at night wants to know about the heat.
func idle(err error, st station.Status, fahrenheit bool) error {
	if st.Firing != nil {
		return err
	}
	heat := "off"
	if st.Heat {
		heat = "on: switch the kiln off at the wall"
	}
	return fmt.Errorf("%w; the heat is %s and the chamber is at %s", err, heat, temperature(st.ChamberC, fahrenheit))
}

func obeyed(ctx context.Context, cl *client, o order, before station.Status) (station.Status, error) {
	ctx, cancel := context.WithTimeout(ctx, takenWithin)
	defer cancel()
	for {
		now, err := cl.status(ctx)
		if err == nil && o.done(before, now) {
			return now, nil
		}
		select {
		case <-time.After(askEvery):
		case <-ctx.Done():
			if err == nil || ctx.Err() == context.DeadlineExceeded {
				err = fmt.Errorf("calx took %q, but after %v %s", o.word, takenWithin, o.stuck)
			}
			return now, err
		}
	}
}

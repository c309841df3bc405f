package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"calx/cmd/calx/outbox"
)

type tellCmd struct {
	Test bool   `help:"Send a test message now and say what each destination answered; exit code 1 when one failed." xor:"what"`
	Name string `arg:"" optional:"" help:"With --test: this destination alone."`
	Ack  bool   `help:"You have seen the open alarms: stop repeating them." xor:"what"`
	All  bool   `help:"List every message that is kept, not the last ten alone."`
	daemonFlag
	jsonFlag
}

// tellTest is the object that calx tell --test --json writes.
type tellTest struct {
	OK      bool            `json:"ok"`
	Answers []outbox.Answer `json:"answers"`
}

func (c *tellCmd) Run(e *env) error {
	switch {
	case c.Name != "" && !c.Test:
		return usageError{fmt.Errorf("%q is the name of a destination, which is for --test: calx tell --test %s", c.Name, c.Name)}
	case c.Test:
		return c.test(e)
	case c.Ack:
		return c.ack(e)
	}
	cl, err := c.client()
	if err != nil {
		return err
	}
	var st outbox.State
	if err := cl.get(e.ctx, "/api/tell", &st); err != nil {
		return err
	}
	if c.JSON {
		return e.writeJSON(st)
	}
	c.print(e, st)
	return nil
}

// get asks once and decodes the answer.
func (c *client) get(ctx context.Context, path string, out any) error {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	body, err := c.do(ctx, http.MethodGet, path, nil)
	if err != nil {
		return err
	}
	defer body.Close()
	if err := json.NewDecoder(body).Decode(out); err != nil {
		return fmt.Errorf("calx at %s answered something that cannot be read: %w", c.at, err)
	}
	return nil
}

func (c *tellCmd) ack(e *env) error {
	cl, err := c.client()
	if err != nil {
		return err
	}
	var answer struct {
		Acknowledged int `json:"acknowledged"`
	}
	if err := cl.post(e.ctx, "/api/tell", map[string]string{"order": "acknowledge"}, &answer); err != nil {
		return err
	}
	switch {
	case c.JSON:
		return e.writeJSON(answer)
	case answer.Acknowledged == 0:
		e.printf("no alarm is open\n")
	case answer.Acknowledged == 1:
		e.printf("1 alarm acknowledged; it is not repeated\n")
	default:
		e.printf("%d alarms acknowledged; they are not repeated\n", answer.Acknowledged)
	}
	return nil
}

// testWithin is how long the daemon may take to try all destinations.
const testWithin = 25 * time.Second

// test has the daemon try, since it is the one that has to reach them; without
// one it tries from here.
func (c *tellCmd) test(e *env) error {
	var res tellTest
	err := c.testByDaemon(e.ctx, &res)
	var none absent
	if errors.As(err, &none) && c.At == "" {
		err = c.testFromHere(e, &res)
	}
	if err != nil {
		return err
	}
	res.OK = true
	var failed []string
	for _, a := range res.Answers {
		if !a.OK {
			failed = append(failed, a.Name)
			res.OK = false
		}
	}
	if c.JSON {
		err = e.writeJSON(res)
	} else {
		for _, a := range res.Answers {
			printAnswer(e, a)
		}
	}
	if len(failed) > 0 {
		return errors.Join(err, fmt.Errorf("%s could not be told", strings.Join(failed, ", ")))
	}
	return err
}

func (c *tellCmd) testByDaemon(ctx context.Context, res *tellTest) error {
	cl, err := c.client()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, testWithin)
	defer cancel()
	body, err := cl.do(ctx, http.MethodPost, "/api/tell", map[string]string{"order": "test", "name": c.Name})
	if err != nil {
		return err
	}
	defer body.Close()
	return json.NewDecoder(body).Decode(res)
}

func (c *tellCmd) testFromHere(e *env, res *tellTest) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	if cfg == nil {
		return errors.New("no calx answers, and there is no calx.yaml here that names whom to tell; start calx serve, or name the configuration with --config FILE")
	}
	if !c.JSON {
		e.printf("no calx is running; tried from here, as you\n")
	}
	res.Answers, err = outbox.Try(e.ctx, cfg, c.Name, cfg.Kiln, time.Now())
	return err
}

func printAnswer(e *env, a outbox.Answer) {
	if a.OK {
		e.printf("%s  %s (%s) took the message in %.1f s; see whether it has come\n", e.paint(green, "ok"), a.Name, a.Service, a.TookS)
		return
	}
	service := a.Service
	if service == "" {
		service = "no service"
	}
	e.printf("%s  %s\n", e.paint(red, "failed"), wrap(fmt.Sprintf("%s (%s): %s", a.Name, service, printable(a.Error)), e.width, 8))
}

// lastMessages is how many are listed without --all.
const lastMessages = 10

// print lists destinations, then messages, newest last.
func (c *tellCmd) print(e *env, st outbox.State) {
	if len(st.Destinations) == 0 {
		e.printf("nobody is told: calx.yaml has no tell section\n")
		return
	}
	for _, d := range st.Destinations {
		e.printf("%s  %s\n", e.paint(bold, d.Name), wrap(d.Line(), e.width, 2+len([]rune(d.Name))))
		if d.Error != "" {
			e.printf("  %s %s\n", e.paint(red, "error:"), wrap(printable(d.Error), e.width, 9))
		}
	}
	ms := st.Messages
	if n := len(ms) - lastMessages; n > 0 && !c.All {
		ms = ms[n:]
		e.printf("\nthe last %d of %d messages; --all lists them all\n", lastMessages, len(st.Messages))
	} else if len(ms) > 0 {
		e.printf("\n")
	}
	for _, m := range ms {
		e.printf("%s  %s\n", m.At.Local().Format("Mon 15:04"), wrap(printable(m.Subject), e.width, 11))
		e.printf("           %s\n", e.paint(faint, wrap(m.Fate(), e.width, 11)))
	}
	if st.Unanswered > 0 {
		e.printf("\n%d not acknowledged; when you have seen to it: calx tell --ack\n", st.Unanswered)
	}
}

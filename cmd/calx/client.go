package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"syscall"
	"time"

	"calx/cmd/calx/config"
	"calx/cmd/calx/station"
)

// configFlag is which calx.yaml is meant.
type configFlag struct {
	Config string `help:"Configuration; otherwise calx.yaml in this folder, else /etc/calx/calx.yaml." placeholder:"FILE" type:"path"`
}

// daemonFlag is where the calx that serves the kiln answers.
type daemonFlag struct {
	configFlag
	At string `help:"Address of the calx that serves the kiln; otherwise the one calx.yaml listens on, else 127.0.0.1:8418." placeholder:"HOST:PORT" env:"CALX_AT"`
}

// jsonFlag chooses an object over words.
type jsonFlag struct {
	JSON bool `name:"json" help:"Write JSON instead of words: °C and seconds, whatever the units shown."`
}

// load reads the configuration; nil without an error when there is none and
// none was asked for.
func (f configFlag) load() (*config.Config, error) {
	name := f.find()
	if name == "" {
		return nil, nil
	}
	return config.Load(name)
}

// defaultAt is where calx listens unless told otherwise.
const defaultAt = "127.0.0.1:8418"

// client finds the daemon: the flag first, then the configuration.
func (f daemonFlag) client() (*client, error) {
	at := f.At
	if at == "" {
		c, err := f.load()
		if err != nil {
			return nil, fmt.Errorf("%w\nname the address of calx with --at HOST:PORT to go on without the configuration", err)
		}
		at = defaultAt
		if c != nil {
			at = reachable(c.Listen)
		}
	}
	if _, _, err := net.SplitHostPort(at); err != nil {
		return nil, usageError{fmt.Errorf("--at is %q; it must be HOST:PORT, for example %s", at, defaultAt)}
	}
	return &client{at: at}, nil
}

// reachable turns an address to listen on into one to call: every interface
// includes this board itself.
func reachable(listen string) string {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return listen
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		return net.JoinHostPort("127.0.0.1", port)
	}
	return listen
}

// client speaks to a calx that serves a kiln.
type client struct {
	at   string // host:port
	http http.Client
}

// answerWithin is how long a question may take; a stream and the log have no
// such bound.
const answerWithin = 10 * time.Second

// refusal is what the daemon said no to.
type refusal struct {
	Text     string   `json:"error"`
	Problems []string `json:"problems"`
	code     int
}

func (r *refusal) Error() string {
	lines := []string{r.Text}
	if r.Text == "" {
		lines[0] = fmt.Sprintf("calx answered %d %s", r.code, http.StatusText(r.code))
	}
	for _, p := range r.Problems {
		lines = append(lines, "  "+p)
	}
	return strings.Join(lines, "\n")
}

// do sends one request and returns the body of a good answer.
func (c *client) do(ctx context.Context, method, path string, body any) (io.ReadCloser, error) {
	var in io.Reader
	if body != nil {
		b, err := json.Marshal(body)
		if err != nil {
			return nil, err
		}
		in = bytes.NewReader(b)
	}
	req, err := http.NewRequestWithContext(ctx, method, "http://"+c.at+path, in)
	if err != nil {
		return nil, err
	}
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	res, err := c.http.Do(req)
	if err != nil {
		return nil, c.unreached(ctx, err)
	}
	if res.StatusCode/100 == 2 {
		return res.Body, nil
	}
	defer res.Body.Close()
	r := &refusal{code: res.StatusCode}
	text, _ := io.ReadAll(io.LimitReader(res.Body, 64<<10))
	if json.Unmarshal(text, r) != nil {
		r.Text = strings.TrimSpace(string(text))
	}
	if res.StatusCode == http.StatusNotFound && r.Problems == nil {
		return nil, fmt.Errorf("what answers at %s is not calx, or another version of it (no %s there); name the address with --at HOST:PORT", c.at, path)
	}
	return nil, r
}

// absent says that no daemon runs there: what it holds open may be opened here.
type absent struct{ error }

// unreached says why the daemon could not be asked.
func (c *client) unreached(ctx context.Context, err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		err = u.Err
	}
	switch {
	case errors.Is(ctx.Err(), context.Canceled):
		return ctx.Err()
	case errors.Is(err, syscall.ECONNREFUSED):
		return absent{fmt.Errorf("no calx answers at %s: nothing listens there\nstart it with calx serve, or name its address with --at HOST:PORT", c.at)}
	case errors.Is(err, context.DeadlineExceeded):
		return fmt.Errorf("no calx answers at %s: connected, but no answer within %v\nlook at the board; if the kiln is hot and you cannot tell what it does, switch it off at the wall", c.at, answerWithin)
	}
	return fmt.Errorf("no calx answers at %s: %w\nname its address with --at HOST:PORT", c.at, err)
}

// status asks once.
func (c *client) status(ctx context.Context) (station.Status, error) {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	var st station.Status
	body, err := c.do(ctx, http.MethodGet, "/api/status", nil)
	if err != nil {
		return st, err
	}
	defer body.Close()
	if err := json.NewDecoder(body).Decode(&st); err != nil {
		return st, fmt.Errorf("calx at %s answered something that is not a status: %w", c.at, err)
	}
	return st, nil
}

// post sends body and decodes the answer into out, unless out is nil.
func (c *client) post(ctx context.Context, path string, body, out any) error {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	answer, err := c.do(ctx, http.MethodPost, path, body)
	if err != nil {
		return err
	}
	defer answer.Close()
	if out == nil {
		return nil
	}
	return json.NewDecoder(answer).Decode(out)
}

// longestEvent bounds one event of the stream, in bytes.
const longestEvent = 1 << 20

// stream calls see with the data of every event until ctx ends, the daemon
// goes, or nothing has come for quiet. It always returns an error.
func (c *client) stream(ctx context.Context, quiet time.Duration, see func(data []byte) error) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	alive := time.AfterFunc(quiet, func() { cancel(errQuiet) })
	defer alive.Stop()
	body, err := c.do(ctx, http.MethodGet, "/api/stream", nil)
	if err != nil {
		return why(ctx, err)
	}
	defer body.Close()
	lines := bufio.NewScanner(body)
	lines.Buffer(nil, longestEvent)
	var data []byte
	for lines.Scan() {
		alive.Reset(quiet)
		line := lines.Bytes()
		switch part, isData := bytes.CutPrefix(line, []byte("data:")); {
		case isData:
			data = append(data, bytes.TrimPrefix(part, []byte(" "))...)
		case len(line) == 0 && len(data) > 0:
			if err := see(data); err != nil {
				return err
			}
			data = nil
		}
	}
	if err := lines.Err(); err != nil {
		return why(ctx, err)
	}
	return errGone
}

var (
	errQuiet = errors.New("calx has gone quiet")
	errGone  = errors.New("calx has closed the connection")
)

// why prefers the reason a context was ended for to what that did to a read.
func why(ctx context.Context, err error) error {
	if cause := context.Cause(ctx); cause != nil {
		return cause
	}
	return err
}

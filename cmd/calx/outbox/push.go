package outbox

import (
	"context"
	"errors"
	"io"
	"net/http"
	"slices"
	"strings"
	"sync"

	"github.com/nicholas-fedor/shoutrrr/pkg/router"
	"github.com/nicholas-fedor/shoutrrr/pkg/types"
)

// push reaches everything but e-mail.
type push struct {
	service types.Service
	titled  bool          // it shows a title of its own
	busy    chan struct{} // holds one while a letter is on its way
}

// titled services show a title; for the others it is the first line. The web
// hook does when it sends JSON.
var titled = []string{"bark", "discord", "gotify", "join", "lark", "matrix", "ntfy", "opsgenie", "pushbullet", "pushover", "teams", "telegram"}

func newPush(address, service string) (p *push, err error) {
	defer recovered(&err)
	bound()
	r, err := router.New(nil)
	if err != nil {
		return nil, err
	}
	s, err := r.Locate(address)
	if errors.Is(err, router.ErrUnknownService) {
		names := append(r.ListServices(), "smtp")
		names = slices.DeleteFunc(names, func(n string) bool { return n == "logger" })
		slices.Sort(names)
		return nil, errors.New("there is no service of that name; there are " + strings.Join(slices.Compact(names), ", "))
	}
	if err != nil {
		return nil, err
	}
	json := service == "generic" && strings.Contains(strings.ToLower(address), "template=json")
	return &push{s, json || slices.Contains(titled, service), make(chan struct{}, 1)}, nil
}

// send gives the letter to the library, whose services take no context: one
// that hangs is left alone, and no other letter follows it until it ends.
func (p *push) send(ctx context.Context, l letter) error {
	select {
	case p.busy <- struct{}{}:
	default:
		return errors.New("the attempt before still hangs")
	}
	done := make(chan error, 1)
	go func() {
		var err error
		defer func() { done <- err }()
		defer func() { <-p.busy }()
		defer recovered(&err)
		text, params := l.body, types.Params{}
		if p.titled {
			params.SetTitle(l.subject)
		} else {
			text = strings.TrimRight(l.subject+"\n"+l.body, "\n")
		}
		if text == "" {
			text = l.subject // most services refuse an empty one
		}
		err = p.service.Send(text, &params)
	}()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		return errUnsure
	}
}

// mostAnswer is how much of an answer is read, bytes.
const mostAnswer = 1 << 20

var boundOnce sync.Once

// bound gives the standard library's default client, which the notification
// library uses, an end in time and in bytes: whoever answers a web hook must
// not be able to fill the memory of the board that holds the heat.
func bound() {
	boundOnce.Do(func() {
		next := http.DefaultClient.Transport
		if next == nil {
			next = http.DefaultTransport
		}
		http.DefaultClient.Transport = bounded{next}
		http.DefaultClient.Timeout = sendWithin
	})
}

type bounded struct{ next http.RoundTripper }

func (b bounded) RoundTrip(r *http.Request) (*http.Response, error) {
	res, err := b.next.RoundTrip(r)
	if err == nil {
		res.Body = struct {
			io.Reader
			io.Closer
		}{io.LimitReader(res.Body, mostAnswer), res.Body}
	}
	return res, err
}

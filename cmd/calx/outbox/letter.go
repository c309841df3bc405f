package outbox

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"regexp"
	"strings"
	"time"
)

// letter is what goes to a destination at a time.
type letter struct {
	id            string // the same for the same messages, so that a copy can be known as one
	subject, body string
	at            time.Time // when it is sent
	urgent        bool
}

// sender reaches one destination. send returns when the service has taken the
// letter, or ctx has ended. Its errors hold no part of the address.
type sender interface {
	send(ctx context.Context, l letter) error
}

// partly says that a letter reached some and not others: it counts as sent.
type partly struct{ error }

func (p partly) Unwrap() error { return p.error }

// errUnsure is what a service that hangs leaves behind.
var errUnsure = errors.New("no answer in time; it may have arrived or not")

// dial makes the sender of an address, and names its service.
func dial(address string) (s sender, service string, err error) {
	u, err := url.Parse(address)
	if err != nil || u.Scheme == "" {
		return nil, "", errors.New("the address cannot be read; it begins with the name of a service and ://, for example smtp://")
	}
	hide := secretsOf(address, u)
	service, _, _ = strings.Cut(u.Scheme, "+")
	if service == "smtp" || service == "smtps" {
		s, err = newMail(u)
	} else {
		s, err = newPush(address, service)
	}
	if err != nil {
		return nil, service, hide.from(err)
	}
	return discreet{s, hide}, service, nil
}

// discreet keeps the address out of errors.
type discreet struct {
	sender
	hide secrets
}

func (d discreet) send(ctx context.Context, l letter) error {
	err := d.sender.send(ctx, l)
	var some partly
	switch {
	case err == nil:
		return nil
	case errors.As(err, &some):
		return partly{d.hide.from(err)}
	}
	return d.hide.from(err)
}

// secrets are texts that an error may hold and nobody may see; the whole address
// first, since its parts are in it.
type secrets []string

// leastSecret is the shortest text that is hidden, bytes: of shorter ones any
// sentence is full, and nobody is guarded by them.
const leastSecret = 3

// secretsOf takes an address apart: all of it but the service and a host that
// can be no token, since it has a dot or is this board.
func secretsOf(address string, u *url.URL) secrets {
	out := secrets{address}
	add := func(s string) {
		for _, v := range []string{s, url.QueryEscape(s), url.PathEscape(s)} {
			if len(v) >= leastSecret {
				out = append(out, v)
			}
		}
	}
	add(u.User.Username())
	if p, ok := u.User.Password(); ok {
		add(p)
	}
	if h := u.Hostname(); !strings.ContainsAny(h, ".:") && h != "localhost" {
		add(h)
	}
	add(u.Fragment)
	for _, p := range strings.Split(u.Path, "/") {
		add(p)
	}
	for _, vs := range u.Query() {
		for _, v := range vs {
			for _, part := range append(strings.Split(v, ","), v) {
				if !plainSetting.MatchString(part) {
					add(part)
				}
			}
		}
	}
	return out
}

// plainSetting is a value of a switch: hiding "yes" would garble any error.
var plainSetting = regexp.MustCompile(`^(?i:yes|no|true|false|json|none|auto|explicittls|implicittls|post|put|get)$`)

var anyAddress = regexp.MustCompile(`[A-Za-z][A-Za-z0-9+.-]*://[^\s"'<>]*`)

// longestError is where an error is cut: a server may answer with a page.
const longestError = 300

// from is err as people may see it.
func (s secrets) from(err error) error {
	text := anyAddress.ReplaceAllString(err.Error(), "(address)")
	for _, x := range s {
		text = replaceFold(text, x, "(hidden)")
	}
	text = strings.Join(strings.Fields(strings.ToValidUTF8(text, "")), " ")
	if len(text) > longestError {
		text = strings.ToValidUTF8(text[:longestError], "") + " …"
	}
	return errors.New(text)
}

// replaceFold replaces every from in s, in small letters or large.
func replaceFold(s, from, to string) string {
	return regexp.MustCompile(`(?i)`+regexp.QuoteMeta(from)).ReplaceAllLiteralString(s, to)
}

// recovered turns a panic in somebody else's code into an error: nothing here
// may end a firing.
func recovered(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("the service's code failed: %v", p)
	}
}

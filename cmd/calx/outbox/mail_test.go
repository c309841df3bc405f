package outbox

import (
	"bufio"
	"bytes"
	"context"
	"crypto/tls"
	"encoding/base64"
	"fmt"
	"io"
	"mime"
	"mime/quotedprintable"
	"net"
	"net/http/httptest"
	"net/mail"
	"net/textproto"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// mailServer speaks as much of RFC 5321 as a submission needs. It takes one
// connection at a time.
type mailServer struct {
	t      *testing.T
	l      net.Listener
	tls    *tls.Config // offers STARTTLS
	refuse string      // a recipient that is answered with 550
	mute   bool        // says nothing at all

	said chan string // every command, then the letter as it came over the wire
}

func newMailServer(t *testing.T, set func(*mailServer)) *mailServer {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s := &mailServer{t: t, l: l, said: make(chan string, 100)}
	if set != nil {
		set(s)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			s.serve(c)
		}
	}()
	t.Cleanup(func() { _ = l.Close(); <-done })
	return s
}

func (s *mailServer) serve(c net.Conn) {
	defer c.Close()
	if s.mute {
		_, _ = io.Copy(io.Discard, c)
		return
	}
	r := bufio.NewReader(c)
	answer := func(line string) { fmt.Fprintf(c, "%s\r\n", line) }
	answer("220 mail.test ready")
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			return
		}
		line = strings.TrimSuffix(line, "\r\n")
		s.said <- line
		switch verb, rest, _ := strings.Cut(line, " "); strings.ToUpper(verb) {
		case "EHLO":
			answer("250-mail.test")
			if s.tls != nil {
				answer("250-STARTTLS")
			}
			answer("250-AUTH PLAIN")
			answer("250 8BITMIME")
		case "STARTTLS":
			answer("220 go ahead")
			c = tls.Server(c, s.tls)
			r = bufio.NewReader(c)
		case "AUTH":
			answer("235 welcome")
		case "RCPT":
			if s.refuse != "" && strings.Contains(rest, s.refuse) {
				answer("550 5.1.1 no such user " + s.refuse)
				continue
			}
			answer("250 ok")
		case "DATA":
			answer("354 end with a dot")
			var letter bytes.Buffer
			for {
				line, err := r.ReadString('\n')
				if err != nil || line == ".\r\n" {
					break
				}
				letter.WriteString(line)
			}
			s.said <- letter.String()
			answer("250 taken")
		case "QUIT":
			answer("221 bye")
			return
		default:
			answer("250 ok")
		}
	}
}

func (s *mailServer) heard() (commands []string) {
	for {
		select {
		case c := <-s.said:
			commands = append(commands, c)
		default:
			return commands
		}
	}
}

func within(t *testing.T) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	t.Cleanup(cancel)
	return ctx
}

func dialed(t *testing.T, address string) sender {
	t.Helper()
	s, _, err := dial(address)
	require.NoError(t, err)
	return s
}

var aLetter = letter{
	id: "calx.1.2.1.0", subject: "Blüten: TRIP, heat off: no valid temperature, which is a subject long enough to be folded",
	body: "no valid temperature for 10 s (last 412 °C)\n.a line that begins with a dot\ndo: prüfe " + strings.Repeat("die Fühlerschrauben ", 8),
	at:   time.Date(2026, 10, 25, 2, 30, 0, 0, time.FixedZone("", 3600)), urgent: true,
}

// A letter goes over the wire as RFC 5321 (dialogue, dot-stuffing in 4.5.2,
// lines of at most 1,000 octets in 4.5.3.1.6), RFC 5322 (date in 3.3, message
// identifier in 3.6.4), RFC 2045 and RFC 2047 (encoding) have it, and what the
// reader of it decodes is what was written.
func TestALetterOverTheWire(t *testing.T) {
	s := newMailServer(t, nil)
	to := dialed(t, "smtp://kiln:secret@"+s.l.Addr().String()+"/?from=kiln@studio.test&fromname=Ofen+S%C3%BCd&to=ann@a.test,bob@b.test")
	require.NoError(t, to.send(within(t), aLetter))
	said := s.heard()
	require.GreaterOrEqual(t, len(said), 7, said)
	assert.Regexp(t, `^EHLO (\S+\.\S+|\[127\.0\.0\.1\])$`, said[0], "a full name or an address literal")
	auth, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(said[1], "AUTH PLAIN "))
	require.NoError(t, err)
	assert.Equal(t, "\x00kiln\x00secret", string(auth)) // RFC 4616
	assert.Equal(t, []string{"MAIL FROM:<kiln@studio.test> BODY=8BITMIME", "RCPT TO:<ann@a.test>", "RCPT TO:<bob@b.test>", "DATA"}, said[2:6])
	wire := said[6]
	assert.Regexp(t, regexp.MustCompile(`(?m)^\.\.a line`), wire)
	for _, line := range strings.SplitAfter(strings.TrimSuffix(wire, "\r\n"), "\r\n") {
		assert.LessOrEqual(t, len(strings.TrimSuffix(line, "\r\n")), 78, line) // RFC 5322, 2.1.1
		assert.NotContains(t, strings.TrimSuffix(line, "\r\n"), "\n", "bare line feed")
	}
	assert.NotRegexp(t, `[^\x00-\x7f]`, wire, "nothing but ASCII")

	m, err := mail.ReadMessage(textproto.NewReader(bufio.NewReader(strings.NewReader(wire + ".\r\n"))).DotReader())
	require.NoError(t, err)
	at, err := m.Header.Date()
	require.NoError(t, err)
	assert.True(t, aLetter.at.Equal(at))
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	require.NoError(t, err)
	assert.Equal(t, aLetter.subject, subject)
	from, err := m.Header.AddressList("From")
	require.NoError(t, err)
	assert.Equal(t, []*mail.Address{{Name: "Ofen Süd", Address: "kiln@studio.test"}}, from)
	assert.Equal(t, "<calx.1.2.1.0@studio.test>", m.Header.Get("Message-ID"))
	assert.Equal(t, "high", m.Header.Get("Importance"))
	kind, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	require.NoError(t, err)
	assert.Equal(t, "text/plain utf-8", kind+" "+params["charset"])
	require.Equal(t, "quoted-printable", m.Header.Get("Content-Transfer-Encoding"))
	body, err := io.ReadAll(quotedprintable.NewReader(m.Body))
	require.NoError(t, err)
	assert.Equal(t, aLetter.body+"\n", strings.ReplaceAll(string(body), "\r\n", "\n"))
}

// The password never goes over an open line, and after STARTTLS it does
// (RFC 3207).
func TestPasswordGoesUnderTLS(t *testing.T) {
	web := httptest.NewTLSServer(nil) // for its certificate
	defer web.Close()
	s := newMailServer(t, func(s *mailServer) { s.tls = web.TLS })
	at := s.l.Addr().String() + "/?from=kiln@studio.test&to=ann@a.test"
	to := dialed(t, "smtp://kiln:secret@"+at+"&skiptlsverify=yes")
	require.NoError(t, to.send(within(t), aLetter))
	said := s.heard()
	assert.Equal(t, "STARTTLS", said[1])
	assert.Contains(t, strings.Join(said[2:], "\n"), "AUTH PLAIN")

	to = dialed(t, "smtp://kiln:secret@"+at)
	require.ErrorContains(t, to.send(within(t), aLetter), "certificate")
	assert.NotContains(t, strings.Join(s.heard(), "\n"), "AUTH")
}

func TestARefusedRecipientKeepsItFromNobodyElse(t *testing.T) {
	s := newMailServer(t, func(s *mailServer) { s.refuse = "bob@b.test" })
	to := dialed(t, "smtp://"+s.l.Addr().String()+"/?from=kiln@studio.test&to=bob@b.test,ann@a.test")
	err := to.send(within(t), aLetter)
	var some partly
	require.ErrorAs(t, err, &some)
	assert.EqualError(t, err, `recipient 1 of 2: 550 "5.1.1 no such user (hidden)"`)
	to = dialed(t, "smtp://"+s.l.Addr().String()+"/?from=kiln@studio.test&to=bob@b.test")
	err = to.send(within(t), aLetter)
	require.Error(t, err)
	assert.False(t, assert.ObjectsAreEqual(true, isPartly(err)))
}

func isPartly(err error) bool { _, ok := err.(partly); return ok }

// A server that takes the connection and says nothing holds nobody up beyond
// the time given.
func TestAMuteServerIsLeft(t *testing.T) {
	s := newMailServer(t, func(s *mailServer) { s.mute = true })
	to := dialed(t, "smtp://"+s.l.Addr().String()+"/?from=kiln@studio.test&to=ann@a.test")
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	require.Error(t, to.send(ctx, aLetter))
}

func TestMailAddressesThatCannotBe(t *testing.T) {
	for address, want := range map[string]string{
		"smtp://h.test/":                                            "lacks from or to",
		"smtp://h.test/?from=a@b.test&to=":                          "to is no list",
		"smtp://h.test/?from=nobody&to=a@b.test":                    "from is no e-mail address",
		"smtp:///?from=a@b.test&to=a@b.test":                        "names no mail server",
		"smtp://h.test/?from=a@b.test&too=a@b.test":                 "too is not known for e-mail",
		"smtp://h.test/?from=a@b.test&to=a@b.test&encryption=rot13": "encryption must be",
	} {
		_, _, err := dial(address)
		assert.ErrorContains(t, err, want, address)
	}
}

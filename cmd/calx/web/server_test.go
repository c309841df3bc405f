package web_test

import (
	"bufio"
	"context"
	"net"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/web"
)

// Over a real connection: a stream is delivered line by line, and does not
// keep the daemon from ending.
func TestServeEndsWithItsStreams(t *testing.T) {
	r := newRig(t, 100)
	r.run()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, end := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- web.Serve(ctx, l, r.handler, nil) }()
	res, err := http.Get("http://" + l.Addr().String() + "/api/stream")
	require.NoError(t, err)
	defer res.Body.Close()
	assert.Equal(t, "text/event-stream", res.Header.Get("Content-Type"))
	lines := bufio.NewScanner(res.Body)
	for n := 0; n < 2 && lines.Scan(); {
		if strings.HasPrefix(lines.Text(), "data: {") {
			n++
		}
	}
	end()
	require.NoError(t, <-ended)
	for lines.Scan() {
	}
	assert.NoError(t, lines.Err(), "the stream ends as an answer does")
	_, err = http.Get("http://" + l.Addr().String() + "/healthz")
	assert.Error(t, err, "nobody listens any more")
}

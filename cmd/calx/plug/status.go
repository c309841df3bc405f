package plug

import (
	"fmt"
	"io"
	"strings"
	"time"
)

// Status is one line of what the warden says of itself.
type Status struct {
	Word string // "ready", "state" or "dead"
	Seq  uint64 // number of the last message heard
	Heat bool   // the heat line is on, and reads so
	Main bool   // the main contactor's line is on, and reads so
	Air  bool   // the air line is on, and reads so
	Text string // why, in words
}

// The words of a Status.
const (
	wordReady = "ready" // lines claimed and off
	wordState = "state" // after every message, and when something changed
	wordDead  = "dead"  // about to exit; the last line
)

// line is the status as text: word, number, heat, main and air as on or off, why.
func (s Status) line() string {
	why := strings.ReplaceAll(s.Text, "\n", "; ")
	return fmt.Sprintf("%s %d %s %s %s %s\n", s.Word, s.Seq, word(s.Heat), word(s.Main), word(s.Air), why)
}

func word(on bool) string {
	if on {
		return "on"
	}
	return "off"
}

const (
	tellBacklog = 64                     // lines kept for a daemon that is slow to read
	tellFlush   = 200 * time.Millisecond // given to the last line
)

// teller writes status lines without ever making the warden wait: a stopped
// daemon leaves its end of the pipe full. What does not fit is lost.
type teller struct {
	lines chan string
	done  chan struct{}
}

func newTeller(w io.Writer) *teller {
	t := &teller{lines: make(chan string, tellBacklog), done: make(chan struct{})}
	go func() {
		defer close(t.done)
		for l := range t.lines {
			if _, err := io.WriteString(w, l); err != nil {
				break
			}
		}
	}()
	return t
}

func (t *teller) tell(s Status) {
	select {
	case t.lines <- s.line():
	default:
	}
}

// close gives the lines on their way a moment.
func (t *teller) close() {
	close(t.lines)
	select {
	case <-t.done:
	case <-time.After(tellFlush):
	}
}

package plug

import (
	"strings"
	"testing"
)

// A line of the warden's status that is taken says the same when it is written
// again, and one that is not taken says nothing.
func FuzzStatus(f *testing.F) {
	f.Add(Status{Word: wordState, Seq: 7, Heat: true, Text: "lease ended"}.line())
	f.Add("ready 0 off off \n")
	f.Add("state 18446744073709551616 on on x")
	f.Add("state 1 perhaps ON x y z")
	f.Fuzz(func(t *testing.T, line string) {
		s, ok := parseStatus(line)
		if !ok {
			if s != (Status{}) {
				t.Fatalf("got %+v from a line that was refused", s)
			}
			return
		}
		back, ok := parseStatus(s.line())
		s.Text = strings.ReplaceAll(s.Text, "\n", "; ") // a line is one line
		if !ok || back != s {
			t.Fatalf("%q: %+v is read back as %+v", line, s, back)
		}
	})
}

// The arguments of the warden come from this program; what does not is refused.
func FuzzWiring(f *testing.F) {
	f.Add("--heat=GPIO17\x00--air=GPIO27,low\x00--lease=2s\x00--watchdog=/dev/watchdog")
	f.Add("--heat=gpiochip0:17\x00--beat=\x00x")
	f.Fuzz(func(t *testing.T, all string) {
		w, err := ParseWiring(strings.Split(all, "\x00"))
		if err != nil {
			return
		}
		again, err := ParseWiring(w.Args())
		if err != nil || again != w {
			t.Fatalf("%q: %+v is read back as %+v, %v", all, w, again, err)
		}
	})
}

package plug

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/controller/warden"
)

func TestWiringRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec := func(label string) Spec {
			return Spec{Name: label + rapid.StringMatching(`[A-Za-z0-9_:.-]{1,10}`).Draw(t, label), ActiveLow: rapid.Bool().Draw(t, label+" low")}
		}
		w := Wiring{
			Heat:     spec("heat"),
			Watchdog: rapid.StringMatching(`(/dev/watchdog[0-9]?)?`).Draw(t, "watchdog"),
			Lease:    time.Duration(rapid.Int64Range(int64(warden.MinLease), int64(warden.MaxLease)).Draw(t, "lease")),
		}
		if rapid.Bool().Draw(t, "has main") {
			w.Main = spec("main")
		}
		if rapid.Bool().Draw(t, "has air") {
			w.Air = spec("air")
		}
		if rapid.Bool().Draw(t, "has beat") {
			w.Beat = spec("beat")
		}
		got, err := ParseWiring(w.Args())
		require.NoError(t, err)
		require.Equal(t, w, got)
	})
}

func TestWiringSaysWhatIsWrong(t *testing.T) {
	for _, c := range []struct {
		args []string
		says string
	}{
		{nil, "no heat line"},
		{[]string{"--heat=GPIO17", "--air=GPIO17,active-low"}, "GPIO17 is named twice"},
		{[]string{"--heat=GPIO17", "--lease=1h"}, "lease of 1h0m0s is outside 500ms to 2.5s"},
		{[]string{"--heat=GPIO17,activelow"}, `want a name like "GPIO17"`},
		{[]string{"--heat=,active-low"}, `want a name like "GPIO17"`},
		{[]string{"--heat=GPIO17", "now"}, `unexpected argument "now"`},
		{[]string{"--fan=GPIO17"}, "not defined: -fan"},
	} {
		_, err := ParseWiring(c.args)
		assert.ErrorContains(t, err, c.says, "%v", c.args)
	}
}

func TestStatusRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Status{
			Word: rapid.SampledFrom([]string{wordReady, wordState, wordDead}).Draw(t, "word"),
			Seq:  rapid.Uint64().Draw(t, "seq"),
			Heat: rapid.Bool().Draw(t, "heat"),
			Main: rapid.Bool().Draw(t, "main"),
			Air:  rapid.Bool().Draw(t, "air"),
			Text: rapid.StringMatching(`[ -~]*`).Draw(t, "text"),
		}
		got, ok := parseStatus(s.line())
		require.True(t, ok)
		require.Equal(t, s, got)
	})
}

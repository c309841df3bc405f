package warden_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/controller/warden"
)

// heard is one call of Update.
type heard struct {
	now time.Duration
	m   warden.Message
}

// allows is the law read literally from the documentation of Update, by
// looking at the whole history each time. It is slow and obviously right.
func allows(history []heard, lease time.Duration) (fresh, heat, air, main bool) {
	last := -1
	for i, h := range history {
		switch h.m.Kind {
		case warden.Tick:
		case warden.Lease:
			last = i
		default:
			return false, false, false, false
		}
	}
	if last < 0 {
		return false, false, false, false
	}
	l := history[last].m
	highest, before := uint64(0), time.Duration(0)
	for i, h := range history {
		if i < last && h.m.Kind == warden.Lease {
			highest = max(highest, h.m.Seq)
		}
		if i > last && h.now < before {
			return false, false, false, false
		}
		before = h.now
		if i >= last && (l.Issued > h.now || h.now-l.Issued >= lease) {
			return false, false, false, false
		}
	}
	if l.Seq <= highest || l.Issued < 0 {
		return false, false, false, false
	}
	return true, l.Heat && l.Main, l.Air, l.Main
}

func drawMessage(t *rapid.T, now time.Duration) warden.Message {
	kinds := []warden.Kind{
		warden.Tick, warden.Tick, warden.Tick, warden.Lease, warden.Lease, warden.Lease, warden.Lease,
		warden.Lease, warden.Lease, warden.Lease, warden.Lease, warden.Withdraw, warden.Garbled, warden.Broken, 77,
	}
	m := warden.Message{Kind: rapid.SampledFrom(kinds).Draw(t, "kind")}
	if m.Kind == warden.Lease {
		m.Seq = rapid.Uint64Range(0, 30).Draw(t, "seq")
		m.Issued = now - time.Duration(rapid.Int64Range(-int64(time.Second), int64(4*time.Second)).Draw(t, "age"))
		m.Heat = rapid.Bool().Draw(t, "heat")
		m.Air = rapid.Bool().Draw(t, "air")
		m.Main = rapid.Bool().Draw(t, "main")
	}
	return m
}

func TestHeatOnlyUnderFreshLeaseThatAsksForIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lease := time.Duration(rapid.Int64Range(int64(warden.MinLease), int64(warden.MaxLease)).Draw(t, "lease"))
		s, err := warden.New(lease)
		require.NoError(t, err)
		var history []heard
		now := time.Duration(rapid.Int64Range(0, int64(time.Hour)).Draw(t, "start"))
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			now += time.Duration(rapid.OneOf(
				rapid.Int64Range(0, int64(time.Second)),
				rapid.Int64Range(int64(-time.Minute), int64(time.Minute)),
			).Draw(t, "dt"))
			m := drawMessage(t, now)
			history = append(history, heard{now, m})
			got := s.Update(now, m)

			fresh, heat, air, main := allows(history, lease)
			require.Equal(t, fresh, got.Fresh, "fresh at %v after %+v: %v", now, m, got.Why)
			require.Equal(t, heat, got.Heat, "heat at %v after %+v: %v", now, m, got.Why)
			require.Equal(t, air, got.Air, "air at %v after %+v: %v", now, m, got.Why)
			require.Equal(t, main, got.Main, "main at %v after %+v: %v", now, m, got.Why)
			require.False(t, got.Heat && !got.Main, "heat without the main contactor")
			require.Equal(t, got.Fresh, got.Why == warden.Fresh)
			require.False(t, got.Beat && !got.Fresh, "heartbeat high without a lease")
		}
	})
}

// Arbitrary bytes from outside, arbitrary moments: no panic, and heat never
// without a lease that decoded and asked for it.
func TestAnyNumbersAreSafe(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, err := warden.New(0)
		require.NoError(t, err)
		asked := false
		for range rapid.IntRange(1, 20).Draw(t, "steps") {
			m := warden.Message{
				Kind:   warden.Kind(rapid.Uint8Range(0, 6).Draw(t, "kind")),
				Seq:    rapid.Uint64().Draw(t, "seq"),
				Issued: time.Duration(rapid.Int64().Draw(t, "issued")),
				Heat:   rapid.Bool().Draw(t, "heat"),
				Main:   rapid.Bool().Draw(t, "main"),
			}
			now := time.Duration(rapid.Int64().Draw(t, "now"))
			asked = asked && m.Kind == warden.Tick || m.Kind == warden.Lease && m.Heat && m.Main
			if out := s.Update(now, m); out.Heat {
				require.True(t, asked)
				require.LessOrEqual(t, time.Duration(0), now)
			}
		}
	})
}

func TestHeartbeat(t *testing.T) {
	s, err := warden.New(0)
	require.NoError(t, err)
	const step = 10 * time.Millisecond
	var edges []time.Duration
	was, seq := false, uint64(0)
	for now := time.Duration(0); now < 10*time.Second; now += step {
		m := warden.Message{}
		if now < 5*time.Second && now%time.Second == 0 { // the controller dies at 5 s
			seq++
			m = warden.Message{Kind: warden.Lease, Seq: seq, Issued: now} // heat off: it beats all the same
		}
		out := s.Update(now, m)
		assert.False(t, out.Heat)
		if out.Beat != was {
			edges, was = append(edges, now), out.Beat
		}
	}
	require.NotEmpty(t, edges)
	for i := 1; i < len(edges); i++ {
		assert.Equal(t, warden.BeatEvery, edges[i]-edges[i-1])
	}
	// Last lease issued at 4 s, good for 2 s: no edge after 6 s.
	assert.LessOrEqual(t, edges[len(edges)-1], 6*time.Second)
	assert.Greater(t, edges[len(edges)-1], 6*time.Second-2*warden.BeatEvery)
	assert.False(t, was, "ends low")
}

func TestReasons(t *testing.T) {
	ask := func(seq uint64, at time.Duration) warden.Message {
		return warden.Message{Kind: warden.Lease, Seq: seq, Issued: at, Heat: true, Main: true}
	}
	const s = time.Second
	for _, c := range []struct {
		name string
		in   []heard
		why  warden.Reason
		heat bool
	}{
		{"nothing yet", []heard{{s, warden.Message{}}}, warden.Waiting, false},
		{"fresh", []heard{{s, ask(1, s)}}, warden.Fresh, true},
		{"heat without main", []heard{{s, warden.Message{Kind: warden.Lease, Seq: 1, Issued: s, Heat: true}}}, warden.Fresh, false},
		{"just fresh", []heard{{s, ask(1, s)}, {3*s - 1, warden.Message{}}}, warden.Fresh, true},
		{"expired", []heard{{s, ask(1, s)}, {3 * s, warden.Message{}}}, warden.Expired, false},
		{"lay in the pipe", []heard{{5 * s, ask(1, 3*s)}}, warden.Expired, false},
		{"repeated", []heard{{s, ask(1, s)}, {s, ask(1, s)}}, warden.Replayed, false},
		{"number 0", []heard{{s, ask(0, s)}}, warden.Replayed, false},
		{"older number", []heard{{s, ask(9, s)}, {s, ask(8, s)}}, warden.Replayed, false},
		{"heals with a new number", []heard{{s, ask(9, s)}, {s, ask(9, s)}, {s, ask(10, s)}}, warden.Fresh, true},
		{"from the future", []heard{{s, ask(1, s+1)}}, warden.FromFuture, false},
		{"clock back", []heard{{9 * s, ask(1, 9*s)}, {8 * s, warden.Message{}}}, warden.ClockJumped, false},
		{"withdrawn for good", []heard{{s, warden.Message{Kind: warden.Withdraw}}, {s, ask(1, s)}}, warden.Withdrawn, false},
		{"garbled for good", []heard{{s, warden.Message{Kind: warden.Garbled}}, {s, ask(1, s)}}, warden.Unreadable, false},
		{"unknown kind", []heard{{s, warden.Message{Kind: 200}}, {s, ask(1, s)}}, warden.Unreadable, false},
		{"broken for good", []heard{{s, warden.Message{Kind: warden.Broken}}, {s, ask(1, s)}}, warden.OutputFault, false},
		{"first lasting reason stays", []heard{{s, warden.Message{Kind: warden.Withdraw}}, {s, warden.Message{Kind: warden.Broken}}}, warden.Withdrawn, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			st, err := warden.New(2 * s)
			require.NoError(t, err)
			var out warden.Output
			for _, h := range c.in {
				out = st.Update(h.now, h.m)
			}
			assert.Equal(t, c.why, out.Why, "got %v, want %v", out.Why, c.why)
			assert.Equal(t, c.heat, out.Heat)
		})
	}
}

func TestLeaseBounds(t *testing.T) {
	for _, d := range []time.Duration{-1, warden.MinLease - 1, warden.MaxLease + 1} {
		_, err := warden.New(d)
		assert.ErrorContains(t, err, "500ms to 2.5s")
	}
	var zero warden.State
	assert.False(t, zero.Update(1, warden.Message{Kind: warden.Lease, Seq: 1, Issued: 1, Heat: true, Main: true}).Heat)
}

func BenchmarkUpdate(b *testing.B) {
	s, _ := warden.New(0)
	now, seq := time.Duration(0), uint64(0)
	for b.Loop() {
		now += time.Second
		seq++
		s.Update(now, warden.Message{Kind: warden.Lease, Seq: seq, Issued: now, Heat: true, Main: true})
	}
}

package controller_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/identify"
	"calx/controller/notice"
	"calx/controller/relay"
	"calx/profile"
	"calx/sensor"
	"calx/sim/kiln"
	"calx/storage/record"
)

// hot is a shipped kiln, soaked at 715 °C, in a long hold at 720 °C below a
// ceiling of 735 °C.
type hot struct {
	k      *kiln.Kiln
	c      *controller.Controller
	s      controller.State
	now    time.Duration
	peakC  float64
	events []record.Event
}

func newHot(tb testing.TB, name, hold string, twin bool) *hot {
	text, err := kiln.ShippedFile(name)
	require.NoError(tb, err)
	p, err := kiln.Load(name, text)
	require.NoError(tb, err)
	p.Fitted = &kiln.Fitted{Doubt: 0.04}
	pr, err := profile.Parse("never above 735 C\nheat to 720 C at 150 C/h\nhold " + hold + "\n")
	require.NoError(tb, err)
	kind, err := relay.ParseKind(p.Relay.Kind)
	require.NoError(tb, err)
	plant := identify.Plant(p, rigRoomC)
	cfg := controller.Config{Profile: pr, Plant: plant, Relay: relay.DefaultConfig(kind), Guard: identify.Guard(p, plant)}
	if !twin {
		cfg.Guard.Twin = nil
	}
	h := &hot{k: kiln.New(p, rigRoomC)}
	h.c, err = controller.New(cfg)
	require.NoError(tb, err)
	require.NoError(tb, h.k.Restore(p.Balance(715, rigRoomC).State))
	return h
}

// tick is one of a second: the probe reads so much less, and the mains is at a
// share of its voltage.
func (h *hot) tick(lessC, mains float64) controller.Output {
	tenth := 0.1 * float64(h.s.Seq%3) // the noise of a chip
	var out controller.Output
	h.s, out = h.c.Step(h.s, controller.Input{Now: h.now, Wall: start.Add(h.now), Chamber: sensor.Reading{HotC: h.k.JunctionC() - lessC + tenth, ColdC: 25}, Door: sensor.DoorShut})
	h.events = append(h.events, out.Events...)
	in := kiln.Input{MainsRatio: mains, AmbientC: rigRoomC}
	if out.Heat {
		in.On = 1
	}
	h.k.Step(1, in)
	h.peakC = max(h.peakC, h.k.JunctionC())
	h.now += time.Second
	return out
}

func (h *hot) last() string { return h.events[len(h.events)-1].Text }

func (h *hot) when(code string) (at []time.Duration) {
	for _, e := range h.events {
		if e.Code == code {
			at = append(at, e.Since)
		}
	}
	return at
}

// A probe that reads 100 °C/h less, all the time: the chamber stays below its
// limit, and after four hours of limited heat the firing ends. A fast kiln gets
// no hotter than a slow one.
func TestDriftIsBounded(t *testing.T) {
	if testing.Short() {
		t.Skip("long: whole nights")
	}
	t.Parallel()
	for _, name := range []string{"jewellery-3l-fibre", "studio-150l-brick"} {
		h := newHot(t, name, "12 h", true)
		for out := h.tick(0, 1); !out.Ended && h.now < 14*time.Hour; {
			out = h.tick(max(0, (h.now-time.Hour).Hours()*100), 1)
		}
		assert.Less(t, h.peakC, 735.0+25, name)
		require.Equal(t, notice.MaybeAbove, h.s.TripCode, name)
		limited := h.when(notice.HeatLimited)
		require.Len(t, limited, 1, "%s: told once", name)
		assert.InDelta(t, 4, (h.when(notice.MaybeAbove)[0] - limited[0]).Hours(), 0.1, name)
		assert.Empty(t, h.when(notice.HeatFree), name)
		assert.Empty(t, h.when(notice.HoldAdrift), "%s: limited time counts for no hold", name)
	}
}

// The mains at 88 % for 85 minutes at top heat: the heat is limited, comes back
// by itself, and the firing comes to its end.
func TestSagIsLimitedAndOver(t *testing.T) {
	if testing.Short() {
		t.Skip("long: whole nights")
	}
	t.Parallel()
	h := newHot(t, "bench-9l-brick", "6 h", true)
	for out := h.tick(0, 1); !out.Ended && h.now < 20*time.Hour; {
		mains := 1.0
		if h.now > 90*time.Minute && h.now < 175*time.Minute {
			mains = 0.88
		}
		out = h.tick(0, mains)
	}
	assert.Equal(t, "finished", h.s.Outcome(), "after %v: %s", h.now, h.last())
	assert.NotEmpty(t, h.when(notice.HeatLimited))
	assert.Len(t, h.when(notice.HeatFree), len(h.when(notice.HeatLimited)))
}

// Weak mains for good are known to be one after a while, and are lived with.
func TestWeakMainsAreLivedWith(t *testing.T) {
	if testing.Short() {
		t.Skip("long: whole nights")
	}
	t.Parallel()
	h := newHot(t, "jewellery-3l-fibre", "6 h", true)
	for out := h.tick(0, 1); !out.Ended && h.now < 20*time.Hour; {
		mains := 1.0
		if h.now > 90*time.Minute {
			mains = 0.88
		}
		out = h.tick(0, mains)
	}
	assert.Equal(t, "finished", h.s.Outcome(), "after %v: %s", h.now, h.last())
	assert.NotEmpty(t, h.when(notice.HeatFree))
	assert.Less(t, h.peakC, 735.0)
}

func BenchmarkStep(b *testing.B) {
	for name, twin := range map[string]bool{"twin": true, "plain": false} {
		b.Run(name, func(b *testing.B) {
			h := newHot(b, "bench-9l-brick", "9000 h", twin)
			in := controller.Input{Chamber: sensor.Reading{ColdC: 25}}
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				h.now += time.Second
				in.Now, in.Wall, in.Chamber.HotC = h.now, start.Add(h.now), 715+0.1*float64(i%3)
				h.s, _ = h.c.Step(h.s, in)
			}
		})
	}
}

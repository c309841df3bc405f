package station

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/board"
	"calx/cmd/calx/config"
	"calx/controller"
	"calx/controller/guard"
	"calx/controller/identify"
	"calx/controller/law"
	"calx/controller/notice"
	"calx/controller/relay"
	"calx/sim/bench"
	"calx/sim/kiln"
	"calx/storage"
	"calx/storage/record"
)

// house is a workshop whose daemon may die and be started again; the kiln goes
// on cooling meanwhile.
type house struct {
	t     *testing.T
	bench *bench.Bench
	file  string
	parts Parts
	last  controller.State // after the newest tick

	log  *storage.Log
	st   *Station
	stop context.CancelFunc
	done sync.WaitGroup
}

// Identifying a kiln takes longer than firing it here.
var (
	once   sync.Once
	plant  law.Plant
	limits guard.Limits
)

func newHouse(t *testing.T, mishaps ...bench.Mishap) *house {
	h := &house{t: t, file: filepath.Join(t.TempDir(), "calx.db")}
	text, err := kiln.ShippedFile("bench-9l-brick")
	require.NoError(t, err)
	p, err := kiln.Load("kiln", text)
	require.NoError(t, err)
	h.bench, err = bench.New(bench.Options{Kiln: p, AmbientC: 20, Speed: 1, Seed: 1, Mishaps: mishaps})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, h.bench.Close()) })
	probes, err := board.OpenProbes([]config.Channel{{Role: "chamber", Chip: "max31855", Port: h.bench.Port(), Type: "K"}}, time.Second)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, probes[0].Close()) })
	out, err := board.OpenOutput(config.Heater{Pin: h.bench.HeatPin()})
	require.NoError(t, err)
	once.Do(func() { plant = identify.Plant(p, 20); limits = identify.Guard(p, plant) })
	h.parts = Parts{
		Chamber: probes[0], Heater: out, Clock: h.bench, Channels: []record.Channel{probes[0].Channel}, NoiseC: probes[0].NoiseC,
		KilnName: p.Name, KilnText: string(text), Plant: plant, Guard: limits, Relay: relay.DefaultConfig(relay.SolidState),
		Until: func(s controller.State, out controller.Output) bool { h.last = s; return out.Ended },
	}
	return h
}

// start is the daemon coming up.
func (h *house) start() {
	h.t.Helper()
	var err error
	h.log, err = storage.Open(h.file, &storage.Opts{FlushEvery: time.Minute}) // what a disk costs is not tested here
	require.NoError(h.t, err)
	h.parts.Log = h.log
	h.st = New(h.parts)
	ctx, stop := context.WithCancel(context.Background())
	h.stop = stop
	h.done.Go(func() { _ = h.st.Run(ctx) })
}

// die is the daemon going away, heat off.
func (h *house) die() {
	if h.stop == nil {
		return
	}
	h.stop()
	h.stop = nil
	h.done.Wait()
	assert.NoError(h.t, h.log.Close())
}

const evening = "heat to 300 C at 600 C/h\nhold 20 min\n"

// begin starts a firing and lets the daemon die after so long.
func (h *house) begin(d time.Duration) {
	h.t.Helper()
	h.start()
	_, err := h.st.Start(Request{Name: "evening", Profile: evening})
	require.NoError(h.t, err)
	time.Sleep(d)
	h.die()
}

// gap lets time pass while nobody controls.
func (h *house) gap(d time.Duration) {
	require.NoError(h.t, h.bench.Sleep(context.Background(), d))
}

func TestGoesOnAfterAShortInterruption(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		defer h.die()
		h.begin(10*time.Minute + 35*time.Second) // 35 readings after a snapshot
		before := h.last
		h.gap(4 * time.Minute)
		h.start()
		said, err := h.st.Interrupted(context.Background(), 10*time.Minute)
		require.NoError(t, err)
		assert.Contains(t, said, "firing 1: calx was interrupted for 4 min")
		assert.Contains(t, said, `The firing goes on in step 1, "heat to 300 C at 600 C/h"`)
		time.Sleep(5 * time.Second)
		f := h.st.Status().Firing
		require.NotNil(t, f, "%+v", h.st.Status().Last)
		assert.Equal(t, notice.Interrupted, f.Events[0].Code)
		assert.InDelta(t, (before.Now + 4*time.Minute).Seconds(), f.SinceS, 10, "its own time counts the interruption")
		time.Sleep(2 * time.Hour)
		require.Nil(t, h.st.Status().Firing)
		assert.Equal(t, "finished", h.st.Status().Last.Outcome, h.st.Status().Last.Reason)

		want := uint64(0)
		require.NoError(t, h.log.Readings(1, 0, 0, func(r *record.Reading) error {
			assert.Equal(t, want, r.Seq, "no reading is missing or twice")
			want++
			return nil
		}))
		events, err := h.log.Events(1)
		require.NoError(t, err)
		codes := map[string]int{}
		for i, e := range events {
			assert.EqualValues(t, i, e.Seq)
			codes[e.Code]++
		}
		assert.Equal(t, 1, codes[notice.Interrupted])
		assert.Equal(t, 1, codes[notice.Started])
		assert.Equal(t, 1, codes[notice.Finished])
	})
}

// What is rebuilt is what was: bit for bit, since Step is a function of the
// readings. Only the relay's age and the guards' memory begin anew.
func TestRebuiltStateIsTheOldOne(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		defer h.die()
		h.begin(10*time.Minute + 35*time.Second)
		b, err := h.last.Snapshot()
		require.NoError(t, err)
		want, err := controller.Restore(b)
		require.NoError(t, err)
		h.start()
		head, err := h.log.Firing(1)
		require.NoError(t, err)
		got, err := h.st.rebuild(head)
		require.NoError(t, err)
		assert.Equal(t, text64(t, want), text64(t, got.state))
		assert.NotZero(t, want.Seq%60, "the snapshot is older than that")
	})
}

func text64(t *testing.T, s controller.State) string {
	b, err := json.MarshalIndent(s, "", " ")
	require.NoError(t, err)
	return string(b)
}

func TestDoesNotGoOn(t *testing.T) {
	for _, c := range []struct {
		name    string
		within  time.Duration
		gap     time.Duration
		mishaps []bench.Mishap
		mend    func(*house)
		says    string
	}{
		{name: "nobody said so", within: 0, gap: time.Minute, says: "resume_within in calx.yaml does not say"},
		{name: "too long", within: 10 * time.Minute, gap: 11 * time.Minute, says: "longer than resume_within, which is 10 min"},
		{name: "clock went back", within: time.Hour, gap: 5 * time.Minute,
			mishaps: []bench.Mishap{{At: 12 * time.Minute, Kind: "clock", Value: "-86400"}}, says: "nobody knows how long: the clock shows 1999-12-31"},
		{name: "no temperature", within: time.Hour, gap: 5 * time.Minute,
			mishaps: []bench.Mishap{{At: 12 * time.Minute, Kind: "open"}}, says: "no valid temperature to go on from"},
		{name: "door stood open", within: time.Hour, gap: 25 * time.Minute,
			mishaps: []bench.Mishap{{At: 12 * time.Minute, Kind: "door"}}, says: "more than 60 °C"},
		{name: "another kiln", within: time.Hour, gap: time.Minute,
			mend: func(h *house) { h.parts.KilnText += "# mended\n" }, says: "kiln file is not the one it began with"},
		{name: "another probe", within: time.Hour, gap: time.Minute,
			mend: func(h *house) { h.parts.Channels = append(h.parts.Channels, record.Channel{Role: "witness"}) }, says: "recorded with 1 thermocouples, now there are 2"},
		{name: "dead output", within: time.Hour, gap: time.Minute,
			mend: func(h *house) { d := make(chan struct{}); close(d); h.parts.Dead = d }, says: "does not answer"},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				h := newHouse(t, c.mishaps...)
				defer h.die()
				h.begin(10*time.Minute + 35*time.Second)
				h.gap(c.gap)
				if c.mend != nil {
					c.mend(h)
				}
				if len(h.parts.Channels) > 1 {
					h.parts.Others = []controller.Thermometer{h.parts.Chamber}
				}
				h.start()
				said, err := h.st.Interrupted(context.Background(), c.within)
				require.NoError(t, err)
				assert.Contains(t, said, c.says)
				f, err := h.log.Firing(1)
				require.NoError(t, err)
				assert.Equal(t, "interrupted", f.Outcome)
				assert.Contains(t, said, f.Reason)
				require.NotNil(t, h.st.Status().Last)
				assert.Nil(t, h.st.Status().Firing)
				assert.Equal(t, "interrupted", h.st.Status().Last.Outcome)
			})
		})
	}
}

// A board sets its clock by the network some time after it has started.
func TestWaitsForTheClock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t,
			bench.Mishap{At: 12 * time.Minute, Kind: "clock", Value: "-86400"},
			bench.Mishap{At: 15*time.Minute + 30*time.Second, Kind: "clock", Value: "86400"})
		defer h.die()
		h.begin(10*time.Minute + 35*time.Second)
		h.gap(4 * time.Minute)
		h.start()
		said, err := h.st.Interrupted(context.Background(), 10*time.Minute)
		require.NoError(t, err)
		assert.Contains(t, said, "The firing goes on")
	})
}

// The process may die between the end of a firing and the end of its record.
func TestClosesWhatHadEnded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		defer h.die()
		h.parts.Until = func(controller.State, controller.Output) bool { return false } // reads on after the end
		h.start()
		_, err := h.st.Start(Request{Profile: "hold 2 min"})
		require.NoError(t, err)
		time.Sleep(5 * time.Minute)
		// The file as a power cut would leave it.
		cut := filepath.Join(t.TempDir(), "cut.db")
		f, err := os.Create(cut)
		require.NoError(t, err)
		require.NoError(t, errors.Join(h.log.Snapshot(f), f.Close()))
		h.die()
		h.file = cut
		h.start()
		said, err := h.st.Interrupted(context.Background(), 0)
		require.NoError(t, err)
		assert.Contains(t, said, "the profile is done")
		head, err := h.log.Firing(1)
		require.NoError(t, err)
		assert.Equal(t, "finished", head.Outcome)
	})
}

// It may also die twice, the second time before a new snapshot was due.
func TestDiesTwice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		defer h.die()
		h.begin(10*time.Minute + 35*time.Second)
		for range 3 {
			h.gap(3 * time.Second)
			h.start()
			said, err := h.st.Interrupted(context.Background(), time.Minute)
			require.NoError(t, err)
			require.Contains(t, said, "The firing goes on")
			time.Sleep(8 * time.Second)
			h.die()
		}
		h.start()
		events, err := h.log.Events(1)
		require.NoError(t, err)
		n := 0
		for _, e := range events {
			if e.Code == notice.Interrupted {
				n++
			}
		}
		assert.Equal(t, 3, n)
		require.NoError(t, h.log.Readings(1, 0, 0, func(*record.Reading) error { return nil }))
	})
}

func TestJudge(t *testing.T) {
	last := time.Date(2026, 1, 10, 2, 13, 0, 0, time.UTC)
	nan := math.NaN()
	for _, c := range []struct {
		name       string
		within     time.Duration
		lastC      float64
		after      time.Duration
		chamberC   float64
		goOn, wait bool
	}{
		{"at once", time.Minute, 400, 0, 400, true, false},
		{"just within", time.Minute, 400, time.Minute, 341, true, false},
		{"just over", time.Minute, 400, time.Minute + time.Second, 400, false, false},
		{"cooled just as much", time.Hour, 400, time.Minute, 340, true, false},
		{"cooled too much", time.Hour, 400, time.Minute, 339, false, false},
		{"warmer than before", time.Hour, 400, time.Minute, 420, true, false},
		{"no temperature yet", time.Hour, 400, time.Minute, nan, false, true},
		{"clock behind", time.Hour, 400, -2 * time.Second, 400, false, true},
		{"never", 0, 400, time.Second, 400, false, false},
	} {
		v := judge(c.lastC, last, c.within, c.chamberC, last.Add(c.after))
		assert.Equal(t, c.goOn, v.goOn, c.name)
		assert.Equal(t, c.wait, v.wait, c.name)
		assert.NotEmpty(t, v.text, c.name)
	}
}

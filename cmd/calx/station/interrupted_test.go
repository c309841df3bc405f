package station

import (
	"context"
	"encoding/json"
	"errors"
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
	"calx/sensor"
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
	t.Cleanup(func() { follows(t, h.file) })
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

// begin starts a firing and lets the daemon die after so long. policy is what
// its person wants after a power cut.
func (h *house) begin(d time.Duration, policy string) {
	h.t.Helper()
	h.start()
	_, err := h.st.Start(Request{Name: "evening", Profile: evening, AfterCut: policy})
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
		h.begin(10*time.Minute+35*time.Second, "") // 35 readings after a snapshot
		before := h.last
		h.gap(2 * time.Minute)
		h.start()
		said, err := h.st.Interrupted(context.Background(), 10*time.Minute)
		require.NoError(t, err)
		assert.Contains(t, said, "firing 1: calx was interrupted for 2 min")
		assert.Contains(t, said, `The firing goes on in step 1, "heat to 300 C at 600 C/h"`)
		time.Sleep(5 * time.Second)
		f := h.st.Status().Firing
		require.NotNil(t, f, "%+v", h.st.Status().Last)
		assert.Equal(t, notice.Interrupted, f.Events[0].Code)
		assert.InDelta(t, (before.Now + 2*time.Minute).Seconds(), f.SinceS, 10, "its own time counts the interruption")
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
		h.begin(10*time.Minute+35*time.Second, "")
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

func TestWhatBecomesOfIt(t *testing.T) {
	const goesOn, waits, over, left = "goes on", "waits", "over", "left"
	for _, c := range []struct {
		name    string
		policy  string
		within  time.Duration
		gap     time.Duration
		mishaps []bench.Mishap
		mend    func(*house)
		becomes string
		says    string
	}{
		{name: "as nobody said", gap: time.Minute, becomes: goesOn, says: "interrupted for 60 s; the chamber went from"},
		{name: "to be asked", policy: "ask", gap: time.Minute, becomes: waits, says: "a person was to be asked"},
		{name: "to end", policy: "end", gap: time.Minute, becomes: over, says: "was to end at a power cut"},
		{name: "too long", within: 4 * time.Minute, gap: 5 * time.Minute, becomes: waits, says: "resume_within in calx.yaml is 4 min"},
		{name: "clock went back", gap: 5 * time.Minute, policy: "go-on",
			mishaps: []bench.Mishap{{At: 12 * time.Minute, Kind: "clock", Value: "-86400"}}, becomes: goesOn, says: "1999-12-31 20:15:36, the last reading is from 2000-01-01 20:10:36; the time is taken from how far the chamber fell"},
		{name: "clock set on by hours", gap: 5 * time.Minute, policy: "go-on",
			mishaps: []bench.Mishap{{At: 12 * time.Minute, Kind: "clock", Value: "18000"}}, becomes: goesOn, says: "taken from how far the chamber fell"},
		{name: "no temperature", gap: 5 * time.Minute, policy: "go-on",
			mishaps: []bench.Mishap{{At: 12 * time.Minute, Kind: "open"}}, becomes: waits, says: "no valid temperature to go on from"},
		{name: "door stood open", gap: 25 * time.Minute,
			mishaps: []bench.Mishap{{At: 12 * time.Minute, Kind: "door"}}, becomes: waits, says: "from 30 °C on a person is asked"},
		{name: "door stands open", gap: time.Minute,
			mend: func(h *house) { h.parts.Doorway = doorway(sensor.DoorOpen) }, becomes: waits, says: "the door is open"},
		{name: "another kiln", gap: time.Minute,
			mend: func(h *house) { h.parts.KilnText += "# mended\n" }, becomes: over, says: "kiln file is not the one it began with"},
		{name: "another probe", gap: time.Minute,
			mend: func(h *house) { h.parts.Channels = append(h.parts.Channels, record.Channel{Role: "witness"}) }, becomes: over, says: "recorded with 1 thermocouples, now there are 2"},
		{name: "dead output", gap: time.Minute,
			mend: func(h *house) { d := make(chan struct{}); close(d); h.parts.Dead = d }, becomes: left, says: "does not answer"},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				h := newHouse(t, c.mishaps...)
				defer h.die()
				h.begin(10*time.Minute+35*time.Second, c.policy)
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
				time.Sleep(15 * time.Second)
				st := h.st.Status()
				f, err := h.log.Firing(1)
				require.NoError(t, err)
				switch c.becomes {
				case goesOn, waits:
					require.NotNil(t, st.Firing)
					assert.Empty(t, f.Outcome)
					assert.Equal(t, c.becomes == waits, st.Firing.Asks != "", st.Firing.Asks)
					if c.becomes == waits {
						assert.Contains(t, said, st.Firing.Asks)
						assert.Equal(t, "interrupted", st.Firing.Phase)
						assert.False(t, st.Heat)
						assert.Nil(t, st.SetpointC)
					}
				case over:
					assert.Equal(t, "interrupted", f.Outcome)
					assert.Contains(t, said, f.Reason)
					assert.Nil(t, st.Firing)
					require.NotNil(t, st.Last)
					assert.Equal(t, "interrupted", st.Last.Outcome)
				case left:
					assert.Nil(t, st.Firing)
					assert.Empty(t, f.Outcome, "the next start may go on with it")
				}
			})
		})
	}
}

type doorway sensor.Door

func (d doorway) Door() sensor.Door { return sensor.Door(d) }

// A firing that waits for a person goes on being recorded, through another
// interruption too; then it goes on, or is ended.
func TestWaitsForAPerson(t *testing.T) {
	for _, answer := range []controller.Command{controller.Resume, controller.Stop} {
		synctest.Test(t, func(t *testing.T) {
			h := newHouse(t)
			defer h.die()
			h.begin(20*time.Minute+35*time.Second, "")
			h.gap(40 * time.Minute)
			h.start()
			said, err := h.st.Interrupted(context.Background(), 0)
			require.NoError(t, err)
			require.Contains(t, said, "from 30 °C on a person is asked")
			require.Contains(t, said, `The firing waits in step 1, "heat to 300 C at 600 C/h", without heat, until somebody says what next`)
			time.Sleep(10 * time.Minute)
			require.NotNil(t, h.st.Status().Firing, "%+v", h.st.Status().Last)
			asks := h.st.Status().Firing.Asks
			h.die()
			h.gap(90 * time.Second)
			h.start()
			said, err = h.st.Interrupted(context.Background(), 0)
			require.NoError(t, err)
			assert.Contains(t, said, asks, "still the same reason")
			time.Sleep(10 * time.Minute)
			st := h.st.Status()
			assert.Equal(t, asks, st.Firing.Asks)
			assert.ErrorIs(t, h.st.Command(controller.Pause), ErrAsks)
			assert.ErrorIs(t, h.st.Command(controller.StepOn), ErrAsks)
			require.NoError(t, h.st.Command(answer))
			time.Sleep(4 * time.Hour)
			st = h.st.Status()
			require.Nil(t, st.Firing)
			assert.Equal(t, map[controller.Command]string{controller.Resume: "finished", controller.Stop: "stopped"}[answer], st.Last.Outcome)
			var readings int
			require.NoError(t, h.log.Readings(1, 0, 0, func(*record.Reading) error { readings++; return nil }))
			assert.Greater(t, readings, 40*60, "the wait was recorded")
		})
	}
}

// A board that stays up knows how long its daemon was away, whatever its clock
// on the wall shows; after a switch-off it does not.
func TestBoardThatStayedUp(t *testing.T) {
	for boot, says := range map[string]string{"a": "interrupted for 3 min", "b": "interrupted for about"} {
		synctest.Test(t, func(t *testing.T) {
			h := newHouse(t, bench.Mishap{At: 11 * time.Minute, Kind: "clock", Value: "-7200"})
			defer h.die()
			h.parts.Boot, h.parts.Uptime = "a", func() time.Duration { return h.bench.Mono() + time.Hour }
			h.begin(10*time.Minute+35*time.Second, "")
			h.gap(3 * time.Minute)
			h.parts.Boot = boot
			h.start()
			said, err := h.st.Interrupted(context.Background(), 0)
			require.NoError(t, err)
			assert.Contains(t, said, says)
			assert.Contains(t, said, "The firing goes on")
			head, err := h.log.Firing(1)
			require.NoError(t, err)
			require.Len(t, head.Runs, 2)
			assert.Equal(t, boot, head.Runs[1].Boot)
		})
	}
}

// A trip latches until it is cleared, whatever is restarted meanwhile.
func TestTripIsCleared(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t, bench.Mishap{At: 10 * time.Minute, Kind: "open", For: 10 * time.Minute})
		defer h.die()
		h.start()
		_, err := h.st.Start(Request{Name: "evening", Profile: evening})
		require.NoError(t, err)
		time.Sleep(25 * time.Minute)
		for range 2 {
			trip := h.st.Status().Trip
			require.NotNil(t, trip)
			assert.EqualValues(t, 1, trip.Firing)
			assert.Equal(t, notice.NoReading, trip.Code)
			assert.NotEmpty(t, trip.Hint)
			_, err = h.st.Start(Request{Profile: evening})
			var refused *TripError
			require.ErrorAs(t, err, &refused)
			assert.ErrorContains(t, err, "then calx clear")
			require.ErrorIs(t, h.st.Clear(2), ErrNoTrip)
			h.die()
			h.start()
			said, err := h.st.Interrupted(context.Background(), 0)
			require.NoError(t, err)
			assert.Empty(t, said, "a trip is no interruption")
		}
		require.NoError(t, h.st.Clear(1))
		assert.Nil(t, h.st.Status().Trip)
		require.ErrorIs(t, h.st.Clear(1), ErrNoTrip)
		h.die()
		h.start()
		assert.Nil(t, h.st.Status().Trip)
		_, err = h.st.Start(Request{Profile: evening})
		require.NoError(t, err)
	})
}

// A board sets its clock by the network some time after it has started.
func TestWaitsForTheClock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t,
			bench.Mishap{At: 2 * time.Minute, Kind: "clock", Value: "-86400"},
			bench.Mishap{At: 4 * time.Minute, Kind: "clock", Value: "86400"})
		defer h.die()
		h.start()
		_, err := h.st.Start(Request{Profile: "hold 20 min"}) // cold: its fall says nothing of the time
		require.NoError(t, err)
		time.Sleep(15 * time.Second)
		h.die()
		h.gap(3 * time.Minute)
		h.start()
		said, err := h.st.Interrupted(context.Background(), 0)
		require.NoError(t, err)
		assert.Contains(t, said, "interrupted for 4 min")
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
		h.begin(10*time.Minute+35*time.Second, "")
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

package plug

import (
	"bufio"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller/warden"
)

// fakeLine is an Output that remembers.
type fakeLine struct {
	name  string
	clock func() time.Duration

	mu     sync.Mutex
	on     bool
	edges  []time.Duration
	closed bool
	stuck  bool // reads on, whatever it is told
	panics bool // on being switched on
}

func (f *fakeLine) Set(on bool) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if on && f.panics {
		panic("driver bug")
	}
	if on != f.on {
		f.edges = append(f.edges, f.clock())
	}
	f.on = on
	return f.check()
}

func (f *fakeLine) Verify() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.check()
}

func (f *fakeLine) check() error {
	if f.stuck && !f.on {
		return ErrMismatch
	}
	return nil
}

func (f *fakeLine) Close() error {
	err := f.Set(false)
	f.closed = true
	return err
}

func (f *fakeLine) String() string { return f.name }

func (f *fakeLine) isOn() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.on
}

func (f *fakeLine) stick() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.stuck = true
}

// bench runs RunWarden inside a synctest bubble.
type bench struct {
	heat, main, air, beat *fakeLine
	pipe                  *io.PipeWriter
	cancel                context.CancelFunc
	began                 time.Time
	seq                   uint64
	done                  chan error
	mu                    sync.Mutex
	said                  []Status
}

func (b *bench) now() time.Duration { return time.Since(b.began) }

func startBench(t *testing.T, watchdog string, change func(*bench)) *bench {
	b := &bench{began: time.Now(), done: make(chan error, 1)}
	b.heat = &fakeLine{name: "heat", clock: b.now}
	b.main = &fakeLine{name: "main", clock: b.now}
	b.air = &fakeLine{name: "air", clock: b.now}
	b.beat = &fakeLine{name: "beat", clock: b.now}
	if change != nil {
		change(b)
	}
	in, pipe := io.Pipe()
	statusOut, statusIn := io.Pipe()
	ctx, cancel := context.WithCancel(t.Context())
	b.pipe, b.cancel = pipe, cancel
	go func() {
		for sc := bufio.NewScanner(statusOut); sc.Scan(); {
			s, ok := parseStatus(sc.Text())
			assert.True(t, ok, sc.Text())
			b.mu.Lock()
			b.said = append(b.said, s)
			b.mu.Unlock()
		}
	}()
	go func() {
		err := RunWarden(ctx, in, Lines{b.heat, b.main, b.air, b.beat}, statusIn, Options{Clock: b.now, Watchdog: watchdog})
		in.Close()
		statusIn.Close()
		b.done <- err
	}()
	synctest.Wait()
	return b
}

func (b *bench) lease(heat, air bool) {
	b.seq++
	m := warden.Encode(warden.Message{Kind: warden.Lease, Seq: b.seq, Issued: b.now(), Heat: heat, Main: heat, Air: air})
	b.pipe.Write(m[:])
	synctest.Wait()
}

func (b *bench) withdraw() {
	b.seq++
	m := warden.Encode(warden.Message{Kind: warden.Withdraw, Seq: b.seq, Issued: b.now()})
	b.pipe.Write(m[:])
	synctest.Wait()
}

func (b *bench) words() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	var all []string
	for _, s := range b.said {
		all = append(all, s.line())
	}
	return strings.Join(all, "")
}

// pass lets fake time go by.
func pass(d time.Duration) {
	<-time.After(d)
	synctest.Wait()
}

func (b *bench) requireOff(t *testing.T) {
	t.Helper()
	for _, l := range []*fakeLine{b.heat, b.main, b.air, b.beat} {
		require.False(t, l.isOn(), "%s is on", l)
	}
}

func TestSilenceEndsHeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := startBench(t, "", nil)
		b.requireOff(t)
		b.lease(true, true)
		assert.True(t, b.heat.isOn())
		assert.True(t, b.air.isOn())
		pass(warden.DefaultLease - every)
		assert.True(t, b.heat.isOn())
		pass(2 * every)
		b.requireOff(t)
		beats := len(b.beat.edges)
		assert.InDelta(t, 8, beats, 2, "2 s at 4 edges a second")
		pass(time.Minute)
		assert.Len(t, b.beat.edges, beats, "no heartbeat without a lease")
		assert.Contains(t, b.words(), "state 1 off off off lease not renewed in time")

		b.lease(true, false) // the daemon was only slow
		assert.True(t, b.heat.isOn())
		assert.False(t, b.air.isOn())
		b.cancel()
		assert.NoError(t, <-b.done)
		b.requireOff(t)
		assert.True(t, b.heat.closed)
		synctest.Wait()
		assert.Contains(t, b.words(), "dead 2 off off off every line is off")
	})
}

func TestHeartbeatWithoutHeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := startBench(t, "", nil)
		for range 10 {
			b.lease(false, false)
			pass(time.Second)
		}
		assert.Empty(t, b.heat.edges)
		assert.InDelta(t, 40, len(b.beat.edges), 2)
		b.cancel()
		assert.NoError(t, <-b.done)
	})
}

func TestPipeEnds(t *testing.T) {
	for _, withdrawn := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			b := startBench(t, "", nil)
			b.lease(true, true)
			if withdrawn {
				b.withdraw()
				b.requireOff(t)
				b.lease(true, true)
				b.requireOff(t)
			}
			b.pipe.Close()
			err := <-b.done
			b.requireOff(t)
			if withdrawn {
				assert.NoError(t, err)
			} else {
				assert.ErrorContains(t, err, "the daemon is gone")
			}
		})
	}
}

func TestGarbageEndsTheWarden(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := startBench(t, "", nil)
		b.lease(true, true)
		b.pipe.Write([]byte("this is not a lease, not at all"))
		assert.ErrorIs(t, <-b.done, warden.ErrUnreadable)
		b.requireOff(t)
	})
}

// badReader panics when it is read a second time.
type badReader struct{ reads int }

func (r *badReader) Read(p []byte) (int, error) {
	r.reads++
	if r.reads > 1 {
		panic("reader bug")
	}
	m := warden.Encode(warden.Message{Kind: warden.Lease, Seq: 1, Heat: true, Main: true})
	return copy(p, m[:]), nil
}

func TestPanicsEndInOff(t *testing.T) {
	t.Run("line", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			b := startBench(t, "", func(b *bench) { b.air.panics = true })
			b.lease(true, true)
			assert.ErrorContains(t, <-b.done, "BUG: warden: driver bug")
			b.requireOff(t)
			assert.NotEmpty(t, b.heat.edges, "heat was on before the panic")
		})
	})
	t.Run("reader", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			heat := &fakeLine{name: "heat", clock: func() time.Duration { return 0 }}
			err := RunWarden(t.Context(), &badReader{}, Lines{Heat: heat}, io.Discard,
				Options{Clock: func() time.Duration { return 0 }})
			assert.ErrorContains(t, err, "reader bug")
			assert.False(t, heat.isOn())
			assert.True(t, heat.closed)
		})
	})
}

func TestLineThatDoesNotObey(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dog := filepath.Join(t.TempDir(), "watchdog")
		require.NoError(t, os.WriteFile(dog, nil, 0o600))
		b := startBench(t, dog, nil)
		b.lease(false, false)
		b.heat.stick() // the line is on though it was told off
		pass(every)
		err := <-b.done
		assert.ErrorIs(t, err, ErrMismatch)
		assert.False(t, b.beat.isOn())
		synctest.Wait()
		assert.Contains(t, b.words(), "NOT EVERY LINE IS OFF")
		assert.Contains(t, b.words(), "pull the plug now")
		fed, err := os.ReadFile(dog)
		require.NoError(t, err)
		assert.NotContains(t, string(fed), "V", "the watchdog must reset the board")
	})
}

func TestWatchdogIsFedOnlyUnderALease(t *testing.T) {
	for _, c := range []struct {
		name   string
		end    func(*bench)
		disarm bool
	}{
		{"signal", func(b *bench) { b.cancel() }, true},
		{"withdrawal", func(b *bench) { b.withdraw(); b.pipe.Close() }, true},
		{"daemon died", func(b *bench) { b.pipe.Close() }, false},
		{"garbage", func(b *bench) { b.pipe.Write(make([]byte, warden.Size)) }, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				dog := filepath.Join(t.TempDir(), "watchdog")
				require.NoError(t, os.WriteFile(dog, nil, 0o600))
				fed := func() string {
					b, err := os.ReadFile(dog)
					require.NoError(t, err)
					return string(b)
				}
				b := startBench(t, dog, nil)
				pass(time.Minute)
				assert.Empty(t, fed(), "not started before the first lease")
				b.lease(true, false)
				pass(10 * time.Second)
				once := fed()
				assert.InDelta(t, 8, len(once), 2)
				pass(10 * time.Second)
				assert.Equal(t, once, fed(), "not fed without a lease")
				c.end(b)
				<-b.done
				b.requireOff(t)
				if c.disarm {
					assert.Equal(t, once+"V", fed())
				} else {
					assert.Equal(t, once, fed())
				}
			})
		})
	}
}

func TestMissingWatchdogRefusesToStart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := startBench(t, filepath.Join(t.TempDir(), "none"), nil)
		assert.ErrorIs(t, <-b.done, os.ErrNotExist)
		b.requireOff(t)
	})
}

// A stopped daemon reads no status; the warden must not wait for it.
func TestUnreadStatusDoesNotHoldHeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		clock := func() time.Duration { return time.Since(began) }
		heat := &fakeLine{name: "heat", clock: clock}
		in, pipe := io.Pipe()
		unread, status := io.Pipe()
		done := make(chan error, 1)
		go func() { done <- RunWarden(t.Context(), in, Lines{Heat: heat}, status, Options{Clock: clock}) }()
		for seq := range uint64(2 * tellBacklog) {
			m := warden.Encode(warden.Message{Kind: warden.Lease, Seq: seq + 1, Issued: clock(), Heat: true, Main: true})
			pipe.Write(m[:])
		}
		synctest.Wait()
		assert.True(t, heat.isOn())
		pass(warden.DefaultLease + every)
		assert.False(t, heat.isOn())
		pipe.Close()
		assert.Error(t, <-done)
		unread.Close()
	})
}

func TestClaimOffTriesEveryLine(t *testing.T) {
	broken := errors.New("broken")
	var tried []string
	open := func(s Spec) (Output, error) {
		tried = append(tried, s.Name)
		if s.Name == "b" {
			return nil, broken
		}
		return &fakeLine{name: s.Name, clock: func() time.Duration { return 0 }}, nil
	}
	held, err := claimOff(open, 0, []Spec{{Name: "a"}, {}, {Name: "b"}, {Name: "c"}})
	assert.ErrorIs(t, err, broken)
	assert.Equal(t, []string{"a", "b", "c"}, tried)
	assert.Len(t, held, 2)
	assert.NoError(t, closeAll(held))
}

func TestClaimOffWaitsForABusyLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		free := time.Second
		open := func(s Spec) (Output, error) {
			if time.Since(began) < free {
				return nil, ErrBusy
			}
			return &fakeLine{name: s.Name, clock: func() time.Duration { return 0 }}, nil
		}
		held, err := claimOff(open, patience, []Spec{{Name: "a"}})
		assert.NoError(t, err)
		assert.Len(t, held, 1)
		free = time.Hour
		_, err = claimOff(open, patience, []Spec{{Name: "a"}})
		assert.ErrorIs(t, err, ErrBusy)
	})
}

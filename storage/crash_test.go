package storage

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/storage/record"
)

const (
	// envKills is how often TestKilledAtAnyMoment kills, with the period of
	// commits a kiln has. Unset, it kills crashKills times and commits, lives
	// and dies faster.
	envKills   = "CALX_TEST_KILLS"
	crashKills = 20
	hurry      = 20
	// mostMissing is the promise of the package comment.
	mostMissing = 2 * time.Second
)

// writeUntilKilled resumes or begins a firing and appends as fast as a ticker
// of a millisecond goes. It prints each reading before it is appended, with
// the time, and the number of readings known to be on disk after that.
func writeUntilKilled(path string) error {
	o := DefaultOpts
	if os.Getenv(envKills) == "" {
		o.FlushEvery /= hurry
	}
	l, err := Open(path, &o)
	if err != nil {
		return err
	}
	id, ok := l.Unfinished()
	if !ok {
		if id, err = l.Begin(record.Firing{Name: "pods", Started: start}); err != nil {
			return err
		}
	}
	first, err := countReadings(l, id)
	if err != nil {
		return err
	}
	fmt.Println("resumed", first, time.Now().UnixNano())
	rng := rand.New(rand.NewPCG(first, 1))
	tick := time.NewTicker(time.Millisecond)
	var events uint64
	if es, err := l.Events(id); err == nil {
		events = uint64(len(es))
	}
	for seq := first; ; seq++ {
		<-tick.C
		var es []record.Event
		if seq%50 == 0 {
			es = append(es, anEvent(events))
			events++
		}
		fmt.Println("append", seq, time.Now().UnixNano())
		if err := l.Append(id, reading(seq), es, fmt.Append(nil, seq)); err != nil {
			return err
		}
		if rng.IntN(1000) == 0 {
			if err := l.Flush(); err != nil {
				return err
			}
		}
		s := l.Stats()
		fmt.Println("durable", first+s.Accepted-s.Queued, time.Now().UnixNano())
	}
}

func countReadings(l *Log, id uint64) (n uint64, err error) {
	err = l.Readings(id, 0, 0, func(r *record.Reading) error {
		if r.Seq != n {
			return fmt.Errorf("gap: got reading %d, want %d", r.Seq, n)
		}
		n++
		return nil
	})
	return n, err
}

// life is what one child said before it died.
type life struct {
	resumed, durable uint64
	appended         map[uint64]time.Time
	last             time.Time
}

// listen reads a child's output until it is killed, after the given time.
func listen(t *testing.T, cmd *exec.Cmd, out *bufio.Scanner, after time.Duration) life {
	t.Helper()
	l := life{appended: map[uint64]time.Time{}}
	var timer *time.Timer
	for out.Scan() {
		var word string
		var n uint64
		var ns int64
		if k, _ := fmt.Sscanln(out.Text(), &word, &n, &ns); k != 3 {
			require.NotContains(t, out.Text(), "error")
			continue // the last line, cut short by the kill
		}
		l.last = time.Unix(0, ns)
		switch word {
		case "resumed":
			l.resumed, l.durable = n, n
			timer = time.AfterFunc(after, func() { cmd.Process.Kill() })
		case "append":
			l.appended[n] = l.last
		case "durable":
			l.durable = max(l.durable, n)
		}
	}
	require.NotNil(t, timer, "the child never started")
	timer.Stop()
	return l
}

// The promise: whenever the process is killed, the file opens, its pages are
// sound, readings run from 0 without a gap, none that was acknowledged is
// missing, and none that is missing was appended more than 2 s before the
// end. SIGKILL leaves the kernel's cache alive, so this says nothing of fsync:
// that takes a cut of the power.
func TestKilledAtAnyMoment(t *testing.T) {
	if testing.Short() {
		t.Skip("kills processes for some seconds")
	}
	kills, longest := crashKills, 3*time.Second/hurry
	if n, err := strconv.Atoi(os.Getenv(envKills)); err == nil {
		kills, longest = n, longest*hurry
	}
	path := newPath(t)
	rng := rand.New(rand.NewPCG(uint64(kills), 2))
	var acknowledged, missing, total uint64
	var oldest time.Duration
	for range kills {
		cmd, out := child(t, "write until killed", path)
		said := listen(t, cmd, out, time.Duration(rng.Int64N(int64(longest))))
		checkFile(t, path)

		l, err := Open(path, &Opts{ReadOnly: true})
		require.NoError(t, err)
		id, ok := l.Unfinished()
		require.True(t, ok)
		total, err = countReadings(l, id)
		require.NoError(t, err)
		require.GreaterOrEqual(t, total, said.durable, "acknowledged readings are missing")
		state, err := l.State(id)
		require.NoError(t, err)
		if total > 0 {
			require.Equal(t, strconv.FormatUint(total-1, 10), string(state), "state and readings belong together")
		}
		es, err := l.Events(id)
		require.NoError(t, err)
		require.Len(t, es, int(total+49)/50)
		require.NoError(t, l.Close())

		acknowledged += said.durable - said.resumed
		for seq, at := range said.appended {
			if seq >= total {
				missing++
				oldest = max(oldest, said.last.Sub(at))
			}
		}
	}
	assert.Less(t, oldest, mostMissing)
	t.Logf("%d kills: %d readings kept, %d acknowledged and 0 of these lost; %d unacknowledged missing, the oldest appended %d ms before the end",
		kills, total, acknowledged, missing, oldest.Milliseconds())
}

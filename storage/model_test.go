package storage

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/storage/record"
)

// model is a log that is obviously right: slices in memory.
type model struct {
	dir     string
	path    string
	l       *Log
	o       Opts
	disk    faulty
	firings map[uint64]*modelFiring
	last    uint64
	running bool
}

type modelFiring struct {
	outcome  string
	readings []uint64
	events   []uint64
	state    string
	durable  int // readings that were acknowledged
}

func (m *model) cur() *modelFiring { return m.firings[m.last] }

func (m *model) acknowledge() {
	for _, f := range m.firings {
		f.durable = len(f.readings)
	}
}

func (m *model) open(t *rapid.T) {
	var err error
	m.l, err = Open(m.path, &m.o)
	require.NoError(t, err)
}

// wanted is the error an operation must return on this disk.
func (m *model) wanted(t *rapid.T, err error, acknowledges bool) {
	if m.disk.hook() == nil {
		require.NoError(t, err)
		if acknowledges {
			m.acknowledge()
		}
	} else if err != nil {
		require.ErrorIs(t, err, ErrNotDurable)
	}
}

func (m *model) begin(t *rapid.T) {
	if m.running {
		_, err := m.l.Begin(record.Firing{})
		require.Error(t, err)
		return
	}
	id, err := m.l.Begin(record.Firing{Name: "pods", Started: start})
	m.wanted(t, err, true)
	if err != nil { // it may be there all the same; the next one takes its place
		m.disk.set(nil)
		id, err = m.l.Begin(record.Firing{Name: "pods", Started: start})
		require.NoError(t, err)
	}
	require.Equal(t, m.last+1, id)
	m.last, m.running = id, true
	m.firings[id] = &modelFiring{}
}

func (m *model) append(t *rapid.T) {
	if !m.running {
		require.ErrorIs(t, m.l.Append(m.last, reading(0), nil, nil), ErrEnded)
		return
	}
	f := m.cur()
	for range rapid.IntRange(1, 120).Draw(t, "readings") {
		var events []record.Event
		var state []byte
		seq := uint64(len(f.readings))
		if seq%37 == 3 {
			events = append(events, anEvent(uint64(len(f.events))))
			f.events = append(f.events, uint64(len(f.events)))
		}
		if seq%5 == 1 {
			f.state = rapid.StringN(1, 4, 2000).Draw(t, "state")
			state = []byte(f.state)
		}
		err := m.l.Append(m.last, reading(seq), events, state)
		if err != nil {
			require.ErrorIs(t, err, ErrNotDurable)
			require.NotErrorIs(t, err, ErrFull)
		}
		f.readings = append(f.readings, seq)
	}
}

func (m *model) flush(t *rapid.T) { m.wanted(t, m.l.Flush(), true) }

func (m *model) end(t *rapid.T) {
	if !m.running {
		return
	}
	err := m.l.End(m.last, "finished", "", start)
	m.running = false
	m.cur().outcome, m.cur().state = "finished", ""
	m.wanted(t, err, true)
	if err != nil { // the rest of the model waits for a disk that works
		m.disk.set(nil)
		m.flush(t)
	}
}

func (m *model) reopen(t *rapid.T) {
	m.disk.set(nil)
	require.NoError(t, m.l.Close())
	m.acknowledge()
	m.open(t)
}

func (m *model) breakDisk(*rapid.T) { m.disk.set(errors.New("no space left on device")) }
func (m *model) mendDisk(t *rapid.T) {
	m.disk.set(nil)
	m.flush(t)
}

// crash opens a copy of the file as a power cut would leave it: everything
// acknowledged is there, and what is there is a prefix.
func (m *model) crash(t *rapid.T) {
	b, err := os.ReadFile(m.path)
	require.NoError(t, err)
	path := filepath.Join(m.dir, "copy.db")
	require.NoError(t, os.WriteFile(path, b, 0o600))
	c, err := Open(path, &Opts{ReadOnly: true})
	require.NoError(t, err)
	for id, f := range m.firings {
		n := 0
		require.NoError(t, c.Readings(id, 0, 0, func(r *record.Reading) error {
			requireReading(t, uint64(n), r)
			n++
			return nil
		}))
		require.GreaterOrEqual(t, n, f.durable)
		require.LessOrEqual(t, n, len(f.readings))
	}
	require.NoError(t, c.Close())
}

// check reads everything back.
func (m *model) check(t *rapid.T) {
	fs, err := m.l.Firings()
	require.NoError(t, err)
	require.Len(t, fs, len(m.firings))
	id, ok := m.l.Unfinished()
	require.Equal(t, m.running, ok)
	if ok {
		require.Equal(t, m.last, id)
	}
	for id, f := range m.firings {
		state, err := m.l.State(id)
		require.NoError(t, err)
		require.Equal(t, f.state, string(state))
		es, err := m.l.Events(id)
		require.NoError(t, err)
		require.Len(t, es, len(f.events))
		for i, e := range es {
			require.Equal(t, anEvent(uint64(i)), e)
		}
		n := uint64(len(f.readings))
		from := rapid.Uint64Range(0, n).Draw(t, "from")
		to := rapid.Uint64Range(from, n).Draw(t, "to")
		next := from
		require.NoError(t, m.l.Readings(id, secs(from), secs(to), func(r *record.Reading) error {
			requireReading(t, next, r)
			next++
			return nil
		}))
		if to == 0 { // no bound
			to = n
		}
		require.Equal(t, to, next)
	}
}

// requireReading is require.Equal, which is slow when it need not report.
func requireReading(t require.TestingT, seq uint64, got *record.Reading) {
	if want := reading(seq); !reflect.DeepEqual(want, *got) {
		require.Equal(t, want, *got)
	}
}

func secs(n uint64) time.Duration { return time.Duration(n) * time.Second }

func TestAgainstModel(t *testing.T) {
	for _, after := range []bool{false, true} {
		name := map[bool]string{false: "commits fail", true: "commits seem to fail"}[after]
		t.Run(name, func(t *testing.T) {
			memory := memoryDir(t)
			rapid.Check(t, func(rt *rapid.T) {
				dir, err := os.MkdirTemp(memory, "")
				require.NoError(rt, err)
				m := &model{dir: dir, path: filepath.Join(dir, "log.db"), o: manual, firings: map[uint64]*modelFiring{}}
				m.o.testOnlyBefore = m.disk.hook
				if after {
					m.o.testOnlyBefore, m.o.testOnlyAfter = nil, m.disk.hook
				}
				m.open(rt)
				rt.Repeat(map[string]func(*rapid.T){
					"begin": m.begin, "append": m.append, "append more": m.append, "flush": m.flush, "end": m.end,
					"reopen": m.reopen, "break disk": m.breakDisk, "mend disk": m.mendDisk, "crash": m.crash, "": m.check,
				})
				m.disk.set(nil)
				require.NoError(rt, m.l.Close())
				checkFile(t, m.path)
			})
		})
	}
}

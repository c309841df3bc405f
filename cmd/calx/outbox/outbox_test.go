package outbox

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/config"
	"calx/controller"
	"calx/controller/notice"
	"calx/controller/tidings"
	"calx/sensor"
	"calx/storage"
	"calx/storage/record"
)

// service is a destination that a test watches, and can take down or hang.
type service struct {
	mu   sync.Mutex
	down error
	hang bool
	got  []letter
}

func (s *service) send(ctx context.Context, l letter) error {
	s.mu.Lock()
	down, hang := s.down, s.hang
	if down == nil && !hang {
		s.got = append(s.got, l)
	}
	s.mu.Unlock()
	if hang {
		<-ctx.Done()
		return errUnsure
	}
	return down
}

func (s *service) set(down error, hang bool) {
	s.mu.Lock()
	s.down, s.hang = down, hang
	s.mu.Unlock()
}

func (s *service) subjects() (out []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, l := range s.got {
		out = append(out, l.subject)
	}
	return out
}

// scene is an outbox over a log with a firing in it.
type scene struct {
	*Outbox
	t    *testing.T
	log  *storage.Log
	end  context.CancelFunc
	done sync.WaitGroup
	seq  uint64
	evt  uint64
}

const profileText = "heat to 700 C at 100 C/h\nhold 2 h\n"

func openLog(t *testing.T, path string) *storage.Log {
	l, err := storage.Open(path, &storage.Opts{FlushEvery: time.Hour})
	require.NoError(t, err)
	return l
}

// newScene runs an outbox with a service for each entry; it is over when stop
// is called.
func newScene(t *testing.T, l *storage.Log, entries []string, services ...*service) *scene {
	t.Helper()
	c, err := config.Parse("calx.yaml", []byte(withTell(entries...)))
	require.NoError(t, err)
	s := &scene{t: t, log: l}
	s.Outbox = New(Options{Log: l, Config: c, Zone: time.UTC, Wall: time.Now, Logf: t.Logf})
	for i, d := range s.dests {
		d.sender, d.broken = services[i], nil
	}
	ctx, end := context.WithCancel(context.Background())
	s.end = end
	s.done.Go(func() { s.Run(ctx) })
	return s
}

func (s *scene) stop() {
	s.end()
	s.done.Wait()
}

func begin(t *testing.T, l *storage.Log) {
	_, err := l.Begin(record.Firing{Name: "pods", Started: time.Now().UTC(), Profile: profileText, Channels: []record.Channel{{Role: "chamber"}}})
	require.NoError(t, err)
}

// tick is a turn of the loop, in the log as well.
func (s *scene) tick(phase record.Phase, codes ...string) {
	s.t.Helper()
	r := record.Reading{
		Seq: s.seq, Since: time.Duration(s.seq) * time.Second, Wall: time.Now().UTC().Truncate(time.Millisecond),
		Channels: []record.Sample{{HotC: 412}}, SetpointC: 420, Phase: phase,
	}
	s.seq++
	var es []record.Event
	for _, c := range codes {
		n := notice.For(c)
		es = append(es, record.Event{Seq: s.evt, Since: r.Since, Wall: r.Wall, Code: c, Severity: record.Severity(n.Severity), Text: "text of " + c, Hint: n.Do})
		s.evt++
	}
	id, _ := s.log.Unfinished()
	require.NoError(s.t, s.log.Append(id, r, es, nil))
	s.Tick(0, controller.Output{Record: r, Events: es})
	synctest.Wait()
}

// pass lets time pass while the loop turns.
func (s *scene) pass(d time.Duration) {
	for range int(d / (10 * time.Second)) {
		time.Sleep(10 * time.Second)
		s.Idle(time.Now(), controllerReading, nil)
		synctest.Wait()
	}
}

var phone = []string{"{name: phone, url: \"generic://x.test\", repeat: 10 min, most: 3}"}

func TestATripRepeatsUntilItIsAcknowledged(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := openLog(t, filepath.Join(t.TempDir(), "calx.db"))
		defer l.Close()
		begin(t, l)
		svc := &service{}
		s := newScene(t, l, phone, svc)
		defer s.stop()
		s.tick(record.Ramping, notice.Started, notice.Step)
		s.tick(record.Tripped, notice.RisingWhileOff)
		require.NoError(t, l.End(1, "tripped", "x", time.Now()))
		trip := "pods: TRIP, heat off: " + notice.For(notice.RisingWhileOff).Means
		assert.Equal(t, []string{"pods: begun, step 1 of 2: heat to 700 C at 100 C/h", trip}, svc.subjects())
		s.pass(9 * time.Minute)
		assert.Len(t, svc.subjects(), 2)
		s.pass(2 * time.Minute)
		assert.Equal(t, "still: "+trip, svc.subjects()[2])
		n, err := s.Acknowledge()
		require.NoError(t, err)
		assert.Equal(t, 1, n)
		s.pass(time.Hour)
		assert.Len(t, svc.subjects(), 3)
		ms, err := l.Messages()
		require.NoError(t, err)
		assert.False(t, ms[1].Acked.IsZero())
		assert.Equal(t, uint32(2), ms[1].To("phone").Times)
		n, err = s.Acknowledge()
		require.NoError(t, err)
		assert.Zero(t, n, "nothing is open")
	})
}

func TestATripThatIsClearedAtTheKilnRests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := openLog(t, filepath.Join(t.TempDir(), "calx.db"))
		defer l.Close()
		begin(t, l)
		svc := &service{}
		s := newScene(t, l, phone, svc)
		defer s.stop()
		s.tick(record.Tripped, notice.RisingWhileOff)
		require.NoError(t, l.End(1, storage.Tripped, "x", time.Now()))
		s.pass(time.Minute)
		assert.Equal(t, 1, s.State().Unanswered)
		require.NoError(t, l.Clear(1))
		s.pass(time.Hour)
		assert.Len(t, svc.subjects(), 1)
		assert.Zero(t, s.State().Unanswered)
	})
}

// The network is down for hours: nothing is lost, it arrives as one letter that
// says when it was, and a destination that is up is not kept waiting.
func TestTheNetworkIsDownForHours(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := openLog(t, filepath.Join(t.TempDir(), "calx.db"))
		defer l.Close()
		begin(t, l)
		dead, fine := &service{hang: true}, &service{}
		s := newScene(t, l, append(phone, "{name: mail, url: \"smtp://x.test\"}"), dead, fine)
		defer s.stop()
		s.tick(record.Ramping, notice.Started, notice.Step)
		assert.Len(t, fine.subjects(), 1)
		s.pass(time.Hour)
		s.tick(record.Holding, notice.Step)
		dead.set(errors.New("no route to host"), false)
		s.pass(5 * time.Hour)
		assert.Len(t, fine.subjects(), 2)
		assert.Empty(t, dead.got)
		st := s.State()
		assert.Equal(t, 2, st.Waiting)
		assert.Equal(t, "no route to host", st.Destinations[0].Error)
		assert.InDelta(t, 26, st.Failures, 4, "a quarter of an hour apart, once they are many")
		dead.set(nil, false)
		s.pass(16 * time.Minute)
		require.Len(t, dead.got, 1)
		assert.Equal(t, "pods: step 1 of 2: heat to 700 C at 100 C/h (and 1 more)", dead.got[0].subject)
		assert.Contains(t, dead.got[0].body, "00:00  pods: begun")
		assert.Contains(t, dead.got[0].body, "01:00  pods: step 1")
		assert.Zero(t, s.State().Waiting)
	})
}

// The loop waits for nothing, whatever stands still, and memory is bounded.
func TestTheLoopIsNeverHeldUp(t *testing.T) {
	l := openLog(t, filepath.Join(t.TempDir(), "calx.db"))
	defer l.Close()
	c, err := config.Parse("calx.yaml", []byte(withTell(phone...)))
	require.NoError(t, err)
	b := New(Options{Log: l, Config: c, Zone: time.UTC, Wall: time.Now})
	b.mu.Lock() // whoever has it: the loop does not ask for it
	for range 10_000 {
		b.Tick(0, controller.Output{Events: []record.Event{{Code: notice.Step}}})
		b.Idle(time.Now(), controllerReading, nil)
	}
	b.mu.Unlock()
	assert.Len(t, b.in.ticks, mostTicks)
	assert.Equal(t, 10_000-mostTicks, b.in.missed)
}

// Killed at any moment: what was in the log is told after the restart; what was
// sent and not yet marked is told twice at most.
func TestKilledBetweenLogAndService(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		copied := func(l *storage.Log, name string) *storage.Log { // what a kill leaves
			require.NoError(t, l.Flush())
			b, err := os.ReadFile(filepath.Join(dir, "calx.db"))
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(filepath.Join(dir, name), b, 0o600))
			return openLog(t, filepath.Join(dir, name))
		}
		l := openLog(t, filepath.Join(dir, "calx.db"))
		defer l.Close()
		begin(t, l)
		down := &service{down: errors.New("down")}
		s := newScene(t, l, phone, down)
		s.tick(record.Ramping, notice.Started, notice.Step)
		s.stop()
		// An event of which the daemon was killed before it came to the outbox.
		s.wake = make(chan struct{}, 1)
		s.tick(record.Waiting, notice.HoldBack)
		a := copied(l, "a.db")
		defer a.Close()
		svc := &service{}
		again := newScene(t, a, phone, svc)
		synctest.Wait()
		assert.Equal(t, []string{"pods: " + notice.For(notice.HoldBack).Means + " (and 1 more)"}, svc.subjects())
		again.stop()

		// After a clean restart nothing is told again.
		svc2 := &service{}
		third := newScene(t, a, phone, svc2)
		synctest.Wait()
		third.pass(time.Minute)
		assert.Empty(t, svc2.subjects())
		third.stop()
	})
}

// A disk that fails keeps no trip from being told; it is stored when it can.
func TestTripOnADeadLog(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := openLog(t, filepath.Join(t.TempDir(), "calx.db"))
		begin(t, l)
		svc := &service{}
		s := newScene(t, l, phone, svc)
		require.NoError(t, l.Close())
		s.Tick(0, controller.Output{Record: record.Reading{Phase: record.Tripped, Wall: time.Now()}, Events: []record.Event{{Code: notice.OutputDead, Severity: record.Alarm, Text: "it does not answer"}}})
		synctest.Wait()
		require.Len(t, svc.got, 1)
		assert.Contains(t, svc.got[0].body, "it does not answer")
		assert.True(t, svc.got[0].urgent)
		s.stop()
	})
}

func TestQuietHoursAndTests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := openLog(t, filepath.Join(t.TempDir(), "calx.db"))
		defer l.Close()
		svc := &service{}
		// A bubble begins at midnight UTC.
		s := newScene(t, l, []string{"{name: phone, url: \"generic://x.test\", quiet: \"22:00 to 07:00\"}"}, svc)
		defer s.stop()
		s.Note(tidings.Person, record.Warn, 0, "needs you", "")
		s.pass(6*time.Hour + 59*time.Minute)
		assert.Empty(t, svc.got)
		assert.Equal(t, "quiet hours", s.State().Messages[0].To[0].State)
		s.pass(2 * time.Minute)
		require.Len(t, svc.got, 1)
		assert.Contains(t, svc.got[0].body, "told late: this was at 00:00")
	})
}

func TestNobodyToTell(t *testing.T) {
	l := openLog(t, filepath.Join(t.TempDir(), "calx.db"))
	defer l.Close()
	c, err := config.Parse("calx.yaml", []byte(strings.TrimSuffix(withTell(), "tell:\n")))
	require.NoError(t, err)
	b := New(Options{Log: l, Config: c, Zone: time.UTC, Wall: time.Now})
	b.Tick(0, controller.Output{Events: []record.Event{{Code: notice.Step}}})
	b.Note(tidings.Trip, record.Alarm, 0, "x", "")
	b.Run(t.Context())
	ms, err := l.Messages()
	require.NoError(t, err)
	assert.Empty(t, ms)
	_, err = Try(t.Context(), c, "", "kiln", time.Now())
	assert.ErrorContains(t, err, "nobody under tell")
}

func TestTry(t *testing.T) {
	at, _, body := hook(t, nil)
	file := filepath.Join(t.TempDir(), "url")
	require.NoError(t, os.WriteFile(file, []byte("# the hook\ngeneric://"+at+"/?disabletls=yes\n"), 0o600))
	c, err := config.Parse("calx.yaml", []byte(withTell(
		fmt.Sprintf("{name: hook, url_file: %s}", file), `{name: lost, url_file: /no/such/file}`, `{name: odd, url: "nosuch://x"}`)))
	require.NoError(t, err)
	answers, err := Try(within(t), c, "", "bench", time.Now())
	require.NoError(t, err)
	assert.True(t, answers[0].OK, answers[0].Error)
	assert.Contains(t, <-body, "kiln bench")
	assert.Contains(t, answers[1].Error, "no such file")
	assert.Contains(t, answers[2].Error, "there is no service of that name; there are bark")
	_, err = Try(within(t), c, "hok", "bench", time.Now())
	assert.ErrorContains(t, err, `no destination "hok"; there are hook, lost, odd`)
}

var controllerReading = sensor.Reading{HotC: 20}

// Whoever presses something at the kiln has seen what rang.
func TestPressingResumeIsAnAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := openLog(t, filepath.Join(t.TempDir(), "calx.db"))
		defer l.Close()
		begin(t, l)
		svc := &service{}
		s := newScene(t, l, phone, svc)
		defer s.stop()
		s.tick(record.Waiting, notice.WaitsForPerson)
		s.pass(11 * time.Minute)
		assert.Equal(t, []string{"pods: waits for you, heat off", "still: pods: waits for you, heat off"}, svc.subjects())
		s.tick(record.Ramping, notice.ResumedByHand)
		s.pass(time.Hour)
		assert.Len(t, svc.subjects(), 2)
	})
}

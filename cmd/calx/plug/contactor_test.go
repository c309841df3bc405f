package plug

import (
	"context"
	"fmt"
	"io"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"

	"calx/controller/warden"
)

// switchboard writes down every switch of its lines, in order.
type switchboard struct{ said []string }

// wire is one of its lines; stuck wires report that they do not follow.
type wire struct {
	of    *switchboard
	name  string
	on    bool
	stuck bool
}

func (w *wire) Set(on bool) error {
	if on != w.on {
		w.of.said = append(w.of.said, w.name+" "+word(on))
	}
	w.on = on
	return w.Verify()
}

func (w *wire) Verify() error {
	if w.stuck && !w.on {
		return fmt.Errorf("%s: %w", w.name, ErrMismatch)
	}
	return nil
}

func (w *wire) Close() error   { return w.Set(false) }
func (w *wire) String() string { return w.name }

// panel is a warden at a switchboard.
type panel struct {
	switchboard
	heat, main wire
	pipe       *io.PipeWriter
	cancel     context.CancelFunc
	done       chan error
	clock      func() time.Duration
	seq        uint64
}

func newPanel(t *testing.T) *panel {
	p := &panel{done: make(chan error, 1)}
	p.heat, p.main = wire{of: &p.switchboard, name: "heat"}, wire{of: &p.switchboard, name: "main"}
	began := time.Now()
	p.clock = func() time.Duration { return time.Since(began) }
	in, pipe := io.Pipe()
	ctx, cancel := context.WithCancel(t.Context())
	p.pipe, p.cancel = pipe, cancel
	go func() {
		p.done <- RunWarden(ctx, in, Lines{Heat: &p.heat, Main: &p.main}, io.Discard, Options{Clock: p.clock})
		in.Close()
	}()
	synctest.Wait()
	return p
}

func (p *panel) lease(want warden.Lines) {
	p.seq++
	m := warden.Encode(warden.Message{Kind: warden.Lease, Seq: p.seq, Issued: p.clock(), Heat: want.Heat, Main: want.Main})
	p.pipe.Write(m[:])
	synctest.Wait()
}

// The heat relay works all night, the main contactor closes once and opens
// once; it closes before the relay and opens after it, so that the relay
// breaks the current.
func TestMainContactorClosesOnceInAFiring(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newPanel(t)
		for range 3 {
			p.lease(warden.Lines{Heat: true, Main: true})
			pass(time.Second)
			p.lease(warden.Lines{Main: true})
			pass(time.Second)
		}
		p.lease(warden.Lines{Heat: true, Main: true})
		p.lease(warden.Lines{})
		assert.Equal(t, []string{
			"main on", "heat on", "heat off", "heat on", "heat off", "heat on", "heat off", "heat on",
			"heat off", "main off",
		}, p.said)
		p.cancel()
		assert.NoError(t, <-p.done)
	})
}

func TestHeatWithoutMainClosesNeither(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newPanel(t)
		p.lease(warden.Lines{Heat: true})
		assert.Empty(t, p.said)
		p.cancel()
		assert.NoError(t, <-p.done)
	})
}

// Either contact that does not open ends the warden, the other one open.
func TestEitherContactThatDoesNotObeyOpensTheOther(t *testing.T) {
	for _, stuck := range []string{"heat", "main"} {
		synctest.Test(t, func(t *testing.T) {
			p := newPanel(t)
			p.lease(warden.Lines{Heat: true, Main: true})
			p.heat.stuck, p.main.stuck = stuck == "heat", stuck == "main"
			p.lease(warden.Lines{})
			assert.ErrorIs(t, <-p.done, ErrMismatch)
			assert.False(t, p.heat.on)
			assert.False(t, p.main.on)
			assert.Contains(t, p.said, "heat off")
			assert.Contains(t, p.said, "main off")
		})
	}
}

func TestSilenceOpensTheMainContactor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newPanel(t)
		p.lease(warden.Lines{Heat: true, Main: true})
		pass(warden.DefaultLease + every)
		assert.Equal(t, []string{"main on", "heat on", "heat off", "main off"}, p.said)
		p.pipe.Close()
		assert.Error(t, <-p.done)
	})
}

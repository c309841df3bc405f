package station

import (
	"errors"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/notice"
)

// mortal is an output that dies when told to.
type mortal struct {
	controller.Heater
	gone atomic.Bool
}

func (m *mortal) Set(want controller.Lines) error {
	if m.gone.Load() {
		return errors.New("the warden is dead")
	}
	return m.Heater.Set(want)
}

// When the owner of the lines is gone, the firing ends with an alarm and no
// other begins.
func TestDeadOutput(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		defer h.die()
		m, dead := &mortal{Heater: h.parts.Heater}, make(chan struct{})
		h.parts.Heater, h.parts.Dead = m, dead
		h.start()
		_, err := h.st.Start(Request{Profile: evening})
		require.NoError(t, err)
		time.Sleep(2 * time.Minute)
		m.gone.Store(true)
		close(dead)
		time.Sleep(3 * time.Second)
		st := h.st.Status()
		require.Nil(t, st.Firing)
		assert.Equal(t, "tripped", st.Last.Outcome)
		assert.Equal(t, notice.OutputDead, st.Last.Guard)
		assert.Equal(t, "the warden is dead", st.OutputError)
		assert.False(t, st.Heat)
		_, err = h.st.Start(Request{Profile: evening})
		assert.ErrorIs(t, err, ErrDead)
		f, err := h.log.Firing(1)
		require.NoError(t, err)
		assert.Equal(t, "tripped", f.Outcome)
	})
}

// The first reading of a firing is as good as the last one before it.
func TestFirstReadingIsGood(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		defer h.die()
		h.start()
		time.Sleep(time.Hour)
		for range 2 {
			_, err := h.st.Start(Request{Profile: "hold 1 min"})
			require.NoError(t, err)
			for range 60 {
				assert.Equal(t, "ok", h.st.Status().Fault)
				time.Sleep(500 * time.Millisecond)
			}
			require.NoError(t, h.st.Command(controller.Stop))
			time.Sleep(3 * time.Second)
		}
	})
}

func TestInterruptedIsAskedFirst(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		defer h.die()
		h.begin(2*time.Minute, "")
		h.start()
		_, err := h.st.Start(Request{Profile: evening})
		assert.ErrorIs(t, err, ErrMending)
	})
}

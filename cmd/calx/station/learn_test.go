package station

import (
	"context"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/inside"
	"calx/storage/record"
)

// broke notes n test pieces that were held at 700 °C.
func (h *house) broke(n int, state string, s float64) {
	h.t.Helper()
	for i := range n {
		_, err := h.log.AddNote(record.Note{At: h.parts.Clock.Wall(), Piece: &record.Piece{
			Name: fmt.Sprintf("T%d", i+1), Material: "seed pod", Flask: "plug", SectionM: 0.012, HoldC: 700, HoldS: s, State: state,
		}})
		require.NoError(h.t, err)
	}
}

// A firing begins with what the notebook says and goes on with that after an
// interruption, whatever was noted meanwhile.
func TestResumeKeepsTheBeliefs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		defer h.die()
		h.start()
		h.broke(3, "clear", 3600)
		_, err := h.st.Start(Request{Profile: drying, Moulds: woodyPod(t)})
		require.NoError(t, err)
		time.Sleep(5 * time.Minute)
		const want = "3 test pieces of other kinds and the physics"
		assert.Contains(t, h.st.Status().Inside.Evidence, want)
		head, err := h.log.Firing(1)
		require.NoError(t, err)
		assert.Equal(t, want, inside.KeptBasis(head.Beliefs))

		h.die()
		before := h.last
		h.gap(30 * time.Second)
		h.start()
		h.broke(9, "charred", 36000)
		b, err := h.st.rebuild(head)
		require.NoError(t, err)
		assert.Equal(t, head.Beliefs, inside.Keep(b.moulds.model), "bit for bit")
		assert.Equal(t, asText(t, before.Inside), asText(t, b.state.Inside))
		_, err = h.st.Interrupted(context.Background(), 10*time.Minute)
		require.NoError(t, err)
		time.Sleep(5 * time.Second)
		require.NotNil(t, h.st.Status().Firing)
		assert.Contains(t, h.st.Status().Inside.Evidence, want)

		old := head
		old.Beliefs = ""
		b, err = h.st.rebuild(old)
		require.NoError(t, err)
		assert.Contains(t, b.moulds.evidence, inside.Physics, "heads from before beliefs were kept")
	})
}

// Notes that cannot be used do not keep anybody from firing, but are told of.
func TestUnusablePiecesLeaveThePhysics(t *testing.T) {
	if testing.Short() {
		t.Skip("long: beliefs are worked out twice")
	}
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		defer h.die()
		h.start()
		_, err := h.st.Start(Request{Profile: "heat to 100 C at 400 C/h\n"})
		require.NoError(t, err)
		time.Sleep(30 * time.Minute)
		require.Nil(t, h.st.Status().Firing)
		_, err = h.log.AddNote(record.Note{At: h.parts.Clock.Wall(), Piece: &record.Piece{Material: "twig", SectionM: 0.01, Firing: 1, Follow: "core 9", PulledS: 600, State: "raw"}})
		require.NoError(t, err)
		_, err = h.st.Start(Request{Profile: drying, Moulds: woodyPod(t)})
		require.NoError(t, err)
		time.Sleep(time.Minute)
		assert.Contains(t, h.st.Status().Inside.Evidence, `physics alone, the test pieces could not be used: piece 1: --follow is "core 9"`)
	})
}

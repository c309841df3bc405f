package station

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/sim/mould"
	"calx/storage"
)

func woodyPod(t *testing.T) []string {
	text, err := mould.ShippedFile("woody-pod-90")
	require.NoError(t, err)
	return []string{string(text)}
}

// drying is a firing that waits for its mould.
const drying = "heat to 180 C at 400 C/h\nair on\nhold until dry, at least 10 min, at most 10 h\n"

// pods starts a firing with a mould.
func (h *house) pods() {
	h.t.Helper()
	h.start()
	_, err := h.st.Start(Request{Name: "pods", Profile: drying, Moulds: woodyPod(h.t)})
	require.NoError(h.t, err)
}

// The inside of the moulds is not in the log's snapshots: it is followed again
// from the readings, bit for bit, through every interruption.
func TestInsideIsFollowedAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("long: an hour of a mould, four times")
	}
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		defer h.die()
		h.pods()
		for _, d := range []time.Duration{50*time.Minute + 7*time.Second, 13*time.Minute + 1*time.Second, 200 * time.Second} {
			time.Sleep(d)
			h.die()
			before := h.last
			require.True(t, before.Inside.Begun)
			h.gap(90 * time.Second)
			h.start()
			snapshot, err := h.log.State(1)
			require.NoError(t, err)
			assert.NotContains(t, string(snapshot), "DoseMin", "every commit would write it anew")
			head, err := h.log.Firing(1)
			require.NoError(t, err)
			b, err := h.st.rebuild(head)
			require.NoError(t, err)
			assert.Equal(t, asText(t, before.Inside), asText(t, b.state.Inside))
			_, err = h.st.Interrupted(context.Background(), 10*time.Minute)
			require.NoError(t, err)
		}
		time.Sleep(5 * time.Second)
		f := h.st.Status().Firing
		require.NotNil(t, f)
		assert.Equal(t, 3, f.Step)
	})
}

func asText(t *testing.T, o controller.Observed) string {
	b, err := controller.State{Inside: o}.Snapshot()
	require.NoError(t, err)
	return string(b)
}

func TestStatusTellsTheInside(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		defer h.die()
		h.pods()
		time.Sleep(90 * time.Second)
		in := h.st.Status().Inside
		require.NotNil(t, in)
		require.Len(t, in.Flasks, 1)
		assert.Equal(t, "woody-pod-90", in.Flasks[0].Name)
		assert.InDelta(t, 1, in.Flasks[0].WaterLeft, 1e-3)
		assert.Equal(t, 0.95, in.Want, "nobody asked for another")
		require.NotNil(t, in.DryS)
		assert.Nil(t, in.ClearS, "180 °C burns nothing")
		assert.Nil(t, in.WantAtS)
		require.NotNil(t, in.EndS)
		assert.InDelta(t, *in.DryS, *in.EndS, 120, "the firing ends when the mould is dry")
		assert.Contains(t, in.Evidence, "physics alone")
		assert.InDelta(t, *in.EndS, h.st.Status().Firing.PlannedS, 900, "as was expected before")

		first := *in.ForeseenS
		time.Sleep(20 * time.Minute)
		h.st.Status() // somebody looks again
		time.Sleep(2 * time.Second)
		assert.Greater(t, *h.st.Status().Inside.ForeseenS, first+1000)

		dryS := *in.DryS
		time.Sleep(10 * time.Hour)
		st := h.st.Status()
		require.Nil(t, st.Firing)
		assert.Nil(t, st.Inside)
		assert.Equal(t, "finished", st.Last.Outcome)
		assert.InEpsilon(t, dryS, st.Last.SinceS, 0.05, "the prediction was right, as the kiln followed the plan")
		assert.Contains(t, st.Last.Events[len(st.Last.Events)-2].Text, "of the free water is left")
		head, err := h.log.Firing(1)
		require.NoError(t, err)
		assert.Equal(t, woodyPod(t), head.Moulds)
	})
}

func TestMouldsThatCannotBeFired(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		defer h.die()
		h.start()
		cone, err := mould.ShippedFile("cone-150")
		require.NoError(t, err)
		var bad *MouldError
		for want, r := range map[string]Request{
			"mould 2:6:11: flask.height: 200 mm": {Profile: drying, Moulds: append(woodyPod(t), string(cone))},
			"mould 1:1:1: flask: missing":        {Profile: drying, Moulds: []string{"name: x"}},
			"would wait in vain: ceiling 250 C":  {Profile: "heat to 250 C at 100 C/h\nhold until clear 90%, at most 3 h", Moulds: woodyPod(t)},
			"mould 1:1:8: count: 9":              {Profile: drying, Moulds: []string{"count: 9\n" + woodyPod(t)[0]}},
		} {
			_, err := h.st.Start(r)
			assert.ErrorAs(t, err, &bad, want)
			assert.ErrorContains(t, err, want)
		}
		assert.Nil(t, h.st.Status().Firing)
	})
}

// A damaged stretch of the log before the newest snapshot does not end a firing.
func TestDamageBeforeTheSnapshot(t *testing.T) {
	lost := func(first, last uint64) error { return &storage.DamageError{Firing: 1, First: first, Last: last} }
	for _, c := range []struct {
		err  error
		want bool
	}{
		{nil, false}, {lost(5, 9), true}, {lost(5, 10), false}, {errors.Join(lost(1, 2), lost(5, 9)), true}, {errors.Join(lost(1, 2), lost(12, 14)), false},
		{errors.New("the disk is gone"), false}, {errors.Join(lost(1, 2), errors.New("the disk is gone")), false},
		{&storage.DamageError{First: 1, Last: 2, Events: true}, false},
	} {
		assert.Equal(t, c.want, before(c.err, 10), "%v", c.err)
	}
}

package chip_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"

	"calx/sim/chip"
)

func newRelay(t *testing.T, name string, activeLow bool) (r *chip.Relay, pin gpio.PinIO, now *time.Duration) {
	t.Helper()
	now = new(time.Duration)
	r, err := chip.NewRelay(chip.RelayOptions{Name: name, ActiveLow: activeLow, Now: func() time.Duration { return *now }})
	require.NoError(t, err)
	require.NoError(t, r.Register())
	t.Cleanup(func() { require.NoError(t, r.Unregister()); assert.Nil(t, gpioreg.ByName(name)) })
	pin = gpioreg.ByName(name)
	require.NotNil(t, pin)
	return r, pin, now
}

func TestRelay(t *testing.T) {
	for name, activeLow := range map[string]bool{"SIM_RELAY_HIGH": false, "SIM_RELAY_LOW": true} {
		r, pin, now := newRelay(t, name, activeLow)
		on, off := gpio.Level(!activeLow), gpio.Level(activeLow)
		assert.False(t, r.Closed(), "off before the first Out")
		assert.Equal(t, off, pin.Read())

		for range 3 {
			require.NoError(t, pin.Out(on))
			require.NoError(t, pin.Out(on))
			*now += 4 * time.Second
			require.NoError(t, pin.Out(off))
			*now += 6 * time.Second
		}
		assert.Equal(t, 3, r.Cycles())
		assert.Equal(t, 12*time.Second, r.OnTime())

		require.NoError(t, pin.Out(on))
		*now += time.Second
		assert.True(t, r.Closed())
		assert.Equal(t, 13*time.Second, r.OnTime(), "counts while it is on")
		require.NoError(t, pin.Halt())
		assert.True(t, r.Closed(), "Halt leaves the output as it was")
		require.NoError(t, pin.In(gpio.PullNoChange, gpio.NoEdge))
		assert.False(t, r.Closed(), "an input does not drive the coil")
	}
}

func TestRelayFaults(t *testing.T) {
	r, pin, now := newRelay(t, "SIM_RELAY_FAULTS", false)
	require.NoError(t, pin.Out(gpio.High))
	require.NoError(t, r.Inject(chip.Fault{Kind: chip.Welded}))
	require.NoError(t, pin.Out(gpio.Low))
	assert.True(t, r.Closed())
	assert.Equal(t, gpio.Low, pin.Read())
	*now += time.Minute
	r.Clear(chip.Welded)
	assert.False(t, r.Closed())
	assert.Equal(t, time.Minute, r.OnTime())

	require.NoError(t, r.Inject(chip.Fault{Kind: chip.StuckOpen}))
	require.NoError(t, pin.Out(gpio.High))
	*now += time.Minute
	assert.False(t, r.Closed())
	assert.Equal(t, 1, r.Cycles())
	r.Clear()
	assert.True(t, r.Closed())
	assert.Equal(t, 2, r.Cycles())
	assert.Equal(t, time.Minute, r.OnTime())

	assert.ErrorContains(t, r.Inject(chip.Fault{Kind: chip.Open}), "for an amplifier")
	assert.ErrorContains(t, r.Register(), "twice")
	assert.ErrorContains(t, pin.PWM(gpio.DutyHalf, 1), "PWM is not supported")
	assert.ErrorContains(t, pin.In(gpio.PullUp, gpio.BothEdges), "not supported")
	_, err := chip.NewRelay(chip.RelayOptions{Name: "nameless time"})
	assert.ErrorContains(t, err, "needs Name and Now")
}

package board

import (
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"

	"calx/cmd/calx/config"
	"calx/controller"
	"calx/sensor"
)

// bus records what is put on its pins, in order.
type bus struct{ said []string }

// named is a pin that can do nothing.
type named struct {
	gpio.PinIO
	name string
}

func (n named) Name() string   { return n.name }
func (n named) String() string { return n.name }

// lead is one pin of a bus: an output that cries out when it is read.
type lead struct {
	named
	of *bus
	t  *testing.T
}

func (l *lead) Out(v gpio.Level) error {
	l.of.said = append(l.of.said, fmt.Sprint(l.name, " ", v))
	return nil
}

// contact is an input with something at it that is stronger than a pull.
type contact struct {
	named
	level gpio.Level
	pull  gpio.Pull
}

func (c *contact) In(p gpio.Pull, _ gpio.Edge) error { c.pull = p; return nil }
func (c *contact) Read() gpio.Level                  { return c.level }

func (l *lead) Read() gpio.Level {
	assert.Fail(l.t, "an output line was read back")
	return gpio.Low
}

// wire registers pins for the length of a test. No board has such names.
func wire(t *testing.T, names ...string) *bus {
	b := &bus{}
	for _, n := range names {
		require.NoError(t, gpioreg.Register(&lead{named: named{gpio.INVALID, n}, of: b, t: t}))
		t.Cleanup(func() { assert.NoError(t, gpioreg.Unregister(n)) })
	}
	return b
}

func TestOutputKeepsTheOrder(t *testing.T) {
	b := wire(t, "T_HEAT", "T_MAIN", "T_AIR")
	o, err := OpenOutput(config.Heater{Pin: "T_HEAT", Main: "T_MAIN", Air: "T_AIR"})
	require.NoError(t, err)
	assert.Equal(t, []string{"T_HEAT Low", "T_MAIN Low", "T_AIR Low"}, b.said, "off at the start")
	for _, c := range []struct {
		want controller.Lines
		said []string
	}{
		{controller.Lines{Heat: true, Main: true}, []string{"T_MAIN High", "T_HEAT High", "T_AIR Low"}},
		{controller.Lines{Main: true, Air: true}, []string{"T_MAIN High", "T_HEAT Low", "T_AIR High"}},
		{controller.Lines{Heat: true}, []string{"T_HEAT Low", "T_MAIN Low", "T_AIR Low"}},
	} {
		b.said = nil
		require.NoError(t, o.Set(c.want))
		assert.Equal(t, c.said, b.said, "%+v", c.want)
	}
	b.said = nil
	require.NoError(t, o.Close())
	assert.Equal(t, []string{"T_HEAT Low", "T_MAIN Low", "T_AIR Low"}, b.said)
}

func TestOutputActiveLow(t *testing.T) {
	b := wire(t, "T_HEAT", "T_MAIN")
	_, err := OpenOutput(config.Heater{Pin: "T_HEAT", Main: "T_MAIN", Active: "low"})
	require.NoError(t, err)
	assert.Equal(t, []string{"T_HEAT High", "T_MAIN High"}, b.said)
}

func TestOutputWithoutItsPin(t *testing.T) {
	b := wire(t, "T_HEAT")
	o, err := OpenOutput(config.Heater{Pin: "T_HEAT", Main: "T_NONE"})
	assert.True(t, o == nil, "nothing to close")
	assert.ErrorContains(t, err, "no pin T_NONE for the main contactor")
	assert.Equal(t, []string{"T_HEAT Low"}, b.said)
}

// An output that is not there is nil, for whoever closes what is open.
func TestOutputThatNobodyHas(t *testing.T) {
	o, err := OpenOutput(config.Heater{Pin: "no line has this name"})
	assert.Error(t, err)
	assert.True(t, o == nil, "nothing to close")
}

func TestWiring(t *testing.T) {
	w := Wiring(config.Heater{Pin: "GPIO17", Main: "GPIO23", Active: "low", Heartbeat: "GPIO27"})
	assert.Equal(t, []string{"--heat=GPIO17,active-low", "--main=GPIO23,active-low", "--beat=GPIO27"}, w.Args())
}

func TestDoor(t *testing.T) {
	for _, c := range []struct {
		open  string
		pull  gpio.Pull
		level gpio.Level
		want  sensor.Door
	}{
		{"", gpio.PullUp, gpio.High, sensor.DoorOpen},
		{"high", gpio.PullUp, gpio.Low, sensor.DoorShut},
		{"low", gpio.PullDown, gpio.High, sensor.DoorShut},
		{"low", gpio.PullDown, gpio.Low, sensor.DoorOpen},
	} {
		pin := &contact{named: named{gpio.INVALID, "T_DOOR"}, level: c.level}
		require.NoError(t, gpioreg.Register(pin))
		d, err := OpenDoor(config.Door{Pin: "T_DOOR", Open: c.open}, func(error) { assert.Fail(t, "complains") })
		require.NoError(t, err)
		assert.Equal(t, c.pull, pin.pull, "the pull is towards an open door")
		assert.Equal(t, c.want, d.Door(), "%+v", c)
		require.NoError(t, d.Close())
		require.NoError(t, gpioreg.Unregister("T_DOOR"))
	}
}

// A switch that cannot be read is an open door, and somebody hears of it once.
func TestBrokenDoorIsOpen(t *testing.T) {
	var heard []error
	var err error
	d := &Door{openHigh: true, high: func() (bool, error) { return false, err }, complain: func(e error) { heard = append(heard, e) }}
	assert.Equal(t, sensor.DoorShut, d.Door())
	err = errors.New("gone")
	for range 3 {
		assert.Equal(t, sensor.DoorOpen, d.Door())
	}
	err = nil
	assert.Equal(t, sensor.DoorShut, d.Door())
	assert.Equal(t, []error{errors.New("gone"), nil}, heard)
}

func TestDoorThatIsNotThere(t *testing.T) {
	d, err := OpenDoor(config.Door{}, nil)
	assert.NoError(t, err)
	assert.Nil(t, d, "no switch, no door")
	_, err = OpenDoor(config.Door{Pin: "T_NONE"}, nil)
	assert.ErrorContains(t, err, "door switch")
	assert.ErrorContains(t, err, "T_NONE")
}

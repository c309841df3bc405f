package config

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const good = `
kiln: bench-9l-brick
channels:
  - {role: chamber, chip: max31855, port: SPI0.0, type: K}
heater: {pin: GPIO17, relay: contactor, least_on: 12 s}
`

func TestDefaults(t *testing.T) {
	c, err := Parse("/etc/calx/calx.yaml", []byte(good))
	require.NoError(t, err)
	assert.Equal(t, "127.0.0.1:8418", c.Listen)
	assert.Equal(t, "/etc/calx/calx-data", c.Path(c.Data))
	assert.False(t, c.Fahrenheit())
	r, err := c.RelayConfig()
	require.NoError(t, err)
	assert.Equal(t, 12.0, r.LeastOnS)
	assert.Equal(t, 10.0, r.LeastOffS, "a contactor's own least time stands where none is given")
	assert.Equal(t, 85.0, r.CyclesPerH)
}

// Everything wrong is named at once, with its place and what would be right.
func TestProblemsAreNamedTogether(t *testing.T) {
	_, err := Parse("calx.yaml", []byte(`
kiln: bench-9l-brick
units: K
period: 5 s
channels:
  - {role: chamber, chip: max6675, port: SPI0.0, type: S}
  - {role: witness, chip: max31856, port: SPI0.0, type: K, mains: 55 Hz, averaging: 3}
heater: {pin: "", relay: triac}
`))
	require.Error(t, err)
	for _, want := range []string{
		"calx.yaml:3:", `read "K"; it must be one of C, F`, "from 250 ms to 1 s", "the max6675 reads type K only",
		"SPI0.0 is used twice", "50 Hz or 60 Hz", "1, 2, 4, 8 or 16", "no line given", `read "triac"`,
	} {
		assert.ErrorContains(t, err, want)
	}
}

func TestExactlyOneChamber(t *testing.T) {
	_, err := Parse("calx.yaml", []byte("kiln: x\nchannels: [{role: flask, chip: max31855, port: SPI0.0, type: K}]\nheater: {pin: GPIO17, relay: ssr}\n"))
	assert.ErrorContains(t, err, "0 channels have the role chamber")
}

// The heat must be driven off whatever else is wrong in the file.
func TestHeaterAlone(t *testing.T) {
	file := filepath.Join(t.TempDir(), "calx.yaml")
	write := func(s string) { require.NoError(t, os.WriteFile(file, []byte(s), 0o600)) }
	write("klin: typo\nperiod: 99\nheater: {pin: GPIO17, active: low, relay: nonsense}\n")
	h, err := LoadHeater(file)
	require.NoError(t, err)
	assert.Equal(t, "GPIO17", h.Pin)
	assert.Equal(t, "low", h.Active)
	write("heater:\n  pin: 017 # a name, and no number\n  least_on: 12\n")
	h, err = LoadHeater(file)
	require.NoError(t, err)
	assert.Equal(t, Heater{Pin: "017"}, h)
	// A level that is misspelt is no high one: off would be on.
	for text, want := range map[string]string{
		"kiln: x\n":                         "calx.yaml:1:1: heater: missing",
		"heater: {pin: \"\", relay: ssr}\n": "calx.yaml:1:15: heater.pin: no line given",
		"heater: {pin: GPIO17, relay: ssr, active: Low}\n":      `calx.yaml:1:43: heater.active: read "Low"; it must be one of high, low`,
		"heater: {pin: GPIO17, relay: ssr, activ: low}\n":       "calx.yaml:1:35: heater.activ: unknown field",
		"heater:\n  pin: GPIO17\n  relay: ssr\n  active:\n":     "heater.active: no value",
		"heater: {pin: GPIO17, relay: ssr}\nheater: {pin: a}\n": "calx.yaml:2:1:",
	} {
		write(text)
		h, err = LoadHeater(file)
		assert.ErrorContains(t, err, want)
		assert.ErrorContains(t, err, "calx touched none")
		assert.Equal(t, Heater{}, h)
	}
}

func TestMainContactorAndDoor(t *testing.T) {
	c, err := Parse("calx.yaml", []byte(good+"door: {pin: GPIO24}\n"))
	require.NoError(t, err)
	assert.True(t, c.Door.Fitted())
	assert.Empty(t, c.Heater.Main, "none unless it is named")
	_, err = Parse("calx.yaml", []byte(`
kiln: x
channels: [{role: chamber, chip: max31855, port: SPI0.0, type: K}]
heater: {pin: GPIO17, relay: ssr, main: GPIO17, heartbeat: GPIO24}
door: {pin: GPIO24, open: up}
`))
	for _, want := range []string{
		"calx.yaml:4:", "GPIO17 is already the line of heater.pin", "GPIO24 is already the line of heater.heartbeat",
		`read "up"; it must be one of high, low`,
	} {
		assert.ErrorContains(t, err, want)
	}
	_, err = Parse("calx.yaml", []byte(good+"door: {open: low}\n"))
	assert.ErrorContains(t, err, "name the line of the door switch")
}

package config

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"calx/sim/quantity"
)

// A configuration is refused with its place, or the heater is found in it by
// the short way as well, by which the heat is driven off.
func FuzzParse(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte("data: d\nlisten: :0\nunits: F\nkiln: k\nperiod: 250 ms\nresume_within: 10 min\nchannels:\n- role: chamber\n  chip: max31856\n  port: SPI0.0\n  type: N\n  mains: 60 Hz\n  averaging: 4\nheater:\n  pin: GPIO17\n  air: GPIO27\n  active: low\n  relay: ssr\n  heartbeat: GPIO22\n  watchdog: /dev/watchdog\n"))
	f.Add([]byte(good + "after_power_cut: ask\ndoor: {pin: GPIO24, open: low}\ntell:\n- name: phone\n  url_file: secret\n  from: warn\n  kinds: [trip]\n  quiet: \"22:00 to 07:00\"\n  passes: person\n  repeat: 5 min\n  most: 3\n"))
	f.Add([]byte(good + "tell: [{name: phone, url: \"smtp://x:secret@y\"}]\n"))
	f.Add([]byte("heater: &a {pin: *a}\nchannels: [[[[]]]]"))
	f.Add([]byte("heater: {pin: !!binary GPIO17, relay: {}}\n---\n"))
	file := filepath.Join(f.TempDir(), "calx.yaml")
	f.Fuzz(func(t *testing.T, data []byte) {
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		h, herr := LoadHeater(file)
		if herr != nil && h != (Heater{}) {
			t.Fatalf("got %+v beside %v", h, herr)
		}
		c, err := Parse(file, data)
		if err != nil {
			var told quantity.Errors
			if c != nil || !errors.As(err, &told) || told[0].File != file || told[0].Line < 1 {
				t.Fatalf("%+v beside %v", c, err)
			}
			return
		}
		want := c.Heater
		want.LeastOn, want.LeastOff = 0, 0
		if herr != nil || h != want {
			t.Fatalf("the short way finds %+v, %v; the long one %+v", h, herr, want)
		}
		if _, err := c.RelayConfig(); err != nil && err.Error() == "" {
			t.Fatal("an error without words")
		}
	})
}

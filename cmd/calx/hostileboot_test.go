package main

import (
	"context"
	"io"
	"log"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"calx/cmd/calx/config"
	"calx/cmd/calx/station"
)

const bootSpeed = 1e6 // as fast as it can

// cutShort is a log as a power cut leaves it, a minute or two into a firing.
func cutShort(tb testing.TB, c *config.Config) []byte {
	d, err := openDaemon(c, bootSpeed, log.New(io.Discard, "", 0))
	if err != nil {
		tb.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- d.station.Run(ctx) }()
	if _, err := d.station.Start(station.Request{Name: "night", Profile: "never above 400 C\nheat to 300 C at 300 C/h\nhold 2 h"}); err != nil {
		tb.Fatal(err)
	}
	changed, stop := d.station.Watch()
	for d.station.Status().Firing == nil || d.station.Status().Firing.SinceS < 90 {
		<-changed
	}
	stop()
	cancel()
	<-ended
	if err := d.close(); err != nil {
		tb.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join(c.Path(c.Data), logName))
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// A daemon that starts on a spoilt log with an unfinished firing refuses the log
// in words, or deals with the firing, and never dies of it: it would be started
// again, and die again.
func FuzzBoot(f *testing.F) {
	dir := f.TempDir()
	c, err := config.Parse(filepath.Join(dir, "calx.yaml"), []byte("kiln: jewellery-3l-fibre\ndata: log\nchannels: [{role: chamber, chip: max31855, port: SPI0.0, type: K}]\nheater: {pin: GPIO17, relay: ssr}\n"))
	if err != nil {
		f.Fatal(err)
	}
	good := cutShort(f, c)
	file := filepath.Join(c.Path(c.Data), logName)
	for harm := range uint8(harmKinds) {
		for _, at := range []uint16{0, 2, 5} {
			f.Add(at, harm, []byte{1, 0x80, 0xff})
		}
	}
	f.Fuzz(func(t *testing.T, at uint16, harm uint8, data []byte) {
		if err := os.WriteFile(file, good, 0o600); err != nil {
			t.Fatal(err)
		}
		spoil(t, file, at, harm, data)
		d, err := openDaemon(c, bootSpeed, log.New(io.Discard, "", 0))
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" {
				t.Fatal("refused without a word")
			}
			return
		}
		ctx, cancel := context.WithCancel(context.Background())
		ended := make(chan error, 1)
		go func() { ended <- d.station.Run(ctx) }()
		said, err := d.station.Interrupted(ctx, time.Hour)
		if err == nil && said == "" {
			if _, open := d.log.Unfinished(); open {
				t.Error("an unfinished firing was passed over in silence")
			}
		}
		cancel()
		<-ended
		_ = d.close() // what cannot be written to such a log is told
	})
}

package main

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/config"
	"calx/cmd/calx/outbox"
	"calx/cmd/calx/station"
	"calx/sim/kiln"
	"calx/sim/mould"
)

func ptr(v float64) *float64 { return &v }

// well is a kiln before a firing of which nothing is to be said.
func well(t *testing.T) *before {
	now := time.Date(2026, 11, 7, 9, 0, 0, 0, time.UTC)
	sent := now.Add(-time.Hour)
	by := checking{start: now.Add(5 * time.Hour)}
	f := by.check("slow")
	require.True(t, f.OK)
	return &before{
		now: now, quiet: asleep([]config.Destination{{Quiet: "23:00 to 06:00"}}),
		config: &checkedFile{File: "calx.yaml", OK: true},
		daemon: &daemonFacts{
			status: station.Status{Kiln: "k", ChamberC: ptr(21), ColdC: ptr(23), Wall: now, Others: []station.Other{{Role: "witness", HotC: ptr(22)}}},
			tell:   &outbox.State{Destinations: []outbox.Destination{{Name: "phone", LastSent: &sent}}},
		},
		kiln:  &kiln.Params{Name: "k", Fitted: &kiln.Fitted{When: "2026-05-01", Firings: []string{"1", "2"}, Doubt: 0.03}},
		log:   &logFacts{bytes: 20 << 20, fired: 200 * time.Hour, last: sent},
		disk:  &diskFacts{folder: "/var/lib/calx", free: 8 << 30},
		clock: &clockFacts{true}, profile: &f, moulds: []mould.Params{{}},
	}
}

func TestAKilnThatIsWellPasses(t *testing.T) {
	for _, l := range well(t).judgement() {
		assert.Equal(t, passes, l.Grade, "%s: %s", l.At, l.Text)
		assert.Empty(t, l.Do, l.At)
		assert.NotEmpty(t, l.Text, l.At)
	}
}

// Each thing by itself is found, where it is, as grave as it is.
func TestEachThingThatIsWrongIsFound(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(*before)
		at    string
		grade grade
		text  string
	}{
		{"bad configuration", func(b *before) { b.config.Errors = []finding{{Line: 3, Text: "x"}} }, "calx.yaml", fails, "calx.yaml:3: x"},
		{"no heartbeat", func(b *before) { b.config.Problems = []finding{{Text: "no heartbeat"}} }, "calx.yaml", warns, "no heartbeat"},
		{"no daemon", func(b *before) { b.daemon = &daemonFacts{err: errors.New("nothing listens")} }, "daemon", fails, "nothing listens; probes and outputs were not looked at"},
		{"a firing", func(b *before) { b.daemon.status.Firing = &station.Firing{ID: 3} }, "firing", fails, "firing 3 is running"},
		{"a firing that waits", func(b *before) { b.daemon.status.Firing = &station.Firing{ID: 3, Asks: "cut for 3 h"} }, "firing", fails, "firing 3 waits for a person: cut for 3 h"},
		{"a trip", func(b *before) { b.daemon.status.Trip = &station.Trip{Firing: 3, Text: "rose"} }, "trip", fails, "firing 3 tripped and nobody has cleared it: rose"},
		{"no probe", func(b *before) { b.daemon.status.ChamberC, b.daemon.status.Fault = nil, "open" }, "chamber", fails, "no valid temperature: open"},
		{"swapped wires", func(b *before) { b.daemon.status.ChamberC = ptr(14) }, "chamber", fails, "14 °C, cold junction 23 °C: 9 °C colder than the room, which no kiln is"},
		{"a warm kiln", func(b *before) { b.daemon.status.ChamberC, b.daemon.status.Others[0].HotC = ptr(80), ptr(78) }, "chamber", warns, "the kiln is still warm"},
		{"a hot box", func(b *before) { b.daemon.status.ColdC = ptr(55) }, "chamber", warns, "the box of the amplifier is no place for one"},
		{"two that disagree", func(b *before) { b.daemon.status.Others[0].HotC = ptr(31) }, "witness", warns, "31 °C, the chamber 21 °C: in a cold kiln they agree within 8 °C"},
		{"a dead witness", func(b *before) { b.daemon.status.Others[0] = station.Other{Role: "witness", Fault: "open"} }, "witness", warns, "no valid temperature: open"},
		{"a dead warden", func(b *before) { b.daemon.status.OutputError = "warden: gone" }, "output", fails, "warden: gone"},
		{"heat without a firing", func(b *before) { b.daemon.status.Heat = true }, "output", fails, "the heat is on, and nothing is fired"},
		{"a welded relay", func(b *before) { b.pulse = &pulseFacts{closed: true, roseC: 3, took: time.Minute} }, "relay", fails, "the heat did not go off"},
		{"a dead element", func(b *before) { b.pulse = &pulseFacts{closed: true, off: true, roseC: 0.3, took: 2 * time.Minute} }, "relay", fails, "the chamber moved by 0.3 °C in 2 min"},
		{"a kiln nobody fitted", func(b *before) { b.kiln.Fitted = nil }, "kiln", warns, "never fitted"},
		{"an old fit", func(b *before) { b.kiln.Fitted.When = "2025-11-01" }, "kiln", warns, "more than a year ago"},
		{"a doubtful fit", func(b *before) { b.kiln.Fitted.Doubt = 0.2 }, "kiln", warns, "in doubt by 20 %"},
		{"a log that cannot be opened", func(b *before) { b.log = &logFacts{err: errors.New("log is damaged")} }, "log", fails, "log is damaged"},
		{"a damaged log", func(b *before) { b.log.damage = []string{"firing 2: readings 3 to 7"} }, "log", warns, "1 places cannot be read, the first: firing 2"},
		{"a full disk", func(b *before) { b.disk.free = 4 << 20 }, "disk", fails, "4096 KB free in /var/lib/calx: 0 firings of 48 h"},
		{"a disk that fills", func(b *before) { b.disk.free = 16 << 20 }, "disk", warns, "16 MB free in /var/lib/calx: 3 firings of 48 h"},
		{"a disk that is read only", func(b *before) { b.disk.readOnly = true }, "disk", fails, "cannot be written"},
		{"a clock of 1970", func(b *before) { b.daemon.status.Wall = time.Unix(0, 0) }, "clock", fails, "it shows Thu 1 Jan 1970"},
		{"a clock behind the log", func(b *before) { b.log.last = b.now.Add(time.Hour) }, "clock", fails, "the log goes on to Sat 7 Nov 2026 10:00"},
		{"a clock nobody sets", func(b *before) { b.clock.synchronised = false }, "clock", warns, "not set by the network"},
		{"nobody to tell", func(b *before) { b.daemon.tell.Destinations = nil }, "messages", warns, "nobody is told"},
		{"a phone that is not reached", func(b *before) { b.daemon.tell.Destinations[0].Error = "refused" }, "messages", fails, "phone is not reached: refused"},
		{"a phone never tried", func(b *before) { b.daemon.tell.Destinations[0].LastSent = nil }, "messages", warns, "phone has not been tried"},
		{"a test that failed", func(b *before) { b.daemon.tried = []outbox.Answer{{Name: "phone", Error: "refused"}} }, "messages", fails, "phone was not reached: refused"},
		{"a profile that cannot be", func(b *before) { b.profile = &checkedFile{File: "p.txt", Errors: []finding{{Line: 2, Text: "x"}}} }, "profile", fails, "p.txt:2: x"},
		{"a ceiling above the investment", func(b *before) { b.profile.Profile.CeilingC = ptr(780) }, "ceiling", fails, "never above 780 °C: gypsum-bonded investment breaks down above 750 °C"},
		{"a ceiling above an unknown mould", func(b *before) { b.profile.Profile.CeilingC, b.moulds = ptr(780), nil }, "ceiling", warns, "nobody said what is fired"},
		{"no ceiling", func(b *before) { b.profile.Profile.CeilingC = nil }, "ceiling", warns, "names no ceiling"},
		{"a pour in the night", func(b *before) {
			b.profile.Profile.Start = b.now.Add(10 * time.Hour)
			b.quiet = func(time.Time) bool { return true }
		}, "end", warns, "when people sleep"},
		{"a profile without an end", func(b *before) { b.profile.Profile.Stuck = true }, "end", fails, "never finishes"},
	} {
		b := well(t)
		c.spoil(b)
		var found []looked
		for _, l := range b.judgement() {
			if l.Grade != passes {
				found = append(found, l)
			}
		}
		require.Len(t, found, 1, c.name)
		assert.Equal(t, c.at, found[0].At, c.name)
		assert.Equal(t, c.grade, found[0].Grade, c.name)
		assert.Contains(t, found[0].Text, c.text, c.name)
		if c.at != "calx.yaml" {
			assert.NotEmpty(t, found[0].Do, c.name)
		}
	}
}

// A start that is put off as said ends when people are up.
func TestALaterStartEndsByDay(t *testing.T) {
	b := well(t)
	b.profile.Profile.Start, b.profile.Profile.ExpectedS = b.now, ptr(17.5*3600)
	b.profile.Profile.prof.Steps = b.profile.Profile.prof.Steps[:2] // nothing to pour
	l := b.ending()
	assert.Equal(t, looked{"end", warns, "it ends about Sun 02:30, begun Sat 09:00, when people sleep", "begin it 3 h 30 min later, about Sat 12:30"}, l)
}

// In °F differences have no offset, temperatures have.
func TestPreflightInFahrenheit(t *testing.T) {
	b := well(t)
	b.fahrenheit = true
	b.daemon.status.ChamberC = ptr(10)
	assert.Equal(t, "50 °F, cold junction 73 °F: 23 °F colder than the room, which no kiln is", b.chamber().Text)
}

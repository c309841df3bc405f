package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/cmd/calx/chart"
	"calx/cmd/calx/station"
	"calx/profile"
)

var update = flag.Bool("update", false, "rewrite the views in testdata")

func at(v float64) *float64 { return &v }

// nightScene is a firing three hours and a half in, in its second ramp.
func nightScene(t interface{ Fatal(...any) }) scene {
	p, err := profile.Parse("never above 735 C\nheat to 150 C at 60 C/h\nhold 1 h\nheat to 370 C at 75 C/h\nhold until stopped, at most 4 h\n")
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2026, 1, 9, 19, 0, 0, 0, time.UTC)
	s := scene{width: 80, height: 23, glyphs: true}
	s.past = &past{id: 4, prof: p, plan: profile.Unroll(p, profile.Outlook{StartC: 20, Start: start}), step: 3, stepAt: 190 * time.Minute}
	s.past.curve.Start, s.past.curve.CeilingC = start, 735
	now := 210 * time.Minute
	for d := time.Duration(0); d < now; d += 10 * time.Second {
		c, _, _ := s.past.plan.At(d)
		s.past.add(chart.Point{Since: d, HotC: c, SetpointC: c, Duty: 0.3})
	}
	s.st = station.Status{
		Wall: start.Add(now), ChamberC: at(174.6), SetpointC: at(175), Fault: "ok", Duty: 0.43, Heat: true, Cycles: 812, Kiln: "bench", Units: "C",
		Firing: &station.Firing{ID: 4, Name: "woody pods", Phase: "ramping", SinceS: now.Seconds(), PlannedS: 30000, Step: 3, Steps: 4,
			Sentence: "heat to 370 C at 75 C/h", EnergyKWh: 2.34, Events: []station.Event{
				{SinceS: 0, Code: "started", Severity: "info", Text: "the firing began"},
				{SinceS: 11400, Code: "step", Severity: "info", Text: `step 3, "heat to 370 C at 75 C/h" at 150 °C`},
				{SinceS: 12000, Code: "hold-back", Severity: "warn", Text: "the kiln cannot follow; the plan waits", Hint: "nothing, if the kiln is known to be weak"},
			}},
	}
	return s
}

// twoMoulds are what the observer has in nightScene.
func twoMoulds() *station.Inside {
	return &station.Inside{
		Flasks: []station.Flask{
			{Name: "pod-90", CoreC: 98.4, SurfaceC: 150, WaterLeft: 0.432, CharLeft: 0, Clear: 0},
			{Name: "leaf-65", CoreC: 160.2, SurfaceC: 170, WaterLeft: 0, CharLeft: 0.6, Clear: 0.31},
		},
		Chance: 0.0712, Want: 0.9, WantAtS: at(61505), ClearS: at(50900), DryS: at(28000), EndS: at(70000), ForeseenS: at(12540),
		Evidence: "physics alone, no test pieces; two in three within a factor of 1.9",
	}
}

func TestViews(t *testing.T) {
	moulds, mould := nightScene(t), nightScene(t)
	moulds.st.Inside, mould.st.Inside = twoMoulds(), twoMoulds()
	mould.st.Inside.Flasks = mould.st.Inside.Flasks[:1]
	mould.width, mould.height = 60, 19
	tripped := nightScene(t)
	tripped.st.Firing.Phase, tripped.st.ChamberC, tripped.st.Fault, tripped.st.Duty, tripped.st.SetpointC = "tripped", nil, "open", 0, nil
	tripped.st.Firing.Events = append(tripped.st.Firing.Events, station.Event{SinceS: 12600, Code: "no-reading", Severity: "alarm",
		Text: "no valid temperature for 10 s (open), last good 174.6 °C; the heat is off and stays off", Hint: "check the probe, its two screws at the amplifier and the cable"})
	lost := nightScene(t)
	lost.lost, lost.age = "calx has closed the connection", 35*time.Second
	done := nightScene(t)
	done.st.Last, done.st.Firing, done.st.SetpointC, done.st.Duty = done.st.Firing, nil, nil, 0
	done.st.Last.Outcome, done.st.Last.Reason = "finished", "the profile is done; the heat is off at 540 °C"
	large, narrow, plain, inF := nightScene(t), nightScene(t), nightScene(t), nightScene(t)
	large.width, large.height = 120, 39
	narrow.width, narrow.height = 60, 19
	plain.glyphs = false
	inF.inF = true
	for name, s := range map[string]scene{"running": nightScene(t), "tripped": tripped, "lost": lost, "done": done, "large": large, "narrow": narrow, "ascii": plain, "fahrenheit": inF, "moulds": moulds, "mould": mould} {
		t.Run(name, func(t *testing.T) {
			t.Setenv("TZ", "UTC")
			var b strings.Builder
			for _, l := range s.view() {
				b.WriteString(strings.TrimRight(l, " ") + "\n")
			}
			file := filepath.Join("testdata", "watch-"+name+".txt")
			if *update {
				require.NoError(t, os.WriteFile(file, []byte(b.String()), 0o644))
			}
			want, err := os.ReadFile(file)
			require.NoError(t, err)
			assert.Equal(t, string(want), b.String())
		})
	}
}

// A line that is too wide would wrap, and one too many would scroll: either
// breaks a view that is drawn over the one before.
func TestViewKeepsWithinTheTerminal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := nightScene(t)
		s.width, s.height = rapid.IntRange(1, 200).Draw(t, "width"), rapid.IntRange(1, 70).Draw(t, "height")
		s.inF, s.glyphs = rapid.Bool().Draw(t, "F"), rapid.Bool().Draw(t, "glyphs")
		text := rapid.StringOfN(rapid.RuneFrom([]rune("ab c\n\x1b[東京é\t")), 0, 120, -1)
		f := s.st.Firing
		f.Name, f.Sentence, f.Reason = text.Draw(t, "name"), text.Draw(t, "sentence"), text.Draw(t, "reason")
		f.Phase = rapid.SampledFrom([]string{"", "ramping", "waiting", "paused", "tripped", "cooling"}).Draw(t, "phase")
		f.Step = rapid.IntRange(0, 6).Draw(t, "step")
		f.Events[2].Text, f.Events[2].Hint = text.Draw(t, "event"), text.Draw(t, "hint")
		s.st.OutputError = text.Draw(t, "output")
		s.st.ChamberC = rapid.SampledFrom([]*float64{nil, at(-40), at(1350.26), at(174.6)}).Draw(t, "chamber")
		if rapid.Bool().Draw(t, "moulds") {
			in := twoMoulds()
			in.Evidence, in.Flasks[0].Name = text.Draw(t, "evidence"), text.Draw(t, "mould")
			in.Chance, in.WantAtS = rapid.Float64Range(0, 1).Draw(t, "chance"), rapid.SampledFrom([]*float64{nil, at(1e5)}).Draw(t, "wanted at")
			in.Flasks = in.Flasks[:rapid.IntRange(0, 2).Draw(t, "kinds")]
			s.st.Inside = in
		}
		if rapid.Bool().Draw(t, "no past") {
			s.past = nil
		}
		if rapid.Bool().Draw(t, "idle") {
			s.st.Firing, s.st.Last = nil, f
		}
		lines := s.view()
		if most := max(s.height, leastHeight); len(lines) > most {
			t.Fatalf("%d lines, want at most %d", len(lines), most)
		}
		for _, l := range lines {
			if n := cells(l); n > max(s.width, leastWidth) {
				t.Fatalf("%d columns, want at most %d: %q", n, max(s.width, leastWidth), l)
			}
			if strings.ContainsAny(l, "\x1b\n\t") || !utf8.ValidString(l) {
				t.Fatalf("a control character in %q", l)
			}
		}
	})
}

// daemonOf answers without a socket, so that time may be fake.
type daemonOf func(r *http.Request) (body io.Reader, err error)

func (d daemonOf) RoundTrip(r *http.Request) (*http.Response, error) {
	body, err := d(r)
	if err != nil {
		return nil, err
	}
	return &http.Response{StatusCode: http.StatusOK, Body: io.NopCloser(body), Request: r}, nil
}

// lockedBuffer is written by calx and read by the test.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

// The connection breaks in the night and comes back; the firing ends.
func TestWatchOutlivesALostConnection(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := nightScene(t)
		event := func(f func(*station.Status)) string {
			st := nightScene(t).st
			f(&st)
			b, err := json.Marshal(st)
			require.NoError(t, err)
			return "data: " + string(b) + "\n\n"
		}
		streams := 0
		cl := &client{at: "kiln:1", http: http.Client{Transport: daemonOf(func(r *http.Request) (io.Reader, error) {
			switch r.URL.Path {
			case "/api/status":
				b, err := json.Marshal(s.st)
				return bytes.NewReader(b), err
			case "/api/stream":
				streams++
				switch streams {
				case 1:
					return strings.NewReader(": still here\n\n" + event(func(*station.Status) {})), nil
				case 2, 3:
					return nil, errors.New("no route to host")
				}
				return strings.NewReader(event(func(st *station.Status) {
					st.Last, st.Firing = st.Firing, nil
					st.Last.Outcome, st.Last.Reason = "tripped", "no valid temperature"
				})), nil
			}
			return nil, errors.New("not found")
		})}}
		var out lockedBuffer
		e := &env{ctx: context.Background(), out: &out, err: io.Discard, width: 80, height: 24}
		err := follow(e, cl, watching{until: 4})
		assert.EqualError(t, err, "firing 4 tripped: no valid temperature")
		text := out.b.String()
		assert.Contains(t, text, "connection lost: calx has closed the connection; trying again")
		assert.Contains(t, text, "connection lost: no calx answers at kiln:1: no route to host; trying again")
		assert.Equal(t, 2, strings.Count(text, "connection lost"), "said once each\n"+text)
		assert.Contains(t, text, "warn   the kiln cannot follow; the plan waits; nothing, if the kiln is known to be weak")
		assert.Equal(t, 1, strings.Count(text, "the firing began"), "events are told once\n"+text)
	})
}

// A daemon that accepts and then says nothing must not look like a calm kiln.
func TestASilentStreamEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, w := io.Pipe()
		cl := &client{at: "kiln:1", http: http.Client{Transport: daemonOf(func(q *http.Request) (io.Reader, error) {
			context.AfterFunc(q.Context(), func() { _ = w.CloseWithError(q.Context().Err()) })
			return r, nil
		})}}
		began := time.Now()
		err := cl.stream(t.Context(), quietFor, func([]byte) error { return nil })
		assert.ErrorIs(t, err, errQuiet)
		assert.Equal(t, quietFor, time.Since(began))
	})
}

// No spike is thinned away, and time keeps rising.
func TestThePastKeepsSpikes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p past
		temps := rapid.SliceOfN(rapid.Float64Range(0, 1300), 1, 200).Draw(t, "temps")
		lo, hi := temps[0], temps[0]
		for i, c := range temps {
			p.add(chart.Point{Since: time.Duration(i) * 3 * time.Second, HotC: c})
			lo, hi = min(lo, c), max(hi, c)
		}
		gotLo, gotHi, before := temps[0], temps[0], time.Duration(-1)
		for _, q := range p.chart(station.Status{}, false).Points {
			if q.Since <= before {
				t.Fatalf("%v comes after %v", q.Since, before)
			}
			before, gotLo, gotHi = q.Since, min(gotLo, q.HotC), max(gotHi, q.HotC)
		}
		if gotLo != lo || gotHi != hi {
			t.Fatalf("kept %v to %v of %v to %v", gotLo, gotHi, lo, hi)
		}
	})
}

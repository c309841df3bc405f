package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/web"
	"calx/sim/kiln"
	"calx/storage"
	"calx/storage/record"
)

// logOf holds firings of some minutes each.
func logOf(t testing.TB, firings int) *storage.Log {
	l, err := storage.Open(filepath.Join(t.TempDir(), logName), nil)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, l.Close()) })
	text, err := kiln.ShippedFile("bench-9l-brick")
	require.NoError(t, err)
	for i := range firings {
		h := record.Firing{Name: fmt.Sprint("night ", i), Kiln: string(text), Channels: []record.Channel{{Role: "chamber"}}, PeriodMS: 1000}
		id, err := l.Begin(h)
		require.NoError(t, err)
		for j := range 300 {
			r := record.Reading{Seq: uint64(j), Since: time.Duration(j) * time.Second, Relay: j%60 < 20, EnergyJ: float64(j), Channels: []record.Sample{{HotC: 20 + float64(j)}}}
			require.NoError(t, l.Append(id, r, nil, nil))
		}
		require.NoError(t, l.End(id, "finished", "", time.Unix(1e9, 0)))
	}
	return l
}

// What the daemon keeps of a firing is what reading it gives, and a list of
// firings takes it from there.
func TestFiguresAreKeptAndUsed(t *testing.T) {
	l := logOf(t, 3)
	d := &daemon{log: l, say: log.New(io.Discard, "", 0), metrics: web.NewMetrics("test", time.Second)}
	none, err := keptFigures(l)
	require.NoError(t, err)
	assert.Empty(t, none)
	d.keepAll(context.Background())
	k, err := keptFigures(l)
	require.NoError(t, err)
	require.Len(t, k, 3)
	heads, err := l.Firings()
	require.NoError(t, err)
	text, p := presentKiln(heads)
	for _, h := range heads {
		again, err := measureFiring(l, h, p, text)
		require.NoError(t, err)
		assert.Equal(t, again.Encode(), k[h.ID].Encode())
		kept, err := k.row(l, h)
		require.NoError(t, err)
		read, err := figuresKept{}.row(l, h)
		require.NoError(t, err)
		assert.Equal(t, read, kept)
		assert.Equal(t, 300, kept.Readings)
		assert.EqualValues(t, 319, kept.PeakC)
	}
	r, err := lookAtHealth(context.Background(), l, func(int, int) {})
	require.NoError(t, err)
	assert.EqualValues(t, 15, r.Cycles)
	assert.Equal(t, 3, r.Firings)
}

// The page and the command work from one report: the same object, whichever is
// asked.
func TestHealthIsTheSameEverywhere(t *testing.T) {
	l := logOf(t, 4)
	d := &daemon{log: l, say: log.New(io.Discard, "", 0), metrics: web.NewMetrics("test", time.Second)}
	d.keepAll(context.Background())
	served := httptest.NewRecorder()
	web.New(web.Options{Log: l, Metrics: d.metrics}).ServeHTTP(served, httptest.NewRequest("GET", "/api/health", nil))
	require.Equal(t, 200, served.Code, served.Body)
	copied := filepath.Join(t.TempDir(), logName)
	f, err := os.Create(copied)
	require.NoError(t, err)
	require.NoError(t, errors.Join(l.Snapshot(f), f.Close()))
	told, err := call("show", "--health", "--json", "--data", copied)
	require.NoError(t, err)
	assert.JSONEq(t, told, served.Body.String())
	assert.Contains(t, served.Body.String(), `"relay_cycles":20`)
}

// A list of many firings from kept figures.
func BenchmarkList(b *testing.B) {
	l := logOf(b, 100)
	d := &daemon{log: l, say: log.New(io.Discard, "", 0), metrics: web.NewMetrics("test", time.Second)}
	d.keepAll(context.Background())
	for b.Loop() {
		heads, err := l.Firings()
		require.NoError(b, err)
		k, err := keptFigures(l)
		require.NoError(b, err)
		for _, h := range heads {
			_, err := k.row(l, h)
			require.NoError(b, err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/100, "us/firing")
}

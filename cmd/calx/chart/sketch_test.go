package chart

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/storage/record"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// golden compares with a file of testdata, or rewrites it.
func golden(t *testing.T, name string, got []byte, same func(want, got string)) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, got, 0o644))
		return
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run go test -update once")
	same(string(want), string(got))
}

func running() Firing {
	f := invented()
	f.Points, f.Events, f.Plan, f.Now = f.Points[:400], f.Events[:3], corners, 399*time.Minute
	return f
}

func fahrenheit(f Firing) Firing {
	f.Fahrenheit = true
	return f
}

func TestSketchGolden(t *testing.T) {
	for _, tt := range []struct {
		file string
		f    Firing
		o    SketchOpts
	}{
		{"finished-80.txt", invented(), SketchOpts{Width: 80, Height: 24, Unicode: true}},
		{"troubled-80.txt", troubled(), SketchOpts{Width: 80, Height: 24, Unicode: true}},
		{"troubled-60-ascii.txt", fahrenheit(troubled()), SketchOpts{Width: 60, Height: 24}},
		{"running-80-color.txt", fahrenheit(running()), SketchOpts{Color: true, Unicode: true}},
		{"finished-132.txt", invented(), SketchOpts{Width: 132, Height: 40, Unicode: true}},
		{"empty-60.txt", Firing{}, SketchOpts{Width: 60, Height: 14, Unicode: true}},
	} {
		t.Run(tt.file, func(t *testing.T) {
			var b bytes.Buffer
			require.NoError(t, Sketch(&b, tt.f, tt.o))
			golden(t, tt.file, b.Bytes(), func(want, got string) { assert.Equal(t, want, got) })
		})
	}
}

// assertFits checks the promise of SketchOpts on a sketch without colour.
func assertFits(t assert.TestingT, out string, w, h int) {
	lines := strings.Split(strings.TrimSuffix(out, "\n"), "\n")
	assert.LessOrEqual(t, len(lines), h, "lines")
	for _, l := range lines {
		assert.LessOrEqual(t, cellsIn(l), w, "%q", l)
		assert.Equal(t, strings.TrimRight(l, " "), l, "trailing blanks")
		for _, r := range l {
			assert.True(t, unicode.IsPrint(r), "control character %q in %q", r, l)
		}
	}
}

func TestSketchNeverExceedsItsSize(t *testing.T) {
	label := rapid.StringOf(rapid.RuneFrom([]rune("abc °µ窯\x1b\n\u0301·")))
	rapid.Check(t, func(t *rapid.T) {
		f := troubled()
		f.Title = label.Draw(t, "title")
		f.Extra[0].Name = label.Draw(t, "series")
		f.Extra[1].Name = label.Draw(t, "fraction")
		for range rapid.IntRange(0, 40).Draw(t, "events") {
			f.Events = append(f.Events, Mark{f.end(), label.Draw(t, "label"), record.Severity(rapid.IntRange(0, 2).Draw(t, "severity"))})
		}
		o := SketchOpts{
			Width: rapid.IntRange(40, 200).Draw(t, "width"), Height: rapid.IntRange(14, 60).Draw(t, "height"),
			Unicode: rapid.Bool().Draw(t, "unicode"),
		}
		var b bytes.Buffer
		assert.NoError(t, Sketch(&b, f, o))
		assertFits(t, b.String(), o.Width, o.Height)
		if !o.Unicode {
			for _, r := range b.String() {
				assert.Less(t, r, rune(0x80))
			}
		}
	})
}

func TestSketchShowsASpikeOfOneReading(t *testing.T) {
	f := invented()
	for i := range f.Points {
		f.Points[i].HotC, f.Points[i].SetpointC = 20, 20
	}
	f.Points[700].HotC, f.Events, f.CeilingC = 700, nil, 0
	for _, unicode := range []bool{true, false} {
		var b bytes.Buffer
		require.NoError(t, Sketch(&b, f, SketchOpts{Unicode: unicode}))
		lines := strings.Split(b.String(), "\n")
		marked := 0
		for _, l := range lines[2:20] {
			if strings.Trim(l, " 0123456789│┤|+") != "" {
				marked++
			}
		}
		assert.GreaterOrEqual(t, marked, 15, "the spike crosses the whole height:\n%s", b.String())
	}
}

func TestSketchWithoutColourHasNone(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Sketch(&b, troubled(), SketchOpts{Unicode: true}))
	assert.NotContains(t, b.String(), "\x1b")
}

func BenchmarkSketch(b *testing.B) {
	f := night20h()
	for b.Loop() {
		_ = Sketch(new(bytes.Buffer), f, SketchOpts{Unicode: true})
	}
}

// night20h is a firing of 20 h at one reading a second.
func night20h() Firing {
	f := invented()
	f.Points = nil
	for s := range 72000 {
		t := time.Duration(s) * time.Second
		c := plannedAt(t)
		f.Points = append(f.Points, Point{t, c, c, c / 1100})
	}
	return f
}

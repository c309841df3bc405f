package chart

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/storage/record"
)

var number = regexp.MustCompile(`-?\d+(\.\d+)?(e[+-]?\d+)?`)

// sameDrawing compares two SVG texts: everything but numbers exactly, numbers
// within a fiftieth of a point, because another processor may fuse a multiply
// with an add.
func sameDrawing(t *testing.T, want, got string) {
	t.Helper()
	require.Equal(t, number.ReplaceAllString(want, "#"), number.ReplaceAllString(got, "#"))
	w, g := number.FindAllString(want, -1), number.FindAllString(got, -1)
	require.Len(t, g, len(w))
	for i := range w {
		a, _ := strconv.ParseFloat(w[i], 64)
		b, _ := strconv.ParseFloat(g[i], 64)
		if math.Abs(a-b) > 0.02 {
			require.Equal(t, w[i], g[i], "number %d", i)
		}
	}
}

func TestSVGGolden(t *testing.T) {
	for _, tt := range []struct {
		file string
		f    Firing
		w, h int
	}{
		{"finished-1000x640.svg", invented(), 1000, 640},
		{"troubled-720x960.svg", fahrenheit(troubled()), 720, 960},
	} {
		t.Run(tt.file, func(t *testing.T) {
			var a, b bytes.Buffer
			require.NoError(t, SVG(&a, tt.f, tt.w, tt.h))
			require.NoError(t, SVG(&b, tt.f, tt.w, tt.h))
			require.Equal(t, a.String(), b.String(), "the same firing gives the same bytes")
			golden(t, tt.file, a.Bytes(), func(want, got string) { sameDrawing(t, want, got) })
		})
	}
}

func TestPNGIsDeterministicAndOfItsSize(t *testing.T) {
	var a, b bytes.Buffer
	require.NoError(t, PNG(&a, troubled(), 720, 960))
	require.NoError(t, PNG(&b, troubled(), 720, 960))
	assert.Equal(t, a.Bytes(), b.Bytes())
	c, err := png.DecodeConfig(&a)
	require.NoError(t, err)
	assert.Equal(t, [2]int{720, 960}, [2]int{c.Width, c.Height})
	if dir := os.Getenv("CALX_LOOK"); dir != "" { // to look at, not a check
		for name, f := range map[string]Firing{"finished": invented(), "troubled": troubled(), "running": fahrenheit(running()), "empty": {}} {
			for _, size := range [][2]int{{1000, 640}, {720, 960}, {320, 320}} {
				var b bytes.Buffer
				require.NoError(t, PNG(&b, f, size[0], size[1]))
				require.NoError(t, os.WriteFile(filepath.Join(dir, fmt.Sprintf("%s-%d.png", name, size[0])), b.Bytes(), 0o644))
			}
		}
	}
}

func TestImageSizesOutOfRange(t *testing.T) {
	for _, size := range [][2]int{{0, 0}, {100, 640}, {1000, 9000}, {-5, 400}} {
		assert.ErrorContains(t, PNG(new(bytes.Buffer), Firing{}, size[0], size[1]), "from 320 to 8000 px")
		assert.Error(t, SVG(new(bytes.Buffer), Firing{}, size[0], size[1]))
	}
}

// written is one text of a picture with the box it fills, px.
type written struct {
	str            string
	size           float64
	x0, y0, x1, y1 float64
}

// readTexts finds every text of an SVG of the height h, px.
func readTexts(t *testing.T, svg []byte, h float64) []written {
	t.Helper()
	var doc struct {
		Texts []struct {
			X     float64 `xml:"x,attr"`
			Y     float64 `xml:"y,attr"`
			Style string  `xml:"style,attr"`
			Str   string  `xml:",chardata"`
		} `xml:"g>text"`
	}
	require.NoError(t, xml.Unmarshal(svg, &doc))
	size := regexp.MustCompile(`font-size:([\d.]+)px`)
	var out []written
	for _, x := range doc.Texts {
		m := size.FindStringSubmatch(x.Style)
		require.NotNil(t, m, x.Style)
		pt, err := strconv.ParseFloat(m[1], 64)
		require.NoError(t, err)
		st := style{size: pt / pointsPerPixel, bold: strings.Contains(x.Style, "bold")}
		w := written{str: x.Str, size: st.size, x0: x.X / pointsPerPixel}
		base := h + x.Y/pointsPerPixel
		// digits and capitals of Liberation Sans are 0.69 of its size high
		w.x1, w.y0, w.y1 = w.x0+st.width(x.Str), base-0.69*st.size, base
		out = append(out, w)
	}
	return out
}

// No two texts of a picture touch, none leaves it, none is too small to read.
func TestTextsDoNotOverlap(t *testing.T) {
	crowded := troubled()
	for i := range 60 {
		crowded.Events = append(crowded.Events, Mark{crowded.end(), "again", record.Severity(i % 3)})
	}
	short := invented()
	short.Points = short.Points[:3]
	short.Events = short.Events[:1]
	for name, f := range map[string]Firing{
		"finished": invented(), "troubled": troubled(), "running": fahrenheit(running()),
		"crowded": crowded, "short": short, "empty": {},
	} {
		for _, size := range [][2]int{{1000, 640}, {720, 960}, {320, 320}, {1920, 1080}, {400, 2000}} {
			t.Run(fmt.Sprintf("%s %v", name, size), func(t *testing.T) {
				var b bytes.Buffer
				require.NoError(t, SVG(&b, f, size[0], size[1]))
				got := readTexts(t, b.Bytes(), float64(size[1]))
				require.NotEmpty(t, got)
				for i, a := range got {
					assert.GreaterOrEqual(t, a.size, 10.3, "%q", a.str)
					assert.True(t, a.x0 >= 0 && a.y0 >= 0 && a.x1 <= float64(size[0]) && a.y1 <= float64(size[1]),
						"%q leaves the picture: %.0f,%.0f to %.0f,%.0f", a.str, a.x0, a.y0, a.x1, a.y1)
					for _, o := range got[:i] {
						apart := a.x1 <= o.x0 || o.x1 <= a.x0 || a.y1 <= o.y0 || o.y1 <= a.y0
						assert.True(t, apart, "%q and %q overlap", o.str, a.str)
					}
				}
			})
		}
	}
}

func TestTypeIsReadable(t *testing.T) {
	assert.GreaterOrEqual(t, smallSize*typeSize(1000, 640), 11.0, "px on a screen")
	assert.GreaterOrEqual(t, smallSize*typeSize(720, 960), 15.0, "a phone shows 720 px at about half")
}

// Contrast ratio by W3C, Web Content Accessibility Guidelines 2.1, "relative
// luminance" and "contrast ratio"; 1.4.3 asks for 4.5 on text, 1.4.11 for 3 on
// graphics. Measured against planned is held to the same 3: lightness alone
// then tells them apart, for every kind of colour vision.
func TestContrast(t *testing.T) {
	assert.InDelta(t, 21, contrast(rgb(0xFFFFFF), rgb(0)), 0.01, "white on black, from the definition")
	for name, c := range map[string]color.NRGBA{"ink": ink, "muted": muted, "madder": madder, "umber": umber, "pending": pending} {
		assert.GreaterOrEqual(t, contrast(c, paper), 4.5, "%s on paper", name)
	}
	for name, c := range map[string]color.NRGBA{"deep": deep, "ochre": ochre, "reed": reed, "slate": slate} {
		assert.GreaterOrEqual(t, contrast(c, paper), 3.0, "%s on paper", name)
	}
	for i, c := range extraInk {
		assert.GreaterOrEqual(t, contrast(c, paper), 3.0, "extra %d on paper", i)
	}
	assert.GreaterOrEqual(t, contrast(deep, ochre), 3.0, "measured on planned")
}

func contrast(a, b color.NRGBA) float64 {
	la, lb := luminance(a)+0.05, luminance(b)+0.05
	return max(la, lb) / min(la, lb)
}

func luminance(c color.NRGBA) float64 {
	linear := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.03928 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(c.R) + 0.7152*linear(c.G) + 0.0722*linear(c.B)
}

func BenchmarkPNG(b *testing.B) {
	f := night20h()
	for b.Loop() {
		_ = PNG(new(bytes.Buffer), f, 1000, 640)
	}
}

func BenchmarkSVG(b *testing.B) {
	f := night20h()
	for b.Loop() {
		_ = SVG(new(bytes.Buffer), f, 1000, 640)
	}
}

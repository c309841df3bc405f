package web_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/cmd/calx/health"
	"calx/cmd/calx/summary"
	"calx/cmd/calx/web"
	"calx/sim/kiln"
	"calx/storage"
	"calx/storage/record"
)

// pageRig is a handler without a station: the page reads the report and the
// log alone.
func pageRig(t *testing.T) *rig {
	l, err := storage.Open(filepath.Join(t.TempDir(), "calx.db"), nil)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, l.Close()) })
	r := &rig{log: l, metrics: web.NewMetrics("test", time.Second)}
	r.handler = web.New(web.Options{Log: l, Metrics: r.metrics})
	return r
}

// wearing is the report of a kiln whose elements lose so much from firing to
// firing; rich adds a second thermocouple and one in a core.
func wearing(t testing.TB, name string, n int, each float64, rich bool) health.Report {
	text, err := kiln.ShippedFile("jewellery-5l-brick-120v")
	require.NoError(t, err)
	p, err := kiln.Load(name, text)
	require.NoError(t, err)
	p.Name = name
	un := health.Estimate{Value: summary.Unknown(), SE: summary.Unknown()}
	var es []health.Entry
	for i := range n {
		f := health.Figures{PeakC: 720, DurationS: 50000, EnergyJ: 36e6, Cycles: 2600, Second: un, Inversion: un}
		f.Power = health.Estimate{Value: summary.Number(1 - each*float64(i) + 0.004*math.Sin(9*float64(i))), SE: 0.01}
		f.Loss = health.Estimate{Value: summary.Number(1 + 0.005*math.Cos(7*float64(i))), SE: 0.01}
		if i == 4 {
			f.Power.SE = 0.09
		}
		if i == 5 {
			f.Power, f.Loss = un, un
		}
		if rich {
			f.Second = health.Estimate{Value: summary.Number(-2 + 0.1*float64(i)), SE: 0.2}
			f.Inversion = health.Estimate{Value: summary.Number(570 + i%3), SE: 2}
		}
		es = append(es, health.Entry{ID: uint64(i + 1), Started: time.Date(2026, 1, 1+i, 18, 0, 0, 0, time.UTC), Figures: f})
	}
	r := health.Look(p, es)
	r.Units = "C"
	return r
}

func TestKilnPage(t *testing.T) {
	r := pageRig(t)
	r.metrics.SetHealth(wearing(t, "little one", 30, 0.006, true))
	w := r.ask("GET", "/kiln", "")
	require.Equal(t, http.StatusOK, w.Code)
	assert.Equal(t, "text/html; charset=utf-8", w.Header().Get("Content-Type"))
	assert.Equal(t, "no-store", w.Header().Get("Cache-Control"))
	body := w.Body.String()
	for _, s := range []string{
		"The elements give 83\u00a0% of what the kiln file says", "720\u00a0°C is out of reach in about", "little one",
		"<h2 id=\"part-1\">Elements</h2>", "Heat loss</h2>", "Relay</h2>", "Second thermocouple</h2>", "Quartz inversion</h2>",
		"licensed electrician", "too unsure to count", "<b>78000</b> of 500000 cycles, 16\u00a0%",
	} {
		assert.Contains(t, body, s)
	}
	assert.NotContains(t, body, "°F</th>")
	for _, c := range []struct{ path, has, not string }{
		{"/kiln?units=F", "1328\u00a0°F is out of reach", "0\u00a0°C"},
		{"/kiln?units=c", "720\u00a0°C is out of reach", "0\u00a0°F"},
	} {
		text := r.ask("GET", c.path, "").Body.String()
		assert.Contains(t, text, c.has, c.path)
		assert.NotContains(t, text, c.not, c.path)
	}
	f := wearing(t, "little one", 30, 0.006, true)
	f.Units = "F"
	r.metrics.SetHealth(f)
	assert.Contains(t, r.ask("GET", "/kiln", "").Body.String(), "1328\u00a0°F is out of reach", "as its firings are read")
	w = r.ask("GET", "/kiln?units=K", "")
	assert.Equal(t, http.StatusBadRequest, w.Code)
	assert.Contains(t, w.Body.String(), "must be C or F")
}

// The policy lets in the style sheet of the page and nothing else: its hash is
// of what stands between the tags (W3C, Content Security Policy Level 3, 2.3.1).
func TestPageFetchesNothing(t *testing.T) {
	r := pageRig(t)
	r.metrics.SetHealth(wearing(t, "k", 30, 0.006, true))
	w := r.ask("GET", "/kiln", "")
	style := regexp.MustCompile(`(?s)<style>(.*)</style>`).FindStringSubmatch(w.Body.String())
	require.NotNil(t, style)
	sum := sha256.Sum256([]byte(style[1]))
	assert.Equal(t, "default-src 'none'; style-src 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'", w.Header().Get("Content-Security-Policy"))
	assert.NotRegexp(t, `<script|<link|<img|<iframe|https?:|src=|@import|url\(| style=| on[a-z]+=`, w.Body.String())
}

func TestKilnNameIsEscaped(t *testing.T) {
	r := pageRig(t)
	r.metrics.SetHealth(wearing(t, `<img src=x>"&'`+"\u202e\x1b", 12, 0.006, false))
	body := r.ask("GET", "/kiln", "").Body.String()
	assert.Contains(t, body, `</small>&lt;img src=x&gt;&#34;&amp;&#39;</h1>`)
	assert.NotContains(t, body, "<img")
	checkPage(t, body)
}

func TestKilnBeforeAnythingIsKnown(t *testing.T) {
	r := pageRig(t)
	says := func(text string) {
		t.Helper()
		w := r.ask("GET", "/kiln", "")
		assert.Equal(t, http.StatusOK, w.Code)
		assert.Contains(t, w.Body.String(), text)
		checkPage(t, w.Body.String())
		w = r.ask("GET", "/api/health", "")
		assert.Equal(t, http.StatusNotFound, w.Code)
		assert.Contains(t, w.Body.String(), text)
	}
	says("No firing has ended yet")
	id, err := r.log.Begin(record.Firing{Name: "night", Channels: []record.Channel{{Role: "chamber"}}, PeriodMS: 1000})
	require.NoError(t, err)
	says("A firing is under way")
	require.NoError(t, r.log.End(id, "finished", "", time.Unix(1e9, 0)))
	says("look again in a minute")
	r.metrics.SetHealth(wearing(t, "k", 2, 0.006, false))
	body := r.ask("GET", "/kiln", "").Body.String()
	assert.Contains(t, body, "Nothing can be told of wear yet")
	assert.NotContains(t, body, "it counts when it has ended")
	_, err = r.log.Begin(record.Firing{Name: "night", Channels: []record.Channel{{Role: "chamber"}}, PeriodMS: 1000})
	require.NoError(t, err)
	assert.Contains(t, r.ask("GET", "/kiln", "").Body.String(), "it counts when it has ended")
}

func TestHealthAsJSON(t *testing.T) {
	r := pageRig(t)
	report := wearing(t, "k", 30, 0.006, true)
	r.metrics.SetHealth(report)
	w := r.ask("GET", "/api/health", "")
	assert.Equal(t, "application/json", w.Header().Get("Content-Type"))
	want, err := json.Marshal(report)
	require.NoError(t, err)
	assert.JSONEq(t, string(want), w.Body.String())
}

// Whatever the firings were, the page is well formed, drawings stay within
// their frames, and no number is none.
func TestPageOfAnyHistory(t *testing.T) {
	r := pageRig(t)
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 60).Draw(rt, "firings")
		each := rapid.SampledFrom([]float64{-0.01, 0, 0.0005, 0.002, 0.006, 0.015}).Draw(rt, "each")
		r.metrics.SetHealth(wearing(t, "k", n, each, rapid.Bool().Draw(rt, "rich")))
		body := r.ask("GET", "/kiln?units="+rapid.SampledFrom([]string{"C", "F"}).Draw(rt, "units"), "").Body.String()
		checkPage(rt, body)
		if strings.Contains(body, `class="cross"`) != strings.Contains(body, `class="reach"`) {
			rt.Fatal("a forecast without its interval")
		}
	})
}

type failer interface {
	Errorf(format string, args ...any)
	FailNow()
}

// checkPage holds a page against what makes it legible to any reader: XML that
// closes (W3C, Polyglot Markup; from memory),
// names that exist (WAI-ARIA 1.2, aria-labelledby), headings without a gap and
// heads of columns with a scope (W3C, WCAG 2.2, techniques G141 and H63).
func checkPage(t failer, body string) {
	d := xml.NewDecoder(strings.NewReader(body))
	d.Entity = xml.HTMLEntity
	ids, refs, heads, level := map[string]bool{}, []string{}, 0, 0
	height := []float64{}
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		if e, end := token.(xml.EndElement); end && e.Name.Local == "svg" {
			height = height[:len(height)-1]
		}
		e, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		at := map[string]string{}
		for _, a := range e.Attr {
			at[a.Name.Local] = a.Value
		}
		if id := at["id"]; id != "" {
			assert.False(t, ids[id], "id %s twice", id)
			ids[id] = true
		}
		refs = append(refs, strings.Fields(at["aria-labelledby"]+" "+at["aria-describedby"])...)
		switch name := e.Name.Local; name {
		case "html":
			assert.Equal(t, "en", at["lang"])
		case "h1", "h2", "h3":
			now := int(name[1] - '0')
			assert.LessOrEqual(t, now, level+1, "a heading is left out")
			if level = now; now == 1 {
				heads++
			}
		case "th":
			assert.NotEmpty(t, at["scope"])
		case "svg":
			var h float64
			_, err := fmt.Sscan(at["height"], &h)
			assert.NoError(t, err)
			height = append(height, h)
		case "circle":
			inFrame(t, at["cx"], at["cy"], height[len(height)-1])
		case "line":
			inFrame(t, at["x1"], at["y1"], height[len(height)-1])
			inFrame(t, at["x2"], at["y2"], height[len(height)-1])
		}
	}
	assert.Equal(t, 1, heads, "h1")
	for _, id := range refs {
		assert.True(t, ids[id], "nothing is called %s", id)
	}
	assert.NotRegexp(t, `NaN|[^a-z]Inf|ZgotmplZ|%!`, body)
}

func inFrame(t failer, x, y string, height float64) {
	var px, py float64
	_, err := fmt.Sscanf(strings.TrimSuffix(x, "%")+" "+y, "%g %g", &px, &py)
	assert.NoError(t, err, "%s %s", x, y)
	assert.True(t, px >= 0 && px <= 100 && py >= 0 && py <= height, "%s, %s is outside of 100 %% and %g", x, y, height)
}

// Contrast of the colours on either paper: 4.5 to 1 for words, 3 to 1 for what
// a drawing is read by (W3C, WCAG 2.2, 1.4.3 and 1.4.11; relative luminance as
// defined there).
func TestContrast(t *testing.T) {
	r := pageRig(t)
	body := r.ask("GET", "/kiln", "").Body.String()
	roots := regexp.MustCompile(`:root \{([^}]*--ink[^}]*)\}`).FindAllStringSubmatch(body, -1)
	require.Len(t, roots, 2, "light and dark")
	for i, root := range roots {
		ink := map[string]float64{}
		for _, m := range regexp.MustCompile(`--([a-z]+): #([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})`).FindAllStringSubmatch(root[1], -1) {
			ink[m[1]] = luminance(t, m[2:])
		}
		require.Len(t, ink, 10)
		for name, least := range map[string]float64{"ink": 4.5, "muted": 4.5, "deep": 4.5, "madder": 4.5, "reed": 4.5, "slate": 3} {
			c := contrast(ink[name], ink["paper"])
			assert.GreaterOrEqual(t, c, least, "%s on paper %d", name, i)
		}
		assert.GreaterOrEqual(t, contrast(ink["deep"], ink["haze"]), 3.0, "the line on its band")
		assert.GreaterOrEqual(t, contrast(ink["deep"], ink["rule"]), 3.0, "what is worn on its track")
	}
	// Black on white is 21 to 1, by the definition.
	assert.InDelta(t, 21, contrast(luminance(t, []string{"00", "00", "00"}), luminance(t, []string{"ff", "ff", "ff"})), 1e-9)
}

func luminance(t *testing.T, rgb []string) (l float64) {
	for i, share := range []float64{0.2126, 0.7152, 0.0722} {
		var v int
		_, err := fmt.Sscanf(rgb[i], "%x", &v)
		require.NoError(t, err)
		c := float64(v) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		l += share * c
	}
	return l
}

func contrast(a, b float64) float64 {
	return (math.Max(a, b) + 0.05) / (math.Min(a, b) + 0.05)
}

func BenchmarkKilnPage(b *testing.B) {
	l, err := storage.Open(filepath.Join(b.TempDir(), "calx.db"), nil)
	require.NoError(b, err)
	defer l.Close()
	r := &rig{log: l, metrics: web.NewMetrics("test", time.Second)}
	r.handler = web.New(web.Options{Log: l, Metrics: r.metrics})
	r.metrics.SetHealth(wearing(b, "k", 30, 0.006, true))
	for b.Loop() {
		w := r.ask("GET", "/kiln", "")
		b.ReportMetric(float64(len(bytes.TrimSpace(w.Body.Bytes()))), "bytes")
	}
}

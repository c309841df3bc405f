package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"net/http"
	"regexp"
	"strings"

	"calx/cmd/calx/health"
)

// page is what every page for people has: one file, nothing fetched to show
// it, legible without a script.
type page struct {
	Kind  string // what page it is
	Title string
	Units []unitLink   // none: the page shows no temperature
	Style template.CSS // show fills it in
	Body  any          // what the template of the page needs
}

// unitLink is a unit that can be chosen.
type unitLink struct {
	Letter string
	Now    bool
}

//go:embed assets
var assets embed.FS

var pages = template.Must(template.New("").Funcs(template.FuncMap{
	"tied": tied,
	"pct":  func(v float64) string { return figure(v) + "%" },
	"px":   figure,
	"add":  func(a, b float64) float64 { return a + b },
}).ParseFS(assets, "assets/*.html"))

var style = func() template.CSS {
	b, err := assets.ReadFile("assets/page.css")
	if err != nil {
		panic("BUG: " + err.Error())
	}
	return template.CSS(b)
}()

// policy lets a browser show the page with this very style sheet and do
// nothing else (W3C, Content Security Policy Level 3, 2.3.1).
var policy = func() string {
	sum := sha256.Sum256([]byte(style))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
}()

// show answers with a page made by the template of this name.
func show(w http.ResponseWriter, code int, name string, p page) {
	p.Style = style
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, name, p); err != nil {
		panic("BUG: " + err.Error())
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Security-Policy", policy)
	h.Set("Referrer-Policy", "no-referrer")
	w.WriteHeader(code)
	_, _ = w.Write(b.Bytes()) // a client that has gone cannot be told
}

// showWords answers with paragraphs only.
func showWords(w http.ResponseWriter, code int, p page, words ...string) {
	p.Body = words
	show(w, code, "word", p)
}

// unitsOf is the unit that ?units= asks for, otherwise the usual one.
func unitsOf(r *http.Request, usual string) (u health.Units, err error) {
	switch asked := r.URL.Query().Get("units"); strings.ToUpper(asked) {
	case "":
		return health.Units{InF: usual == "F"}, nil
	case "C":
		return health.Units{}, nil
	case "F":
		return health.Units{InF: true}, nil
	default:
		return u, fmt.Errorf("units is %q; it must be C or F", asked)
	}
}

func unitLinks(u health.Units) []unitLink { return []unitLink{{"C", !u.InF}, {"F", u.InF}} }

var (
	unitAfter = regexp.MustCompile(`(\d) (°C|°F|%|kWh|firings?\b)`)
	unitFor   = regexp.MustCompile(`± (\d)`)
	rangeOf   = regexp.MustCompile(`(\d) (to|or) ([+-]?\d|more)`)
	minus     = regexp.MustCompile(`(^|[ \x{a0}(])-(\d)`)
)

// tied keeps figures with their units, and sets a true minus.
func tied(s string) string {
	s = unitAfter.ReplaceAllString(s, "$1\u00a0$2")
	s = unitFor.ReplaceAllString(s, "±\u00a0$1")
	s = rangeOf.ReplaceAllString(s, "$1\u00a0$2\u00a0$3")
	return minus.ReplaceAllString(s, "$1\u2212$2")
}

// figure is a coordinate: two decimals are a hundredth of a pixel.
func figure(v float64) string {
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.2f", v), "0"), ".")
}

package web

import (
	"net/http"
	"strings"
	"unicode"

	"calx/cmd/calx/health"
)

// wear adds the paths of the kiln over all its firings.
func (a *api) wear(m *http.ServeMux) {
	m.HandleFunc("GET /kiln", a.kilnPage)
	m.HandleFunc("GET /api/health", a.kilnHealth)
}

// report is the health as it was worked out last; nil, and why, before that.
func (a *api) report() (*health.Report, string) {
	if r := a.Metrics.wear.report.Load(); r != nil && r.Firings > 0 {
		return r, ""
	}
	if _, running := a.Log.Unfinished(); running {
		return nil, "A firing is under way. The health of the kiln is worked out when it has ended."
	}
	heads, _ := a.Log.Firings()
	for _, h := range heads {
		if h.Outcome != "" && h.Imported == "" {
			return nil, "The health of the kiln is being worked out from its firings; look again in a minute."
		}
	}
	return nil, "No firing has ended yet, so nothing is known of the health of this kiln."
}

// kilnHealth answers with the object of calx show --health --json.
func (a *api) kilnHealth(w http.ResponseWriter, _ *http.Request) {
	r, why := a.report()
	if r == nil {
		refuse(w, http.StatusNotFound, "%s", why)
		return
	}
	write(w, http.StatusOK, r)
}

// kilnKind is the name of the page.
const kilnKind = "Health of the kiln"

// kilnPage shows it to a person.
func (a *api) kilnPage(w http.ResponseWriter, q *http.Request) {
	r, why := a.report()
	usual := ""
	if r != nil {
		usual = r.Units
	}
	u, err := unitsOf(q, usual)
	switch {
	case err != nil:
		showWords(w, http.StatusBadRequest, page{Kind: kilnKind, Title: "Which units?"}, err.Error()+".")
	case r == nil:
		showWords(w, http.StatusOK, page{Kind: kilnKind, Title: "Nothing to show yet"}, why,
			"This page shows, firing by firing, what the elements give and when they no longer hold the top heat, what door seal and lining lose, how far the relay is worn, and whether the thermocouples still agree. It takes three firings from a cold kiln, each with a long hold, until wear can be told.")
	default:
		_, running := a.Log.Unfinished()
		show(w, http.StatusOK, "kiln", page{Kind: kilnKind, Title: printable(r.Kiln), Units: unitLinks(u), Body: viewKiln(r, u, running)})
	}
}

// printable drops what shows nothing, or turns the line around.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, s)
}

package main

import (
	"calx/cmd/calx/station"
)

// newest is how many lines the newest event takes.
func (s *scene) newest() int {
	f := s.shown()
	if f == nil || len(f.Events) == 0 {
		return 0
	}
	return len(s.event(f.Events[len(f.Events)-1]))
}

// shown is the firing that runs, or else the last.
func (s *scene) shown() *station.Firing {
	if s.st.Firing != nil {
		return s.st.Firing
	}
	return s.st.Last
}

// events are the newest, in at most n lines, oldest first.
func (s *scene) events(n int) []string {
	f := s.shown()
	if f == nil {
		return nil
	}
	var out []string
	for i := len(f.Events) - 1; i >= 0; i-- {
		lines := s.event(f.Events[i])
		if len(out)+len(lines) > n {
			if len(out) == 0 {
				return lines[:min(n, len(lines))]
			}
			break
		}
		out = append(lines, out...)
	}
	return out
}

// event is one event, with its hint unless it is an everyday one.
func (s *scene) event(e station.Event) []string {
	mark, sgr := "  ", ""
	switch e.Severity {
	case "warn":
		mark, sgr = " !", yellow
	case "alarm":
		mark, sgr = "!!", red
	}
	lines := s.wrapped(sgr, s.past.at(e.SinceS)+" "+mark+" ", e.Text)
	if e.Severity != "info" && e.Hint != "" {
		lines = append(lines, s.wrapped(faint, "         ", "→ "+e.Hint)...)
	}
	return lines
}

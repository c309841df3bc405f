package main

import (
	"fmt"
	"strings"
	"time"

	"calx/cmd/calx/station"
)

// progress keeps one line of the terminal up to date until the returned
// function is called.
func (e *env) progress(s *station.Station, fahrenheit bool) (stop func()) {
	done, gone := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(gone)
		t := time.NewTicker(150 * time.Millisecond)
		defer t.Stop()
		for {
			select {
			case <-t.C:
				line := statusLine(s.Status(), fahrenheit)
				fmt.Fprintf(e.out, "\r%s\x1b[K", cutTo(line, e.width-1))
			case <-done:
				fmt.Fprint(e.out, "\r\x1b[K")
				return
			}
		}
	}()
	return func() { close(done); <-gone }
}

// statusLine is the kiln in one line.
func statusLine(st station.Status, fahrenheit bool) string {
	f := st.Firing
	if f == nil {
		return "nothing is fired; the chamber is at " + temperature(st.ChamberC, fahrenheit)
	}
	since := time.Duration(f.SinceS * float64(time.Second))
	b := []string{
		fmt.Sprintf("%s of %s", hours(since), hours(time.Duration(f.PlannedS*float64(time.Second)))),
		temperature(st.ChamberC, fahrenheit),
		fmt.Sprintf("heat %3.0f %%", st.Duty*100),
		fmt.Sprintf("%d/%d %s", f.Step, f.Steps, f.Sentence),
	}
	if w := insideWords(st.Inside, fahrenheit); w != "" {
		b = append(b, w)
	}
	switch f.Phase {
	case "waiting", "paused":
		b = append(b, f.Phase)
	case "interrupted":
		b = append(b, "waits for you, heat off")
	}
	return strings.Join(b, "  ")
}

// cutTo shortens s to n characters.
func cutTo(s string, n int) string {
	r := []rune(s)
	if n < 1 || len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "…"
}

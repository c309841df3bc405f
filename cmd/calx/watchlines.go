package main

import (
	"fmt"
	"time"
)

// lineView is the view where there is no terminal: a line a minute, and one
// for everything that happens.
type lineView struct {
	said   string    // what the last line was about
	minute time.Time // of the last line
	firing uint64
	event  float64 // seconds since the start of the newest event told
}

// due are the lines to write now.
func (v *lineView) due(s *scene, changed bool) []string {
	st := s.st
	at := st.Wall.Local()
	if s.lost != "" {
		if v.said == s.lost {
			return nil
		}
		v.said = s.lost
		return []string{at.Format(time.TimeOnly) + "  connection lost: " + s.lost + "; trying again"}
	}
	var out []string
	if f := st.Firing; f != nil {
		if f.ID != v.firing {
			v.firing, v.event = f.ID, -1
		}
		start, told := st.Wall.Add(-seconds(f.SinceS)).Local(), v.event
		for _, e := range f.Events {
			if e.SinceS <= told {
				continue
			}
			v.event = e.SinceS
			line := fmt.Sprintf("%s  %-5s  %s", start.Add(seconds(e.SinceS)).Format(time.TimeOnly), e.Severity, printable(e.Text))
			if e.Severity != "info" && e.Hint != "" {
				line += "; " + printable(e.Hint)
			}
			out = append(out, line)
		}
	}
	about := fmt.Sprint(st.Fault, st.OutputError, st.LogBehind)
	if f := st.Firing; f != nil {
		about += fmt.Sprint(f.ID, f.Phase, f.Step)
	}
	minute := st.Wall.Truncate(time.Minute)
	if !changed && about == v.said && minute.Equal(v.minute) {
		return out
	}
	v.said, v.minute = about, minute
	return append(out, at.Format(time.TimeOnly)+"  "+statusLine(st, s.inF))
}

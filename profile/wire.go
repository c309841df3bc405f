package profile

import "time"

func toWire(s Step) wireStep {
	w := wireStep{Do: kinds[s.Kind], Line: s.Line}
	switch s.Kind {
	case Heat, Cool:
		w.ToC, w.Pace = degrees(s.TargetC), paces[s.Pace]
		switch s.Pace {
		case ByRate:
			w.RateCPerH = degrees(s.RateCPerH)
		case InTime:
			w.InS = inSeconds(s.For)
		}
	case Hold:
		w.hold(s)
	case Wait:
		w.BelowC = degrees(s.TargetC)
	case Air:
		w.On = &s.On
	case Tell:
		w.Message = &s.Message
	}
	return w
}

func (w *wireStep) hold(s Step) {
	w.Until = ends[s.Until]
	switch s.Until {
	case Elapsed:
		w.ForS = inSeconds(s.For)
	case ClockTime:
		w.Until = timeOfDay(s)
	case UntilCore:
		w.WithinC = degrees(s.WithinC)
	case UntilClear:
		w.Clear = degrees(s.Clear)
	}
	if s.AtLeast != 0 {
		w.AtLeastS = inSeconds(s.AtLeast)
	}
	if s.AtMost != 0 {
		w.AtMostS = inSeconds(s.AtMost)
	}
}

func (w wireStep) step() Step {
	s := Step{Kind: keyOf(kinds, w.Do), Line: w.Line}
	switch s.Kind {
	case Heat, Cool:
		s.TargetC = value(w.ToC)
		switch {
		case w.RateCPerH != nil:
			s.Pace, s.RateCPerH = ByRate, value(w.RateCPerH)
		case w.InS != nil:
			s.Pace, s.For = InTime, fromSeconds(w.InS)
		default:
			s.Pace = keyOf(paces, w.Pace)
		}
	case Hold:
		w.unhold(&s)
	case Wait:
		s.TargetC = value(w.BelowC)
	case Air:
		s.On = w.On != nil && *w.On
	case Tell:
		if w.Message != nil {
			s.Message = *w.Message
		}
	}
	return s
}

func (w wireStep) unhold(s *Step) {
	s.AtLeast, s.AtMost = fromSeconds(w.AtLeastS), fromSeconds(w.AtMostS)
	at, err := time.Parse("15:04", w.Until)
	switch {
	case w.Until == "":
		s.Until, s.For = Elapsed, fromSeconds(w.ForS)
	case err == nil:
		s.Until, s.Hour, s.Minute = ClockTime, at.Hour(), at.Minute()
	default:
		s.Until, s.WithinC, s.Clear = keyOf(ends, w.Until), 0, 0
	}
	switch s.Until {
	case UntilCore:
		s.WithinC = value(w.WithinC)
	case UntilClear:
		s.Clear = value(w.Clear)
	}
}

func degrees(x float64) *float64 { x = onGrid(x); return &x }

func inSeconds(d time.Duration) *float64 { s := d.Round(tick).Seconds(); return &s }

func value(x *float64) float64 {
	if x == nil {
		return 0
	}
	return onGrid(*x)
}

func fromSeconds(x *float64) time.Duration {
	if x == nil {
		return 0
	}
	return seconds(*x)
}

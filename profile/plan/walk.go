package plan

import (
	"math"
	"time"

	"calx/profile"
	"calx/sim/mould"
)

// The windows in which a difference through the wall cracks it, °C; those of
// sim/mould, which counts them on its own.
const (
	cristobalLowC, cristobalHighC = 200, 280
	quartzLowC, quartzHighC       = 550, 600
)

// Horizons of a walk, s: what takes longer is refused.
const (
	longestHoldS = 14 * 24 * 3600
	readEveryS   = 300
)

// walker runs sentences on the model: ramps by the clock, holds until what they
// wait for.
type walker struct {
	m      *mould.Model
	start  mould.State
	everyS float64 // between readings
	airOn  bool
	// soakC is how near the coolest core must be to the chamber before a hold
	// until clear may end, K.
	soakC float64
	// waitCPerH is how fast a kiln falls by itself while a profile waits, °C/h,
	// taken as a straight line.
	waitCPerH float64
}

// walk is what came of it.
type walk struct {
	legs    []leg
	samples []Sample
	end     mould.State
	counts  []float64 // of each kind of mould
	never   int       // the step that never ends, from 0; -1 if all do
}

// leg is one step of the walk.
type leg struct {
	fromS, toS   float64
	fromC, toC   float64
	airOn        bool
	startKg      float64 // free water when it began
	endKg        float64
	startCoreC   float64
	endCoreC     float64
	startChar    float64
	endChar      float64
	startClear   float64
	steam        float64 // largest within, as the following
	cristobalite float64
	quartz       float64
	leastO2      float64
	starved      float64
}

func (w *walker) run(steps []profile.Step) *walk {
	out := &walk{never: -1, counts: counts(w.m)}
	s := w.start.Clone()
	r := w.m.Read(&s)
	out.note(&r, 0)
	air := w.airOn
	for i, st := range steps {
		last := out.samples[len(out.samples)-1]
		l := leg{fromS: s.TimeS, fromC: s.ChamberC, toC: s.ChamberC, startKg: last.WaterKg, startCoreC: last.CoreC, startChar: last.CharShare, startClear: last.ClearShare, leastO2: last.Oxygen}
		horizon, until := 0.0, func(*mould.Reading) bool { return false }
		switch st.Kind {
		case profile.Air:
			air = st.On
		case profile.Heat, profile.Cool:
			l.toC = st.TargetC
			horizon = math.Abs(l.toC-l.fromC) / st.RateCPerH * 3600
		case profile.Hold:
			horizon, until = w.hold(st)
		case profile.Wait:
			l.toC = min(l.fromC, st.TargetC)
			horizon = (l.fromC - l.toC) / w.waitCPerH * 3600
		}
		l.airOn = air
		if horizon > 0 {
			met := false
			s = w.m.Forecast(s, line(l, horizon, air), horizon, w.everyS, func(_ float64, r *mould.Reading) bool {
				out.note(r, i)
				met = until(r)
				return !met
			})
			if st.Kind == profile.Hold && st.Until != profile.Elapsed && !met && out.never < 0 {
				out.never = i
			}
		}
		l.toS = s.TimeS
		out.close(l, i)
		if out.never >= 0 {
			break
		}
	}
	out.end = s
	return out
}

// line is the straight chamber curve of a leg.
func line(l leg, lengthS float64, air bool) mould.History {
	return func(tS float64) (float64, bool) {
		part := math.Max(0, math.Min((tS-l.fromS)/lengthS, 1))
		return l.fromC + (l.toC-l.fromC)*part, air
	}
}

// hold is how long a hold may last and what ends it. What the profile gives as
// least and most does not bound it: they follow from it.
func (w *walker) hold(st profile.Step) (horizonS float64, until func(*mould.Reading) bool) {
	switch st.Until {
	case profile.UntilDry:
		return longestHoldS, dry
	case profile.UntilCore:
		return longestHoldS, func(r *mould.Reading) bool { return coreLag(r) <= st.WithinC }
	case profile.UntilClear:
		return longestHoldS, func(r *mould.Reading) bool { return clear(r) && coreLag(r) <= w.soakC }
	}
	return st.For.Seconds(), func(*mould.Reading) bool { return false }
}

func dry(r *mould.Reading) bool {
	for i := range r.Flasks {
		if !r.Flasks[i].Dry {
			return false
		}
	}
	return true
}

func clear(r *mould.Reading) bool {
	for i := range r.Flasks {
		if r.Flasks[i].ClearS < 0 {
			return false
		}
	}
	return true
}

// coreLag is how far the core furthest from the chamber is off, K.
func coreLag(r *mould.Reading) float64 {
	lag := 0.0
	for i := range r.Flasks {
		lag = max(lag, math.Abs(r.ChamberC-r.Flasks[i].CoreC))
	}
	return lag
}

// note adds one reading, of several moulds the worst.
func (w *walk) note(r *mould.Reading, step int) {
	v := Sample{Since: seconds(r.TimeS), Step: step, ChamberC: r.ChamberC, CoreC: math.Inf(1), ClearShare: 1, Oxygen: r.Oxygen}
	furthest := -1.0
	for i := range r.Flasks {
		f := &r.Flasks[i]
		if off := math.Abs(r.ChamberC - f.CoreC); off > furthest {
			furthest, v.CoreC, v.SurfaceC = off, f.CoreC, f.SurfaceC
		}
		v.WaterKg += f.FreeWaterKg * w.counts[i]
		v.BoundKg += f.BoundWaterKg * w.counts[i]
		v.SteamIndex = max(v.SteamIndex, f.SteamIndex)
		v.CristobaliteK = max(v.CristobaliteK, inside(f, cristobalLowC, cristobalHighC))
		v.QuartzK = max(v.QuartzK, inside(f, quartzLowC, quartzHighC))
		v.ClearShare = min(v.ClearShare, f.ClearFraction)
		for n := range f.Pieces {
			v.CharShare = max(v.CharShare, f.Pieces[n].CharFraction)
			v.Starved = max(v.Starved, f.Pieces[n].Starved)
		}
	}
	w.samples = append(w.samples, v)
}

// inside is the difference from surface to core while any part between them is
// in the window.
func inside(f *mould.FlaskReading, lowC, highC float64) float64 {
	if max(f.CoreC, f.SurfaceC) > lowC && min(f.CoreC, f.SurfaceC) < highC {
		return f.DifferenceK
	}
	return 0
}

// close completes a leg from its samples.
func (w *walk) close(l leg, step int) {
	last := w.samples[len(w.samples)-1]
	l.endKg, l.endCoreC, l.endChar = last.WaterKg, last.CoreC, last.CharShare
	for k := len(w.samples) - 1; k >= 0 && w.samples[k].Step == step; k-- {
		v := &w.samples[k]
		l.steam = max(l.steam, v.SteamIndex)
		l.cristobalite = max(l.cristobalite, v.CristobaliteK)
		l.quartz = max(l.quartz, v.QuartzK)
		l.leastO2 = min(l.leastO2, v.Oxygen)
		l.starved = max(l.starved, v.Starved)
	}
	w.legs = append(w.legs, l)
}

func (w *walk) totalS() float64 { return w.legs[len(w.legs)-1].toS }

// chamber is the chamber curve of a walk as a history; after the end it stays.
func (w *walk) chamber() mould.History {
	at := 0
	return func(tS float64) (float64, bool) {
		for at > 0 && tS < w.legs[at].fromS {
			at--
		}
		for at < len(w.legs)-1 && tS >= w.legs[at].toS {
			at++
		}
		l := w.legs[at]
		if l.toS <= l.fromS || tS >= l.toS {
			return l.toC, l.airOn
		}
		return l.fromC + (l.toC-l.fromC)*(tS-l.fromS)/(l.toS-l.fromS), l.airOn
	}
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

func counts(m *mould.Model) []float64 {
	var out []float64
	for _, p := range m.Params() {
		out = append(out, float64(max(1, p.Count)))
	}
	return out
}

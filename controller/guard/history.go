package guard

import (
	"math"

	"calx/sensor"
)

const (
	everyS = 30  // spacing of the remembered temperatures, s
	points = 128 // a little over an hour of them
)

// History is what the guards remember of a kiln. It is plain data; the zero
// value knows nothing, which means no heat.
type History struct {
	Seen          bool         // there was a valid reading
	HotC          float64      // last valid reading, °C
	BadS          float64      // time since the last valid reading, s; 0 = the last one was valid
	Fault         sensor.Fault // of the last invalid reading
	AboveCeilingS float64      // time spent above the ceiling and its margin, s
	AboveMaxS     float64      // time spent above the kiln's maximum, s
	OffS          float64      // time since the relay was last commanded on, s
	OffFromC      float64      // reading when it was commanded off, °C
	OnBefore      float64      // share of time it had been on, in the last lag before, 0..1
	FullS         float64      // time at full duty without a pause, s
	OnShare       float64      // running share of on-time over one lag, 0..1
	Trail         [points]float64
	TrailN        int     // remembered temperatures ever taken
	TrailS        float64 // time since the newest of them, s
}

// Look is one tick as the guards see it.
type Look struct {
	DtS     float64        // since the look before, s, >= 0
	Reading sensor.Reading // of the chamber
	On      bool           // the relay was commanded on in the period that ended
	Duty    float64        // asked for in that period, 0..1
}

// fullDuty counts as full power.
const fullDuty = 0.98

// Seen is the history after one more look.
func (h History) After(l Limits, k Look) History {
	dt := k.DtS
	if !(dt > 0) {
		dt = 0
	}
	h = h.relay(l, k.On, dt)
	if k.Duty >= fullDuty {
		h.FullS += dt
	} else {
		h.FullS = 0
	}
	if !k.Reading.OK() {
		h.BadS += math.Max(dt, 1e-3)
		h.Fault = k.Reading.Fault
		h.FullS = 0
		return h
	}
	first := !h.Seen
	h.Seen, h.BadS, h.Fault, h.HotC = true, 0, 0, k.Reading.HotC
	if first {
		h.OffFromC = h.HotC
	}
	h.AboveCeilingS = over(h.AboveCeilingS, dt, l.CeilingC != 0 && h.HotC > l.CeilingC+l.MarginC)
	h.AboveMaxS = over(h.AboveMaxS, dt, h.HotC > l.MaxC)
	h.TrailS += dt
	if h.TrailN == 0 || h.TrailS >= everyS {
		h.Trail[h.TrailN%points] = h.HotC
		h.TrailN++
		h.TrailS = 0
	}
	return h
}

func over(s, dt float64, above bool) float64 {
	if !above {
		return 0
	}
	return s + dt
}

func (h History) relay(l Limits, on bool, dt float64) History {
	if on {
		h.OffS = 0
		h.OffFromC = h.HotC
		h.OnBefore = h.OnShare
	} else {
		h.OffS += dt
		// Falling first and rising later is rising too.
		h.OffFromC = math.Min(h.OffFromC, h.HotC)
	}
	share := 0.0
	if on {
		share = 1
	}
	h.OnShare += (share - h.OnShare) * (1 - math.Exp(-dt/l.at(h.HotC).LagS))
	return h
}

// ago is the reading about s seconds ago; false when it is not remembered.
func (h History) ago(s float64) (hotC float64, ok bool) {
	k := int(math.Round((s - h.TrailS) / everyS))
	if k < 0 || k >= points || k >= h.TrailN {
		return 0, false
	}
	return h.Trail[(h.TrailN-1-k)%points], true
}

// slopeCPerS is the slope over the last one to one and a half minutes, °C/s.
func (h History) slopeCPerS() float64 {
	from, ok := h.ago(60)
	if !ok {
		return 0
	}
	return (h.HotC - from) / 60
}

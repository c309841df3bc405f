package chip

import (
	"time"

	"calx/sensor/thermocouple"
)

// history keeps the junction temperatures of the last second or more, so that
// a conversion finished in the past can be computed when it is read.
type history struct {
	points [historyLen]point
	newest int
	filled bool // the first Set stands for all the time before it
}

type point struct {
	at          time.Duration
	hotC, coldC float64
}

// A conversion lies at most 1.5 × 0.56 s back (automatic mode, 50 Hz, 16
// averages, the longest open test); 256 points 5 ms apart reach 1.28 s.
const (
	historyLen = 256
	historyGap = 5 * time.Millisecond
)

// set records the junctions at a moment not before the last one.
func (h *history) set(p point) {
	if !h.filled {
		h.filled = true
		for i := range h.points {
			h.points[i] = p
		}
		return
	}
	// A point less than a gap after the last but one replaces the last one,
	// so that very short steps of the plant cannot empty the memory.
	if p.at-h.points[h.before(h.newest)].at >= historyGap {
		h.newest = (h.newest + 1) % historyLen
	}
	h.points[h.newest] = p
}

func (h *history) before(i int) int { return (i + historyLen - 1) % historyLen }

// at gives the junctions at a moment: on the line between its two neighbours,
// or the nearest point where it has only one.
func (h *history) at(t time.Duration) (hotC, coldC float64) {
	i := h.newest
	after := h.points[i]
	for range historyLen {
		p := h.points[i]
		if p.at <= t {
			if p.at == after.at {
				return after.hotC, after.coldC
			}
			f := float64(t-p.at) / float64(after.at-p.at)
			if f > 1 {
				return after.hotC, after.coldC
			}
			return p.hotC + f*(after.hotC-p.hotC), p.coldC + f*(after.coldC-p.coldC)
		}
		after = p
		i = h.before(i)
	}
	return after.hotC, after.coldC
}

// emf is the voltage of a probe whose other end is at 0 °C, in mV. Outside the
// range of the ITS-90 reference function it stays at the end of the range.
func emf(t thermocouple.Type, c float64) float64 {
	minC, maxC := t.Range()
	mV, err := t.EMF(min(max(c, minC), maxC))
	if err != nil {
		panic("BUG: sim/chip: " + err.Error())
	}
	return mV
}

package sensor

import "time"

// Pace keeps a driver from presenting one conversion twice, by time alone: none
// of the chips counts its conversions. The first call of Ready on a zero Pace is
// ready.
type Pace struct {
	last, wait time.Duration
	started    bool
}

// Restart begins a wait at the given time, the longest until the chip has a new
// conversion.
func (p *Pace) Restart(at, wait time.Duration) { p.last, p.wait, p.started = at, wait, true }

// Ready reports whether the wait is over. If it is, or if the clock ran
// backwards, in which case the answer is no, a new wait of the given length
// begins.
func (p *Pace) Ready(at, wait time.Duration) bool {
	since := at - p.last
	if p.started && since >= 0 && since < p.wait {
		return false
	}
	backwards := p.started && since < 0
	p.Restart(at, wait)
	return !backwards
}

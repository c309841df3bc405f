package record

import (
	"math"
	"time"
)

// predictor guesses the next reading from those before it in the block. The
// encoder writes how far off each guess was. Both sides run the same code in
// the same order, so what a guess is worth changes the size, never the value.
//
// Guesses use float64 arithmetic whose every step is rounded: the conversions
// around products forbid a fused multiply-add, which arm64 would use and
// amd64 would not, and a log must read the same on both.
type predictor struct {
	last     Reading
	step     time.Duration // from the reading before last to last
	wallMS   int64         // last.Wall, Unix milliseconds
	setRate  float64       // °C per ns over the last step
	powerJ   float64       // J per ns over the last step that used energy
	before   []float64     // observer, one reading before last
	channels []channel
}

// channel is what is known of one thermocouple.
type channel struct {
	last      Sample
	hotShift  int // HotC was HotCode / 2^hotShift; noShift when it was not
	coldShift int // ColdC and ColdCode alike
	memo      [memoSize]memo
}

// memo remembers which temperature a pair of codes gave: a chip whose codes
// are corrected by table gives the same temperature for the same codes.
type memo struct {
	hotCode, coldCode int32
	hotBits           uint64
	used              bool
}

const (
	memoSize = 32 // codes seen in half a minute of ramp with noise
	noShift  = -1
	maxShift = 12 // finer steps than any thermocouple amplifier has
)

// instead returns the guess, or the fallback where the guess is not a number:
// which NaN arithmetic yields depends on the processor.
func instead(guess, fallback float64) float64 {
	if math.IsNaN(guess) {
		return fallback
	}
	return guess
}

// setpoint goes on along the ramp.
func (p *predictor) setpoint(since time.Duration) float64 {
	d := float64(since - p.last.Since)
	return instead(p.last.SetpointC+float64(p.setRate*d), p.last.SetpointC)
}

// energy grows by the power last seen if the relay was left on.
func (p *predictor) energy(since time.Duration) float64 {
	if !p.last.Relay {
		return p.last.EnergyJ
	}
	d := float64(since - p.last.Since)
	return instead(p.last.EnergyJ+float64(p.powerJ*d), p.last.EnergyJ)
}

// observer goes on as it went over the last two readings.
func (p *predictor) observer(i int) float64 {
	if i >= len(p.last.Observer) {
		return 0
	}
	v := p.last.Observer[i]
	if i >= len(p.before) {
		return v
	}
	return instead(v+float64(v-p.before[i]), v)
}

// wall advances with the monotonic clock.
func (p *predictor) wall(since time.Duration) int64 {
	return p.wallMS + int64((since-p.last.Since)/time.Millisecond)
}

// learn takes r as the last reading. It keeps r.Observer, so the caller must
// not change that afterwards.
func (p *predictor) learn(r *Reading) {
	d := r.Since - p.last.Since
	p.setRate, p.step = 0, d
	if d > 0 {
		p.setRate = (r.SetpointC - p.last.SetpointC) / float64(d)
		if used := r.EnergyJ - p.last.EnergyJ; used > 0 {
			p.powerJ = used / float64(d)
		}
	}
	p.wallMS = r.Wall.UnixMilli()
	p.before = p.last.Observer
	p.last = *r
}

// shape makes room for n channels.
func (p *predictor) shape(n int) {
	for len(p.channels) < n {
		p.channels = append(p.channels, channel{hotShift: noShift, coldShift: noShift})
	}
}

func (c *channel) slot(hot, cold int32) *memo {
	return &c.memo[(uint32(hot)+uint32(cold)*7)%memoSize]
}

// fromMemo is the temperature these codes gave before.
func (c *channel) fromMemo(hot, cold int32) (float64, bool) {
	m := c.slot(hot, cold)
	return math.Float64frombits(m.hotBits), m.used && m.hotCode == hot && m.coldCode == cold
}

func (c *channel) learn(s Sample) {
	*c.slot(s.HotCode, s.ColdCode) = memo{s.HotCode, s.ColdCode, math.Float64bits(s.HotC), true}
	c.last = s
}

// scaled is code / 2^shift, exactly.
func scaled(code int32, shift int) float64 { return float64(code) / float64(int(1)<<shift) }

// shiftOf finds the power of two that turns the code into the value.
func shiftOf(code int32, value float64) int {
	for s := 0; s <= maxShift; s++ {
		if same(scaled(code, s), value) {
			return s
		}
	}
	return noShift
}

// same compares all 64 bits, so that NaN equals itself and 0 is not -0.
func same(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) }

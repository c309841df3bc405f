package identify

import (
	"math"
	"time"
)

// Recorded is what a log or a file tells of one firing, for [Fit].
type Recorded struct {
	Name  string  // as people call it: "firing 12"
	RoomC float64 // room temperature, °C; NaN takes 20
	// Samples in order of time. A stretch without any, longer than 150 s, is
	// one without heat in which nothing is known.
	Samples []Sample
}

// Sample is one reading of a recorded firing, and what was switched until the
// next.
type Sample struct {
	At        time.Duration // since the firing began
	HotC      float64       // what the control thermocouple read, °C; NaN when it was not to be believed
	On        float64       // share of the time until the next sample in which the heat relay was closed, 0..1
	Air       bool          // the fresh-air relay was closed
	Door      float64       // how far the door stood open, 0..1; NaN without a switch
	LoadHeatW float64       // heat set free in the load, W: negative for water that boils off; 0 when nobody knows
}

// Of a trace.
const (
	traceStepS = 10
	// gapS is how long a stretch without samples may be before the relay is
	// taken to have been open in it; a table from elsewhere may have a line
	// every minute or two.
	gapS = 150
	// After a door or a gap the model follows the thermometer for so long
	// before it is asked again: the skin of the wall has forgotten by then.
	recoverS = 20 * 60
	// startWarmK above the room at the start means that the wall may be
	// anything; then the first hour is not asked.
	startWarmK, warmS = 15, 3600
	// mostSteps bounds a trace, whatever a log says: a fortnight.
	mostSteps = 14 * 24 * 3600 / traceStepS
)

// trace is a recorded firing on equal steps.
type trace struct {
	name   string
	roomC  float64
	startC float64
	steps  []tick
}

// tick is one step of a trace.
type tick struct {
	hotC  float64 // mean over the step, °C; NaN: unknown
	on    float64 // share of the step
	door  float64
	loadW float64
	air   bool
	mute  bool // what is read here says nothing about the kiln: the model only follows
	held  bool // kept out of the fit
}

// newTrace reduces a firing to equal steps. Where the thermometer falls faster
// than fallCPerS of its temperature, which hardly a kiln does with its door
// shut, the door was open.
func newTrace(r Recorded, fallCPerS func(hotC float64) float64) trace {
	t := trace{name: r.Name, roomC: r.RoomC, startC: math.NaN()}
	if !(t.roomC > -40 && t.roomC < 60) {
		t.roomC = usualRoomC
	}
	if len(r.Samples) == 0 {
		return t
	}
	first := r.Samples[0].At
	n := min(max(int((r.Samples[len(r.Samples)-1].At-first).Seconds()/traceStepS)+1, 0), mostSteps)
	t.steps = make([]tick, n)
	sum, count := make([]float64, n), make([]int, n)
	for i, s := range r.Samples {
		from := (s.At - first).Seconds()
		k := int(from / traceStepS)
		if k < 0 || k >= n {
			continue
		}
		if s.HotC-s.HotC == 0 {
			sum[k] += s.HotC
			count[k]++
			if math.IsNaN(t.startC) {
				t.startC = s.HotC
			}
		}
		end := from + traceStepS
		if i+1 < len(r.Samples) {
			end = (r.Samples[i+1].At - first).Seconds()
		}
		t.spread(s, from, end)
	}
	for k := range t.steps {
		t.steps[k].hotC = sum[k] / float64(count[k]) // NaN where there is none
		t.steps[k].on = math.Min(t.steps[k].on, 1)
	}
	t.bridge()
	t.mask(fallCPerS)
	return t
}

const usualRoomC = 20

// spread gives what a sample switched to the steps until the next.
func (t *trace) spread(s Sample, fromS, endS float64) {
	gap := endS-fromS > gapS
	for k := int(fromS / traceStepS); k < len(t.steps) && float64(k)*traceStepS < endS; k++ {
		d := &t.steps[k]
		d.air, d.loadW = s.Air, s.LoadHeatW
		if s.Door > 0 {
			d.door = math.Max(d.door, math.Min(s.Door, 1))
		}
		if gap || !(s.On > 0) {
			continue
		}
		lo, hi := math.Max(fromS, float64(k)*traceStepS), math.Min(endS, float64(k+1)*traceStepS)
		d.on += math.Min(s.On, 1) * math.Max(hi-lo, 0) / traceStepS
	}
}

// bridge draws straight lines over short stretches without a reading.
func (t *trace) bridge() {
	last := -1
	for k := range t.steps {
		hot := t.steps[k].hotC
		if math.IsNaN(hot) {
			continue
		}
		if n := k - last; last >= 0 && n > 1 && n*traceStepS <= gapS {
			from := t.steps[last].hotC
			for i := last + 1; i < k; i++ {
				t.steps[i].hotC = from + (hot-from)*float64(i-last)/float64(n)
			}
		}
		last = k
	}
}

// mask mutes what the kiln's own physics cannot explain: a strange start,
// gaps, doors.
func (t *trace) mask(fallCPerS func(hotC float64) float64) {
	if math.Abs(t.startC-t.roomC) > startWarmK {
		t.mute(0, int(warmS/traceStepS))
	}
	const back, recover = 6, recoverS / traceStepS
	lost := 0
	for k := range t.steps {
		s := &t.steps[k]
		if math.IsNaN(s.hotC) {
			lost++
			continue
		}
		if lost*traceStepS > gapS {
			t.mute(k-lost, k+recover)
		}
		lost = 0
		fell := k >= 3 && t.steps[k-3].hotC-s.hotC > 3*traceStepS*fallCPerS(s.hotC)
		if s.door > 0 || fell {
			t.mute(k-back, k+recover)
		}
	}
}

func (t *trace) mute(from, to int) {
	for k := max(from, 0); k < min(to, len(t.steps)); k++ {
		t.steps[k].mute = true
	}
}

// told reports whether a step says something about the kiln.
func (s tick) told() bool { return !s.mute && s.hotC == s.hotC }

// extent is how long the told part of a trace is, how far its temperature ranges
// there, °C, and how long the heat was on.
func (t *trace) extent() (hours, lowC, highC, onS float64) {
	lowC, highC = math.Inf(1), math.Inf(-1)
	n := 0
	for _, s := range t.steps {
		if s.told() {
			n++
			lowC, highC = math.Min(lowC, s.hotC), math.Max(highC, s.hotC)
		}
		onS += s.on * traceStepS
	}
	return float64(n) * traceStepS / 3600, lowC, highC, onS
}

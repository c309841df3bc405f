package guard

import (
	"math"

	"calx/controller/twin"
	"calx/sensor"
)

const (
	everyS = 30  // spacing of the remembered temperatures, s
	points = 128 // a little over an hour of them
	// agreeing is the number of readings in a row that must agree before any is
	// believed: the first frame after power-up may be corrupt.
	agreeing = 3
	// A reading may differ from the last believed one by jumpC and jumpCPerS
	// times the time between them. The steepest that a junction in a sheath did
	// in the shipped kilns, with the door thrown open at top heat or at full
	// power from cold, is 2.5 °C/s, noise included.
	jumpC, jumpCPerS = 10, 2
	// and while readings are doubted a little more, so that none are shut out for
	// ever.
	backCPerS = 0.1
	// Outside these, °C, no thermocouple gives a reading that is one of a kiln.
	leastC, mostC = -100, 2000
)

// History is what the guards remember of a kiln. It is plain data; the zero
// value knows nothing, which means no heat.
type History struct {
	Seen          bool         // a reading was ever believed
	Agree         int          // readings in a row that agree, up to the number needed
	HotC          float64      // last reading that is believed, or the first of those that may be, °C
	BeforeC       float64      // the one believed before it, °C
	BeforeS       float64      // how long before it, s; 0 = there is none
	FirstC        float64      // the first one believed, °C
	ColdC         float64      // cold junction beside it, °C
	ColdKnown     bool         // the chip has a cold junction to give
	ColdCode      int32        // as sent by the chip
	AgeS          float64      // time since HotC, s
	DoubtS        float64      // time without a reading that is believed, s; 0 = the last one is
	BadS          float64      // time without a valid reading, s; 0 = the last one was valid
	Fault         sensor.Fault // of the last invalid reading
	JumpS         float64      // time that readings have been too far from HotC to be true, s
	JumpC         float64      // the last of them, °C
	SameS         float64      // time that the reading has not changed by one step of the chip, s
	SameSetC      float64      // setpoint when it last changed, or began to be one since, °C
	SetC          float64      // setpoint now, °C; 0 when there is none
	SetKnown      bool         // there is a setpoint, and was since SameSetC
	BelowS        float64      // time that the reading has been colder than a heated kiln can be, s
	AboveCeilingS float64      // time spent above the ceiling and its margin, s
	AboveMaxS     float64      // time spent above the kiln's maximum, s
	OffS          float64      // time since the relay was last commanded on, s
	OffFromC      float64      // reading when it was commanded off, °C
	OnBefore      float64      // share of time it had been on, in the last lag before, 0..1
	OnShare       float64      // running share of on-time over one lag, 0..1
	FullS         float64      // time at full duty without a pause or an open door, s
	UnrestS       float64      // time left in which the reading may leap up because it fell, s
	Trail         [points]float64
	TrailN        int     // remembered temperatures ever taken
	TrailS        float64 // time since the newest of them was due, s
	Twin          twin.State
	MissS         float64 // time for which no heat has come, s
	MissAgoS      float64 // time since that was last seen, s
	Door          sensor.Door
	Probe         Probe
	Inside        Inside
	AboveCharS    float64 // time far above what char left in the investment allows, s
	BelowColdS    float64 // time that the reading has been colder than the kiln can be, s
	Limit         Limit
}

// Look is one tick as the guards see it.
type Look struct {
	DtS       float64        // since the look before, s, >= 0
	Reading   sensor.Reading // of the chamber
	On        bool           // the relay was commanded on in the period that ended
	Duty      float64        // asked for in that period, 0..1
	SetpointC float64        // °C; NaN when there is none
	Air       bool           // the fresh-air relay was on
	Door      sensor.Door
	Check     sensor.Reading // of a second thermocouple in the chamber; zero or faulty: none
	Checked   bool           // there is one
	Inside    Inside
}

// fullDuty counts as full power.
const fullDuty = 0.98

// Believed reports whether the last reading may be acted on: valid, not alone,
// and not a jump that no kiln can make.
func (h *History) Believed() bool { return h.Seen && h.DoubtS == 0 }

// Interrupted is what is left of a history when nobody looked for a while: the
// kiln that runs beside the firing cools meanwhile, and what limits the heat
// stays, as does what a probe has lost; all else begins anew.
func (h *History) Interrupted() History {
	return History{Twin: h.Twin, Limit: h.Limit, Probe: Probe{SlipC: h.Probe.SlipC, Lost: h.Probe.Lost}}
}

// After is the history after one more look.
func (h History) After(l *Limits, k Look) History {
	dt := k.DtS
	if !(dt > 0) {
		dt = 0
	}
	h.relay(l, k.On, dt)
	h.Door, h.Inside = k.Door, k.Inside
	h.Probe.OpenS = over(h.Probe.OpenS, dt, k.Door == sensor.DoorOpen)
	switch {
	case k.Duty >= fullDuty:
		h.FullS += dt
	case h.DoubtS == 0: // else the period that ended was without heat because of a reading
		h.FullS = 0
	}
	h.AgeS += dt
	h.TrailS += dt
	believed := h.weigh(k.Reading, dt)
	h.twin(l, k, dt, believed)
	if believed {
		h.DoubtS = 0
		h.follow(l, k, dt)
		return h
	}
	h.DoubtS = more(h.DoubtS, dt)
	const doubted = 60 // a frame lost now and then must not keep a firing going that gets nowhere
	h.FullS = math.Max(h.FullS-doubted*dt, 0)
	return h
}

// twin carries the kiln beside the firing on. A lease of heat that nobody
// renewed has run out after leaseS.
func (h *History) twin(l *Limits, k Look, dt float64, believed bool) {
	const leaseS = 2
	if l.Twin == nil {
		return
	}
	t := twin.Tick{DtS: dt, ChamberC: math.NaN(), ColdC: k.Reading.ColdC, Air: k.Air, Open: k.Door == sensor.DoorOpen, Shut: k.Door == sensor.DoorShut, Limited: h.Limited(), Doubt: l.Doubt}
	if k.On {
		t.OnS = dt
		if dt > l.PeriodS+leaseS {
			t.OnS = leaseS
		}
	}
	if believed {
		t.ChamberC = k.Reading.HotC
	}
	h.Twin = l.Twin.After(h.Twin, t)
	h.miss(dt)
}

// weigh reports whether a reading is to be believed: valid, a temperature, and
// no leap.
func (h *History) weigh(r sensor.Reading, dt float64) bool {
	if r.OK() && r.HotC >= leastC && r.HotC <= mostC {
		h.BadS, h.Fault = 0, 0
		return h.believe(r.HotC, dt)
	}
	h.BadS, h.JumpS, h.Fault = more(h.BadS, dt), 0, r.Fault
	if !h.Seen {
		h.Agree = 0
	}
	return false
}

// believe weighs a valid reading against the last one that was believed. Before
// there is one, it waits for readings that agree.
func (h *History) believe(hotC, dt float64) bool {
	if !h.Seen {
		if h.Agree == 0 || math.Abs(hotC-h.HotC) > jumpC+jumpCPerS*dt {
			h.Agree, h.FirstC = 0, hotC
		}
		h.Agree++
		h.HotC, h.AgeS = hotC, 0
		h.Seen = h.Agree >= agreeing
		return h.Seen
	}
	mayC := jumpC + jumpCPerS*math.Max(h.AgeS-h.JumpS, 0) + backCPerS*h.JumpS
	near := math.Abs(hotC-h.HotC) <= mayC
	// The last one may have been a corrupted one that was nearly out of reach; then
	// this one goes with the one before it.
	again := h.BeforeS > 0 && math.Abs(h.HotC-h.BeforeC) >= jumpC/2 && math.Abs(hotC-h.BeforeC) <= mayC+jumpCPerS*h.BeforeS
	if !near && !again {
		h.JumpS, h.JumpC = more(h.JumpS, dt), hotC
		return false
	}
	h.JumpS = 0
	return true
}

// follow takes in a reading that is believed.
func (h *History) follow(l *Limits, k Look, dt float64) {
	r := k.Reading
	h.stand(k, dt)
	h.BeforeC, h.BeforeS = h.HotC, h.AgeS
	h.HotC, h.AgeS, h.ColdCode = r.HotC, 0, r.ColdCode
	if h.ColdKnown = !math.IsNaN(r.ColdC) && !math.IsInf(r.ColdC, 0); h.ColdKnown {
		h.ColdC = r.ColdC
	}
	if h.TrailN == 0 {
		h.OffFromC = h.HotC
	}
	h.Probe = h.Probe.after(k, dt)
	h.AboveCeilingS = over(h.AboveCeilingS, dt, l.CeilingC != 0 && h.hottestC() > l.CeilingC+l.MarginC)
	h.AboveMaxS = over(h.AboveMaxS, dt, h.hottestC() > l.MaxC)
	h.AboveCharS = over(h.AboveCharS, dt, h.Inside.Known && h.Inside.Char >= someChar && h.HotC > charC+charMostC)
	h.BelowS = over(h.BelowS, dt, h.tooCold())
	h.BelowColdS = over(h.BelowColdS, dt, h.belowCold())
	h.limit(l, dt)
	h.remember()
	h.rebound(l, dt)
}

// rebound notes a fall that only an open door makes. Once it is shut the probe
// comes back to the heat of the walls, whatever the relay does.
func (h *History) rebound(l *Limits, dt float64) {
	const fallC, leastS, lags = 10, 600, 2
	h.UnrestS = math.Max(h.UnrestS-dt, 0)
	if c, ok := h.rise(60); ok && c <= -fallC {
		h.UnrestS = math.Max(leastS, lags*l.at(h.HotC).LagS)
		h.FullS = 0
	}
}

// stand notes how long the reading has been the very same, and the setpoint
// when it began to be.
func (h *History) stand(k Look, dt float64) {
	set := !math.IsNaN(k.SetpointC) && !math.IsInf(k.SetpointC, 0)
	if h.SetC = 0; set {
		h.SetC = k.SetpointC
	}
	if k.Reading.HotC != h.HotC || k.Reading.ColdCode != h.ColdCode || h.TrailN == 0 {
		h.SameS, h.SetKnown, h.SameSetC = 0, set, h.SetC
		return
	}
	h.SameS += dt
	if set && !h.SetKnown {
		h.SameSetC = h.SetC
	}
	h.SetKnown = set
}

// remember keeps a temperature every so often. A gap empties the memory: what
// lies behind it is of another time.
func (h *History) remember() {
	if h.TrailS >= 3*everyS {
		h.TrailN, h.TrailS = 0, 0
	}
	if h.TrailN == 0 || h.TrailS >= everyS {
		if h.TrailN > 0 {
			h.TrailS -= everyS
		}
		h.Trail[h.TrailN%points] = h.HotC
		h.TrailN++
	}
}

// more is a time that goes on. Its first look counts for a second at most: how
// long ago the look before it was says nothing.
func more(s, dt float64) float64 {
	if s == 0 {
		return math.Min(math.Max(dt, 1e-3), 1)
	}
	return s + dt
}

func over(s, dt float64, is bool) float64 {
	if !is {
		return 0
	}
	return more(s, dt)
}

func (h *History) relay(l *Limits, on bool, dt float64) {
	if on {
		h.OffS = 0
		h.OffFromC = h.HotC
		h.OnBefore = h.OnShare
	} else {
		h.OffS += dt
	}
	share := 0.0
	if on {
		share = 1
	}
	h.OnShare += (share - h.OnShare) * (1 - math.Exp(-dt/l.at(h.HotC).LagS))
}

// ago is the reading about s seconds ago; false when it is not remembered.
func (h *History) ago(s float64) (hotC float64, ok bool) {
	k := int(math.Round((s - h.TrailS) / everyS))
	if k < 0 || k >= points || k >= h.TrailN {
		return 0, false
	}
	return h.Trail[(h.TrailN-1-k)%points], true
}

// rise is how far the reading has come in the last s seconds, °C; false when
// that is not remembered.
func (h *History) rise(s float64) (c float64, ok bool) {
	from, ok := h.ago(s)
	return h.HotC - from, ok
}

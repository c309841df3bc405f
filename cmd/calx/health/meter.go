package health

import (
	"math"
	"strings"
	"time"

	"calx/cmd/calx/summary"
	"calx/sim/kiln"
	"calx/storage/record"
)

// binS is the step of the heat balance, s: short against everything in a kiln
// but its elements, and a tenth of the work.
const binS = 10

// bin is ten seconds of a firing.
type bin struct {
	onS, forS float64 // time heated, and in all, s
	sumC      float64 // of chamber readings
	n         int
	air       bool
	bad       bool // a gap, or no heat by plan
}

func (b bin) meanC() float64 { return b.sumC / float64(b.n) }

// Meter measures one firing from its readings, which it is given in order.
type Meter struct {
	head   record.Firing
	gap    time.Duration
	f      Figures
	last   record.Reading
	begun  bool
	bins   []bin
	coldC  float64 // terminals at the start, °C; NaN unknown
	second int     // channel of the second thermocouple in the chamber; -1 for none
	apart  spread
	core   coreWatch
}

// NewMeter begins with the head of the firing.
func NewMeter(head record.Firing) *Meter {
	m := &Meter{head: head, gap: summary.GapAfter(head), coldC: math.NaN(), second: -1}
	m.f = Figures{Version: figuresVersion, PeakC: summary.Unknown(), Power: unknown(), Loss: unknown(), Second: unknown(), Inversion: unknown()}
	m.core.channel = -1
	for i, c := range head.Channels {
		switch {
		case i > 0 && m.second < 0 && strings.HasPrefix(c.Role, "chamber"):
			m.second = i
		case i > 0 && m.core.channel < 0 && strings.HasPrefix(c.Role, "witness"):
			m.core.channel = i
		}
	}
	return m
}

// Add takes one reading in.
func (m *Meter) Add(r *record.Reading) {
	f := &m.f
	f.Readings++
	f.DurationS, f.EnergyJ = r.Since.Seconds(), r.EnergyJ
	c := summary.ChamberC(m.head, *r)
	if !math.IsNaN(c) && !(float64(f.PeakC) >= c) {
		f.PeakC = summary.Number(c)
	}
	if r.Relay && !(m.begun && m.last.Relay) {
		f.Cycles++
	}
	if !m.begun && len(r.Channels) > 0 {
		m.coldC = r.Channels[0].ColdC
	}
	m.pass(r, c)
	if m.second > 0 && m.second < len(r.Channels) && good(r.Channels[m.second]) {
		m.apart.add(r.Since, c, c-r.Channels[m.second].HotC)
	}
	m.core.add(r)
	m.last, m.begun = *r, true
}

func good(s record.Sample) bool { return s.Fault == 0 && s.HotC-s.HotC == 0 }

// pass puts the time since the reading before into bins.
func (m *Meter) pass(r *record.Reading, chamberC float64) {
	i := int(r.Since.Seconds() / binS)
	const mostBins = 60 * 24 * 3600 / binS // no firing lasts two months
	if i < 0 || i >= mostBins {
		return
	}
	for len(m.bins) <= i {
		m.bins = append(m.bins, bin{})
	}
	b := &m.bins[i]
	if m.begun {
		d := r.Since - m.last.Since
		if d >= m.gap || d < 0 {
			for k := max(int(m.last.Since.Seconds()/binS), 0); k <= i; k++ {
				m.bins[k].bad = true
			}
		} else {
			b.forS += d.Seconds()
			if m.last.Relay {
				b.onS += d.Seconds()
			}
		}
	}
	if !math.IsNaN(chamberC) {
		b.sumC += chamberC
		b.n++
	}
	b.air = r.Air
	b.bad = b.bad || r.Phase == record.Cooling || r.Phase >= record.Done || r.Phase == record.Idle
}

// Figures are those of all readings added. k is the kiln to hold the heat
// against, and kilnText the file it was read from; nil leaves the balance out.
func (m *Meter) Figures(k *kiln.Params, kilnText string) Figures {
	f := m.f
	if k != nil && m.head.Imported == "" {
		f.Power, f.Loss = balance(*k, m.bins, m.coldC)
		f.Kiln = Fingerprint(kilnText)
	}
	f.Second = m.apart.estimate()
	f.Inversion = m.core.inversion()
	return f
}

package health

import (
	"math"
	"slices"
	"time"

	"calx/cmd/calx/summary"
	"calx/sim/kiln"
)

// Entry is one firing of a kiln.
type Entry struct {
	ID      uint64    `json:"firing"`
	Started time.Time `json:"started"`
	Figures Figures   `json:"figures"`
}

// Point is one firing in a trend.
type Point struct {
	Firing uint64   `json:"firing"`
	Value  Estimate `json:"value"`
	Place  int      `json:"-"` // among the entries of the report
}

// Trend is a figure over the firings, in order.
type Trend struct {
	Points []Point `json:"points"`
	// Now is the line at the newest firing, or the mean where no trend is told.
	Now Estimate `json:"now"`
	// Each is the change from firing to firing, with its interval of 95 %; null
	// while there are fewer than three firings.
	Each   summary.Number `json:"each"`
	EachLo summary.Number `json:"each_low"`
	EachHi summary.Number `json:"each_high"`
	Told   bool           `json:"told"` // the trend is told from none
	line   Line
}

// Line is the line over the places of the firings; ok is false where no trend
// is told, and in a report that was read from JSON.
func (t Trend) Line() (l Line, ok bool) { return t.line, t.Told && t.line.N > 0 }

// Forecast is in how many firings something comes to pass, with its interval
// of 95 %.
type Forecast struct {
	In   summary.Number `json:"in_firings"`
	From summary.Number `json:"from"`
	To   summary.Number `json:"to"`
}

// Report is the health of one kiln.
type Report struct {
	Kiln      string         `json:"kiln"`
	Units     string         `json:"units"`   // "C" or "F": how the person reads it
	Firings   int            `json:"firings"` // that calx fired
	From      time.Time      `json:"from"`
	To        time.Time      `json:"to"`
	Power     Trend          `json:"element_power_ratio"` // over the kiln file
	Loss      Trend          `json:"heat_loss_ratio"`     // over the kiln file
	HoldC     float64        `json:"hold_c"`              // temperature of the next two
	HoldDuty  summary.Number `json:"hold_duty"`           // what holding it takes now
	FileDuty  float64        `json:"hold_duty_file"`      // what the kiln file says
	TopC      float64        `json:"top_c"`               // hottest of the last ten firings
	Needed    summary.Number `json:"top_element_ratio"`   // what the elements must give to hold it, over the kiln file; null without firings
	Reach     *Forecast      `json:"top_out_of_reach"`    // null: no trend can be told, or it is never
	Cycles    uint64         `json:"relay_cycles"`
	Rated     int            `json:"relay_rated_cycles"` // 0: the relay does not wear by cycles
	Relay     *Forecast      `json:"relay_worn"`
	Second    Trend          `json:"second_thermocouple_c"`
	Inversion Trend          `json:"quartz_inversion_c"`
	Entries   []Entry        `json:"entries"` // the firings, oldest first
	New       New            `json:"new"`
}

// New is on which day parts were fitted, by the kiln file, as 2026-01-31; their
// firings are counted from then on. "" is not known: from the first firing.
type New struct {
	Elements string `json:"elements"`
	Relay    string `json:"relay"`
	Probe    string `json:"probe"`
}

// since reports whether a firing began on that day or later.
func (e Entry) since(day string) bool { return e.Started.Local().Format(kiln.Day) >= day }

const (
	holdC     = 700.0 // where holding is compared
	recent    = 10    // firings that say what is fired now
	forgetful = 20    // firings that say how fast the relay wears
	doubtful  = 0.06  // standard error of a ratio beyond which a firing tells nothing
)

// Look makes the report of a kiln from its firings, oldest first. Units are the
// caller's to add.
func Look(p kiln.Params, entries []Entry) Report {
	r := Report{Kiln: p.Name, Firings: len(entries), HoldC: math.Min(holdC, p.MaxC()-100), HoldDuty: summary.Unknown(), Needed: summary.Unknown(), Entries: entries,
		New: New{p.Elements.New, p.Relay.New, p.Probe.New}}
	if r.Entries == nil {
		r.Entries = []Entry{}
	}
	if len(entries) > 0 {
		r.From, r.To = entries[0].Started, entries[len(entries)-1].Started
	}
	sure := func(e Estimate) bool { return e.Value.Known() && float64(e.SE) <= doubtful }
	r.Power = trend(entries, r.New.Elements, func(f Figures) Estimate { return f.Power }, sure)
	r.Loss = trend(entries, "", func(f Figures) Estimate { return f.Loss }, sure)
	r.Second = trend(entries, r.New.Probe, func(f Figures) Estimate { return f.Second }, known)
	r.Inversion = trend(entries, "", func(f Figures) Estimate { return f.Inversion }, known)
	r.FileDuty = p.BalanceDuty(r.HoldC)
	r.TopC = top(entries)
	r.reach(p)
	r.relay(p, entries)
	return r
}

func known(e Estimate) bool { return e.Value.Known() }

// trend gathers one figure over the firings since a day that tell it, and draws
// its line over their places among all.
func trend(entries []Entry, day string, of func(Figures) Estimate, usable func(Estimate) bool) Trend {
	un := summary.Unknown()
	t := Trend{Points: []Point{}, Now: unknown(), Each: un, EachLo: un, EachHi: un}
	var x, y []float64
	for i, e := range entries {
		if v := of(e.Figures); usable(v) && e.since(day) {
			t.Points = append(t.Points, Point{e.ID, v, i})
			x, y = append(x, float64(i)), append(y, float64(v.Value))
		}
	}
	n := len(y)
	if n == 0 {
		return t
	}
	l, err := Fit(x, y)
	if err != nil {
		t.Now = t.Points[n-1].Value
		return t
	}
	t.line, t.Told = l, l.Told()
	lo, hi := l.Slopes()
	t.Each, t.EachLo, t.EachHi = summary.Number(l.Slope), summary.Number(lo), summary.Number(hi)
	if t.Told {
		at := float64(len(entries) - 1)
		t.Now = Estimate{summary.Number(l.At(at)), summary.Number(l.ResidualSD * math.Sqrt(1/float64(n)+(at-l.meanX)*(at-l.meanX)/l.sxx))}
		return t
	}
	mean, sd := meanSD(y)
	t.Now = Estimate{summary.Number(mean), summary.Number(sd / math.Sqrt(float64(n)))}
	return t
}

// top is the hottest of the last firings, °C; 0 without any.
func top(entries []Entry) (topC float64) {
	for _, e := range entries[max(0, len(entries)-recent):] {
		if c := float64(e.Figures.PeakC); c > topC {
			topC = c
		}
	}
	return topC
}

// reach tells when the elements will not hold the top heat any more, at the
// loss of now.
func (r *Report) reach(p kiln.Params) {
	loss := 1.0
	if r.Loss.Now.Value.Known() {
		loss = float64(r.Loss.Now.Value)
	}
	if power := r.Power.Now.Value; power.Known() {
		r.HoldDuty = summary.Number(r.FileDuty * loss / float64(power))
	}
	if r.TopC == 0 {
		return
	}
	r.Needed = summary.Number(p.BalanceDuty(r.TopC) * loss)
	if r.Power.line.Slope < 0 {
		r.Reach = ahead(r.Power, float64(r.Needed), r.Firings)
	}
}

// ahead counts a crossing from the newest firing; nil when no trend is told.
func ahead(t Trend, y float64, firings int) *Forecast {
	at, lo, hi, ok := t.line.Crossing(y)
	if !ok {
		return nil
	}
	now := float64(firings - 1)
	whole := func(v float64) summary.Number { return summary.Number(math.Max(math.Round(v-now), 0)) }
	return &Forecast{whole(at), whole(lo), whole(hi)}
}

// relay counts closures against those the relay is rated for.
func (r *Report) relay(p kiln.Params, entries []Entry) {
	entries = slices.DeleteFunc(slices.Clone(entries), func(e Entry) bool { return !e.since(r.New.Relay) })
	for _, e := range entries {
		r.Cycles += e.Figures.Cycles
	}
	if p.Relay.Kind != kiln.Contactor {
		return // nothing moves in a solid-state relay
	}
	r.Rated = p.Relay.RatedCycles
	last := entries[max(0, len(entries)-forgetful):]
	var each []float64
	for _, e := range last {
		each = append(each, float64(e.Figures.Cycles))
	}
	if len(each) < 2 {
		return
	}
	mean, sd := meanSD(each)
	left := float64(r.Rated) - float64(r.Cycles)
	if !(mean > 0) {
		return
	}
	// The sum of n firings scatters by sd·√n, and their mean is known to
	// sd/√len; both together, to first order.
	n := math.Max(left/mean, 0)
	l := Line{N: len(each) + 1}
	d := l.t() * sd / mean * math.Sqrt(n+n*n/float64(len(each)))
	r.Relay = &Forecast{summary.Number(math.Round(n)), summary.Number(math.Round(math.Max(n-d, 0))), summary.Number(math.Round(n + d))}
}

package rerun

import (
	"fmt"
	"math"
	"strconv"

	"calx/storage/record"
)

// pair compares one field after another and keeps the first that differs.
type pair struct{ first *Difference }

func (p *pair) values(field string, same bool, recorded, replayed any) {
	if p.first == nil && !same {
		p.first = &Difference{Field: field, Recorded: fmt.Sprint(recorded), Replayed: fmt.Sprint(replayed)}
	}
}

// number compares to the last bit, NaN included.
func (p *pair) number(field string, recorded, replayed float64) {
	if p.first == nil && math.Float64bits(recorded) != math.Float64bits(replayed) {
		p.values(field, false, shortest(recorded), shortest(replayed))
	}
}

// shortest is the shortest decimal that reads back to the same bits.
func shortest(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// readingsDiffer finds the first field in which two readings differ; nil for
// none.
func readingsDiffer(a, b *record.Reading) *Difference {
	var p pair
	p.values("seq", a.Seq == b.Seq, a.Seq, b.Seq)
	p.values("since", a.Since == b.Since, a.Since, b.Since)
	p.values("wall", a.Wall.Equal(b.Wall), a.Wall, b.Wall)
	p.values("step", a.Step == b.Step, a.Step, b.Step)
	p.values("phase", a.Phase == b.Phase, a.Phase, b.Phase)
	p.number("setpoint", a.SetpointC, b.SetpointC)
	p.number("duty", a.Duty, b.Duty)
	p.values("relay", a.Relay == b.Relay, a.Relay, b.Relay)
	p.values("air", a.Air == b.Air, a.Air, b.Air)
	p.number("energy", a.EnergyJ, b.EnergyJ)
	p.values("door", a.Door == b.Door, a.Door, b.Door)
	p.samples(a.Channels, b.Channels)
	p.values("inside of moulds", len(a.Observer) == len(b.Observer), len(a.Observer), len(b.Observer))
	for i := range min(len(a.Observer), len(b.Observer)) {
		if math.Float64bits(a.Observer[i]) != math.Float64bits(b.Observer[i]) {
			p.number(fmt.Sprintf("inside of moulds, figure %d", i+1), a.Observer[i], b.Observer[i])
		}
	}
	if p.first != nil {
		p.first.Seq, p.first.SinceS = a.Seq, a.Since.Seconds()
	}
	return p.first
}

func (p *pair) samples(a, b []record.Sample) {
	p.values("thermocouples", len(a) == len(b), len(a), len(b))
	for i := range min(len(a), len(b)) {
		if p.first != nil {
			return
		}
		x, y := a[i], b[i]
		if math.Float64bits(x.HotC) == math.Float64bits(y.HotC) && math.Float64bits(x.ColdC) == math.Float64bits(y.ColdC) &&
			x.HotCode == y.HotCode && x.ColdCode == y.ColdCode && x.Fault == y.Fault {
			continue
		}
		at := fmt.Sprintf("thermocouple %d ", i+1)
		p.number(at+"hot junction", x.HotC, y.HotC)
		p.number(at+"cold junction", x.ColdC, y.ColdC)
		p.values(at+"hot code", x.HotCode == y.HotCode, x.HotCode, y.HotCode)
		p.values(at+"cold code", x.ColdCode == y.ColdCode, x.ColdCode, y.ColdCode)
		p.values(at+"fault", x.Fault == y.Fault, x.Fault, y.Fault)
	}
}

// eventDiffers finds the first field in which two events differ; nil for none.
func eventDiffers(a, b *record.Event) *Difference {
	var p pair
	p.values("seq", a.Seq == b.Seq, a.Seq, b.Seq)
	p.values("since", a.Since == b.Since, a.Since, b.Since)
	p.values("wall", a.Wall.Equal(b.Wall), a.Wall, b.Wall)
	p.values("code", a.Code == b.Code, a.Code, b.Code)
	p.values("severity", a.Severity == b.Severity, a.Severity, b.Severity)
	p.values("step", a.Step == b.Step, a.Step, b.Step)
	p.values("text", a.Text == b.Text, a.Text, b.Text)
	p.values("hint", a.Hint == b.Hint, a.Hint, b.Hint)
	if p.first != nil {
		p.first.Event, p.first.Seq = true, a.Seq
	}
	return p.first
}

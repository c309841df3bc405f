package rerun

import (
	"errors"
	"fmt"
	"runtime"

	"calx/controller"
	"calx/storage/record"
)

// Difference is the first place where a replay parts from the record.
type Difference struct {
	Event    bool    `json:"event"`    // in an event; otherwise in a reading
	Seq      uint64  `json:"seq"`      // of that reading or event
	SinceS   float64 `json:"since_s"`  // of the firing
	Field    string  `json:"field"`    // as it is called in the record
	Recorded string  `json:"recorded"` // its value in the log
	Replayed string  `json:"replayed"` // what came out now
}

// Result is what a replay with the same inputs came to.
type Result struct {
	Readings int         `json:"readings"`   // that were compared
	Events   int         `json:"events"`     // that were compared
	First    *Difference `json:"difference"` // null when all agree
	Stopped  string      `json:"stopped"`    // why it went no further; "" when it reached the end
	Settings Settings    `json:"settings"`   // that the controller ran on
	Arch     string      `json:"arch"`       // that did the replay
	Figures  string      `json:"figures"`    // what this calx makes of the kiln file
}

// Same reports whether every reading and event came out again.
func (r Result) Same() bool { return r.First == nil && r.Stopped == "" }

// ErrImported says that a firing was recorded elsewhere.
var ErrImported = errors.New("the firing was recorded elsewhere, so there are no outputs of calx to compare; lay it over the model with --simulate")

// Same feeds the recorded readings to Step and compares what comes out, bit
// for bit. It ends at the first difference, and where readings are missing. An
// error says that the head does not allow a replay at all.
func Same(head record.Firing, readings []record.Reading, events []record.Event) (Result, error) {
	if head.Imported != "" {
		return Result{}, ErrImported
	}
	cfg, s, err := Config(head)
	if err != nil {
		return Result{}, err
	}
	c, err := controller.New(cfg)
	if err != nil {
		return Result{}, err
	}
	res := Result{Settings: s, Arch: runtime.GOARCH, Figures: fingerprint(cfg.Plant, cfg.Guard)}
	r := New(c, events, controller.State{})
	for i := range readings {
		rd := &readings[i]
		if rd.Seq != r.state.Seq {
			res.Stopped = fmt.Sprintf("readings %d to %d are missing; what follows depends on them", r.state.Seq, rd.Seq-1)
			return res, nil
		}
		out, recorded, err := r.Step(rd)
		if err != nil {
			return res, err
		}
		if res.First = readingsDiffer(rd, &out.Record); res.First != nil {
			return res, nil
		}
		res.Readings++
		n, first := eventsDiffer(recorded, out.Events)
		if res.Events += n; first != nil {
			first.SinceS = rd.Since.Seconds()
			res.First = first
			return res, nil
		}
	}
	if n := r.next; n < len(events) && !Outside(events[n]) {
		res.Stopped = fmt.Sprintf("event %d, %q, comes after the last reading", events[n].Seq, events[n].Code)
	}
	return res, nil
}

// eventsDiffer compares the events of one tick.
func eventsDiffer(recorded, replayed []record.Event) (same int, first *Difference) {
	for i := range max(len(recorded), len(replayed)) {
		switch {
		case i >= len(recorded):
			return i, &Difference{Event: true, Seq: replayed[i].Seq, Field: "code", Recorded: "no event", Replayed: replayed[i].Code}
		case i >= len(replayed):
			return i, &Difference{Event: true, Seq: recorded[i].Seq, Field: "code", Recorded: recorded[i].Code, Replayed: "no event"}
		}
		if d := eventDiffers(&recorded[i], &replayed[i]); d != nil {
			return i, d
		}
	}
	return len(recorded), nil
}

package bench_test

import (
	"fmt"
	"time"

	"calx/controller/notice"
	"calx/sim/bench"
)

// goal is what must become of a firing with a fault in it.
type goal uint8

const (
	trips  goal = iota // a guard ends it
	told               // a person is told; whether the firing ends is open
	passes             // it goes on to its end
	shown              // what happens is printed: software alone cannot help
)

// fault is one row of the matrix.
type fault struct {
	name string
	goal goal
	// kind, value, lasts: what begins at the stage.
	kind, value, on string
	lasts           time.Duration
	more            []bench.Mishap // besides; At counts from the stage
	stages          string         // initials of those in which it can happen or be told; "" = all but start
	second          bool           // a second probe is fitted
	noSwitch        bool           // no switch at the door
	sickLog         time.Duration  // the journal fails for so long
	latency         time.Duration  // every tick comes so late
	codes           string         // those that may end it; "" = any
	within          time.Duration  // in which it must be found; 0 = in time
	// gap says why it is not met everywhere yet; make fault-table fails on it all
	// the same.
	gap string
}

// mishaps are those of the fault when it begins at a time.
func (f fault) mishaps(at time.Duration) []bench.Mishap {
	var out []bench.Mishap
	if f.kind != "" {
		out = append(out, bench.Mishap{At: at, For: f.lasts, Kind: f.kind, Value: f.value, On: f.on})
	}
	for _, m := range f.more {
		m.At += at
		out = append(out, m)
	}
	return out
}

// whole is every fault of the matrix. S, R, T, C, H and 0 are steam hold, ramp,
// top hold, cooling, reheat and start.
func whole(ratedW float64) []fault {
	const welds = notice.RisingWhileOff + notice.AboveCeiling
	// A pattern that burns gives up to a tenth of full power: 60 g of wax at
	// 42 kJ/g in three hours are 230 W in a kiln of 2.4 kW (common practice, no
	// source).
	burns := fmt.Sprint(0.1 * ratedW)
	return []fault{
		{name: "probe open", goal: trips, kind: "open", codes: notice.NoReading},
		{name: "probe open for 5 s", goal: passes, kind: "open", lasts: 5 * time.Second},
		{name: "probe shorted to ground", goal: trips, kind: "short_ground", codes: notice.NoReading},
		{name: "probe shorted to supply", goal: trips, kind: "short_supply", codes: notice.NoReading},
		{name: "wires swapped", goal: trips, kind: "reversed", stages: "SRTCH0"},
		{name: "reads 20 °C/h less", goal: shown, kind: "drift", value: "-20"},
		{name: "reads 100 °C/h less", goal: shown, kind: "drift", value: "-100"},
		{name: "reads 100 °C/h more", goal: shown, kind: "drift", value: "100"},
		{name: "reads 100 °C/h less, 2 probes", goal: trips, kind: "drift", value: "-100", second: true},
		{name: "noise of 2 °C", goal: passes, kind: "noisy", value: "2"},
		{name: "noise of 20 °C", goal: told, kind: "noisy", value: "20"},
		{name: "reading frozen", goal: trips, kind: "frozen", codes: notice.ReadingFrozen + notice.RisingWhileOff},
		{name: "shorted halfway inside", goal: trips, kind: "slipped", value: "0.5"},
		{name: "shorted a tenth inside", goal: told, kind: "slipped", value: "0.1"},
		{name: "slips half out", goal: trips, kind: "slips", value: "0.5", gap: "a reading that falls for minutes is taken for an open door; a second probe finds it"},
		{name: "slips a tenth out", goal: shown, kind: "slips", value: "0.1"},
		{name: "slips a tenth out, 2 probes", goal: trips, kind: "slips", value: "0.1", second: true},
		{name: "slips 3 % out", goal: shown, kind: "slips", value: "0.03"},
		{name: "half out from the start", goal: told, kind: "slipped", value: "0.5", stages: "0"},
		{name: "a tenth out from the start", goal: shown, kind: "slipped", value: "0.1", stages: "0"},
		{name: "wrong type from the start", goal: told, kind: "wrong_type", stages: "0"},
		{name: "terminals at 85 °C", goal: trips, kind: "box", value: "85"},
		{name: "cold junction 60 °C too high", goal: trips, kind: "cold_offset", value: "60"},
		{name: "cold junction 20 °C too high", goal: shown, kind: "cold_offset", value: "20"},
		{name: "data line low", goal: trips, kind: "bus_low", codes: notice.NoReading},
		{name: "data line high", goal: trips, kind: "bus_high", codes: notice.NoReading},
		{name: "one bit in 1000 flips", goal: passes, kind: "bit_flips", value: "0.001"},
		{name: "one bit in 20 flips", goal: trips, kind: "bit_flips", value: "0.05"},
		{name: "one transfer in 10 fails", goal: passes, kind: "transfer_error", value: "0.1"},
		{name: "chip silent for 8 s", goal: passes, kind: "hang", value: "8", lasts: 8 * time.Second},
		{name: "chip silent for 60 s", goal: told, kind: "hang", value: "60", lasts: time.Minute},
		{name: "relay welded", goal: trips, kind: "welded", stages: "SRTCH0", codes: welds, within: 2 * time.Minute},
		{name: "relay passes one half wave", goal: trips, kind: "welded", more: []bench.Mishap{{Kind: "elements", Value: "0.5"}}, gap: "a weak kiln cools as slowly with half its heat; it is told that it cannot follow"},
		{name: "relay and contactor welded", goal: trips, kind: "welded", on: bench.OnMain, more: []bench.Mishap{{Kind: "welded"}}, codes: welds},
		{name: "contactor welded alone", goal: passes, kind: "welded", on: bench.OnMain},
		{name: "relay never on", goal: trips, kind: "stuck_open", stages: "SRTH0", codes: notice.NotRising + notice.CannotReach},
		{name: "relay never on, no door switch", goal: trips, kind: "stuck_open", stages: "SRTH0", noSwitch: true},
		{name: "contactor never on", goal: trips, kind: "stuck_open", on: bench.OnMain, stages: "SRTH0"},
		{name: "elements dead", goal: trips, kind: "elements", value: "0", stages: "SRTH0"},
		{name: "half the elements dead", goal: shown, kind: "elements", value: "0.5"},
		{name: "mains at 85 % for an hour", goal: passes, kind: "mains", value: "0.85", lasts: time.Hour},
		{name: "mains at 70 %", goal: shown, kind: "mains", value: "0.7"},
		{name: "power cut of 3 min", goal: passes, kind: "power", lasts: 3 * time.Minute},
		{name: "power cut of 1 h", goal: passes, kind: "power", lasts: time.Hour},
		{name: "door open for 3 min", goal: passes, kind: "door", lasts: 3 * time.Minute},
		{name: "door open for 3 min, no switch", goal: passes, kind: "door", lasts: 3 * time.Minute, noSwitch: true},
		{name: "door left open", goal: told, kind: "door"},
		{name: "door left open, no switch", goal: told, kind: "door", noSwitch: true},
		{name: "door left ajar, switch says shut", goal: told, kind: "door", value: "0.3", more: []bench.Mishap{{Kind: "door_stuck"}}},
		{name: "door shut, switch says open", goal: told, kind: "door_stuck", value: "1"},
		{name: "pattern burns", goal: passes, kind: "burning", value: burns, lasts: time.Hour},
		{name: "much wax burns at once", goal: shown, kind: "burning", value: fmt.Sprint(0.5 * ratedW), lasts: 40 * time.Minute},
		{name: "clock set on 3 h", goal: passes, kind: "clock", value: "10800"},
		{name: "clock set back 3 h", goal: passes, kind: "clock", value: "-10800"},
		{name: "ticks 400 ms late", goal: passes, latency: 400 * time.Millisecond},
		{name: "journal full for 10 min", goal: told, sickLog: 10 * time.Minute},
		{name: "journal full for good", goal: told, sickLog: 1000 * time.Hour},
	}
}

// wrongFor is a probe that is taken for the kiln's and reads too little: the
// dangerous mistake. There is no letter that gives less than S does but R, which
// gives more, and B.
var wrongFor = map[string]string{"K": "N", "N": "S", "S": "B"}

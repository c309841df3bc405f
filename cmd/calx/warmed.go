package main

import (
	"time"

	"calx/sim/bench"
	"calx/sim/kiln"
	"calx/storage"
	"calx/storage/record"
)

// simulatedRoomC is the room around a simulated kiln, °C.
const simulatedRoomC = 20

// warmed is the simulated kiln as an unfinished firing left it: heated as its
// readings say, and cooled since. Its clock goes on where it stood, since it
// runs fast; start is that, or now where that is later. nil is a cold kiln.
func warmed(l *storage.Log, p kiln.Params, now time.Time) (start time.Time, from *bench.State) {
	id, ok := l.Unfinished()
	if !ok {
		return now, nil
	}
	// A tick that took longer than a lease was without heat; after two days a
	// kiln is cold.
	const step, lease, longest = 10 * time.Second, 5 * time.Second, 48 * time.Hour
	k := kiln.New(p, simulatedRoomC)
	pass := func(on bool, d time.Duration) {
		in := kiln.Input{MainsRatio: 1, AmbientC: simulatedRoomC}
		if on {
			in.On = 1
		}
		for ; d > 0; d -= step {
			k.Step(min(d, step).Seconds(), in)
		}
	}
	var last record.Reading
	// What cannot be read does not matter here; Interrupted will say so.
	_ = l.Readings(id, 0, 0, func(r *record.Reading) error {
		if r.Seq > 0 {
			pass(last.Relay && r.Since-last.Since < lease, r.Since-last.Since)
		}
		last = *r
		return nil
	})
	if start = last.Wall; start.Before(now) {
		pass(false, min(now.Sub(start), longest))
		start = now
	}
	return start, &bench.State{Of: p.Name, Kiln: k.State()}
}

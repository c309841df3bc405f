package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"calx/cmd/calx/station"
)

// pulseFacts is what a moment of heat showed.
type pulseFacts struct {
	firing uint64
	err    error // it was not tried, or was cut short
	closed bool  // the relay was commanded on
	fromC  float64
	roseC  float64
	took   time.Duration // of the firing's time
	off    bool          // the heat went off afterwards
}

const (
	// The pulse asks for a little more than the room, and ends when the chamber
	// has moved by more than any probe wavers.
	pulseC    = 15.0
	pulseSeen = 2.0
	// pulseFrom is the warmest chamber in which a rise means something, °C.
	pulseFrom = 60.0
	// A kiln answers after its elements and its probe: so long is waited, of
	// the firing's time.
	pulseBase  = time.Minute
	pulseLags  = 6 // times the lag of the probe
	pulseMost  = 6 * time.Minute
	pulseGuard = 8 * time.Minute // of real time: a daemon that answers and does not turn
)

// tryRelay fires for a moment through the daemon, so that warden, lease and all
// guards stand behind it, and stops.
func (c *checkCmd) tryRelay(e *env, b *before) *pulseFacts {
	st := b.daemon.status
	switch {
	case st.Firing != nil || st.Trip != nil || st.ChamberC == nil || st.OutputError != "":
		return &pulseFacts{err: errors.New("not tried: what is above comes first")}
	case *st.ChamberC > pulseFrom:
		return &pulseFacts{err: errors.New("not tried: the kiln is still too warm to see a small rise")}
	}
	cl, err := c.client()
	if err != nil {
		return &pulseFacts{err: err}
	}
	wait := pulseBase
	if b.kiln != nil {
		wait += time.Duration(pulseLags * b.kiln.ProbeLagS(*st.ChamberC) * float64(time.Second))
	}
	p := &pulseFacts{fromC: *st.ChamberC}
	to := math.Ceil(p.fromC + pulseC)
	request := station.Request{Name: "check of the relay", Profile: fmt.Sprintf("never above %.0f C\nheat to %.0f C as fast as possible\n", to+pulseFrom, to)}
	var begun struct {
		ID uint64 `json:"id"`
	}
	if err := cl.post(e.ctx, "/api/firings", request, &begun); err != nil {
		p.err = err
		return p
	}
	p.firing = begun.ID
	if !c.JSON {
		e.printf("heating for a moment, at most %s\n", span(min(wait, pulseMost)))
	}
	p.watch(e.ctx, cl, min(wait, pulseMost))
	p.end(e.ctx, cl)
	return p
}

// watch looks until the chamber has moved or the time is over.
func (p *pulseFacts) watch(ctx context.Context, cl *client, wait time.Duration) {
	ctx, cancel := context.WithTimeout(ctx, pulseGuard)
	defer cancel()
	for {
		st, err := cl.status(ctx)
		switch {
		case err != nil:
			p.err = err
			return
		case p.over(st):
			if st.Last.Outcome != "finished" {
				p.err = fmt.Errorf("calx ended it: %s", st.Last.Reason)
			}
			p.closed = p.closed || st.Last.EnergyKWh > 0
			p.took = seconds(st.Last.SinceS)
			p.see(st)
			return
		case st.Firing != nil:
			p.closed = p.closed || st.Heat || st.Firing.EnergyKWh > 0
			p.took = seconds(st.Firing.SinceS)
			p.see(st)
		}
		if p.closed && p.roseC >= pulseSeen || p.took >= wait {
			return
		}
		select {
		case <-time.After(askEvery):
		case <-ctx.Done():
			p.err = ctx.Err()
			return
		}
	}
}

// over reports whether the firing has ended.
func (p *pulseFacts) over(st station.Status) bool {
	return st.Firing == nil && st.Last != nil && st.Last.ID == p.firing
}

func (p *pulseFacts) see(st station.Status) {
	if st.ChamberC != nil {
		p.roseC = max(p.roseC, *st.ChamberC-p.fromC)
	}
}

// end stops the heat, also when the person has pressed ctrl-c meanwhile.
func (p *pulseFacts) end(ctx context.Context, cl *client) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), takenWithin)
	defer cancel()
	for {
		// Again each time: a firing that has only just begun forgets what was
		// pressed before it.
		err := cl.post(ctx, "/api/command", map[string]string{"command": "stop"}, nil)
		st, err2 := cl.status(ctx)
		if err2 == nil && p.over(st) && !st.Heat {
			p.off = true
			return
		}
		select {
		case <-time.After(askEvery):
		case <-ctx.Done():
			p.err = errors.Join(p.err, err, err2)
			return
		}
	}
}

func (p *pulseFacts) judge(fahrenheit bool) looked {
	rose := difference(p.roseC, 1, fahrenheit)
	switch {
	case p.err != nil && p.took == 0 && !p.closed:
		return looked{"relay", warns, firstLineOf(p.err.Error()), "mend that, then check with --relay again"}
	case !p.off:
		return looked{"relay", fails, "the heat did not go off when it was told to", "switch the kiln off at the wall"}
	case p.err != nil:
		return looked{"relay", fails, firstLineOf(p.err.Error()), "find out why before firing"}
	case !p.closed:
		return looked{"relay", fails, "calx never closed it", "look at what calx watch says"}
	case p.roseC < pulseSeen:
		return looked{"relay", fails, fmt.Sprintf("closed, and the chamber moved by %s in %s", rose, span(p.took)), "look whether the probe sits in the chamber, then at fuse, relay, elements and the limit controller"}
	}
	return looked{"relay", passes, fmt.Sprintf("closed, the chamber rose by %s in %s, and the heat is off again", rose, span(p.took)), ""}
}

package controller

import (
	"fmt"
	"math"

	"calx/controller/guard"
	"calx/controller/notice"
	"calx/profile"
	"calx/sensor"
)

// Telling is something that was told while the heat goes on.
type Telling struct {
	Code  string
	AwayS float64 // time since it was last so, s
}

// heldBack are the reasons for a tick without heat that are told at once, and
// are over by themselves.
var heldBack = map[string]bool{
	notice.DoorOpen: true, notice.CharLeft: true, notice.SteamFast: true, notice.InvertFast: true, notice.ProbesApart: true, notice.HeatLimited: true,
	notice.NotRising: true,
}

// tells says what the guards have to tell, once each until it has been away for
// a while.
func (t *tick) tells(withheld guard.Finding, now []guard.Finding) {
	const quietS = 3600
	if withheld.Verdict == guard.Withhold && heldBack[withheld.Code] {
		now = append(now, withheld)
	}
	for _, b := range t.s.Boils {
		if f := b.Finding(&t.c.cfg.Guard); f.Verdict == guard.Tell {
			now = append(now, f)
		}
	}
	if len(now) == 0 && len(t.s.Told) == 0 {
		return
	}
	var told []Telling
	for _, old := range t.s.Told {
		old.AwayS += t.dtS
		for _, f := range now {
			if f.Code == old.Code {
				old.AwayS = 0
			}
		}
		if old.Code == notice.DoorOpen && old.AwayS > 0 {
			t.say(notice.DoorShut, fmt.Sprintf("the door is shut; the firing goes on at %s", t.temp(t.s.History.HotC)))
			continue
		}
		if old.Code == notice.HeatLimited && !t.s.History.Limited() {
			t.say(notice.HeatFree, fmt.Sprintf("heat is no longer limited: heat and reading agree again, or the lack of heat is known to be one; the firing goes on at %s", t.temp(t.s.History.HotC)))
			continue
		}
		if old.AwayS < quietS {
			told = append(told, old)
		}
	}
	for _, f := range now {
		if !tellsOf(told, f.Code) {
			told = append(told, Telling{Code: f.Code})
			t.say(f.Code, f.Text)
		}
	}
	t.s.Told = told
}

func tellsOf(told []Telling, code string) bool {
	for _, x := range told {
		if x.Code == code {
			return true
		}
	}
	return false
}

// boils carries the watch over the witnesses on.
func (t *tick) boils(witness []float64) {
	if len(witness) == 0 {
		return
	}
	next := make([]guard.Boil, len(witness))
	copy(next, t.s.Boils)
	for i, c := range witness {
		if k := t.c.cfg.Mould.Witness[i]; k >= 0 && k < len(t.s.Inside.WaterLeft) {
			next[i] = next[i].After(t.dtS, c, t.s.History.HotC, t.s.Inside.WaterLeft[k])
		}
	}
	t.s.Boils = next
}

// check is the hottest of the thermocouples that stand in the chamber beside
// the controlled one.
func (t *tick) check() (hottest sensor.Reading, any bool) {
	for _, i := range t.c.cfg.Checks {
		if i < len(t.in.Others) && t.in.Others[i].OK() && (!any || t.in.Others[i].HotC > hottest.HotC) {
			hottest, any = t.in.Others[i], true
		}
	}
	return hottest, any
}

// inside is what the guards may know of the moulds.
func (t *tick) inside() guard.Inside {
	o := t.s.Inside
	if !o.Begun {
		return guard.Inside{}
	}
	in := guard.Inside{Known: true}
	for i := range o.WaterLeft {
		in.Water = math.Max(in.Water, o.WaterLeft[i])
		in.Char = math.Max(in.Char, o.CharLeft[i])
	}
	return in
}

// lostS notes how long nobody was in control. One gap, however long, is not yet
// a loop that cannot keep up.
func (t *tick) lostS(s float64) {
	const whileS, oneS = 600, 120
	t.s.LostS *= math.Exp(-t.c.periodS / whileS)
	if !t.s.Restored {
		t.s.LostS += math.Min(s, oneS)
	}
}

// lost ends a firing that nobody was in control of for most of a while:
// whatever keeps the loop away keeps the guards away as well.
func (t *tick) lost() {
	const mostS = 300
	if t.s.LostS > mostS {
		t.trip(notice.ControlLost, "the control loop was away for most of the last ten minutes")
	}
}

// afterTrip watches on: both contactors are open, and a chamber that goes on
// rising as with heat says that both are welded, or that one is missing.
func (t *tick) afterTrip() {
	const leastS, againS = 180, 120
	if t.s.TripCode == "" {
		return
	}
	t.s.OpenS += t.dtS
	if t.s.MainSaid || t.s.OpenS < leastS || !t.s.History.StillHeated(&t.c.cfg.Guard, math.Min(t.s.OpenS, againS)) {
		return
	}
	t.s.MainSaid = true
	t.say(notice.MainWelded, fmt.Sprintf("both contactors have been open for %.0f s, yet the chamber rose to %s: pull the plug", t.s.OpenS, t.temp(t.s.History.HotC)))
}

// doorwise lets a hold that waits for the door see it, once the chamber is
// where it should be.
func (t *tick) doorwise(s profile.Step) {
	if s.Kind == profile.Hold && s.Until == profile.UntilDoor && t.s.Plan.Arrived && t.in.Door == sensor.DoorOpen {
		t.s.Plan.Door = true
	}
}

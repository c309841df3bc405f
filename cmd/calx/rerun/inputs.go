package rerun

import (
	"time"

	"calx/controller"
	"calx/controller/notice"
	"calx/sensor"
	"calx/storage/record"
)

// Input is what a tick saw of the kiln, as it was recorded. What people pressed
// and what the shell reported is in the events: see Replay.
func Input(r *record.Reading) controller.Input {
	in := controller.Input{Now: r.Since, Wall: r.Wall, Door: sensor.Door(r.Door)}
	if len(r.Channels) == 0 {
		in.Chamber = sensor.Failed(r.Since, sensor.BusError)
		return in
	}
	in.Chamber = reading(r.Since, r.Channels[0])
	for _, o := range r.Channels[1:] {
		in.Others = append(in.Others, reading(r.Since, o))
	}
	return in
}

// reading is a sample as it was read.
func reading(at time.Duration, c record.Sample) sensor.Reading {
	return sensor.Reading{At: at, HotC: c.HotC, ColdC: c.ColdC, HotCode: c.HotCode, ColdCode: c.ColdCode, Fault: sensor.Fault(c.Fault)}
}

// commands are the events that something pressed leaves behind.
var commands = map[string]controller.Command{
	notice.PausedByHand: controller.Pause, notice.ResumedByHand: controller.Resume, notice.CannotGoOn: controller.Resume,
	notice.SteppedOn: controller.StepOn, notice.StoppedByHand: controller.Stop,
}

// Pressed is the command behind an event; ok is false for one that nobody
// pressed.
func Pressed(e record.Event) (c controller.Command, ok bool) {
	c, ok = commands[e.Code]
	return c, ok
}

// told adds to an input what the events of its tick show of people and shell.
// A log that is well again leaves no event, and changes no output.
func told(in *controller.Input, events []record.Event) {
	for _, e := range events {
		switch c, ok := Pressed(e); {
		case ok:
			in.Commands = append(in.Commands, c)
		case e.Code == notice.LogBehind:
			in.LogBehind = true
		case e.Code == notice.OutputDead:
			in.OutputDead = true
		}
	}
}

// Outside reports whether an event comes from the station, which took a firing
// up again, and not from Step.
func Outside(e record.Event) bool {
	return e.Code == notice.Interrupted || e.Code == notice.WaitsForPerson
}

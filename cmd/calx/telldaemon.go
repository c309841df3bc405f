package main

import (
	"strings"

	"calx/controller/tidings"
	"calx/storage/record"
)

// tellOfInterruption tells people how the firing that was interrupted goes on,
// or does not. What the firing itself reports of it is told by its events; this
// is for one that was ended.
func (d *daemon) tellOfInterruption(text string) {
	last := d.station.Status().Last
	if last == nil || last.Outcome != "interrupted" {
		return
	}
	name := last.Name
	if name == "" {
		name = "the firing"
	}
	d.outbox.Note(tidings.Person, record.Alarm, last.ID, name+": ended by an interruption, heat off",
		strings.TrimSpace(text)+"\ndo: look at kiln and moulds; calx show tells how far it came; fire on if they bear it")
}

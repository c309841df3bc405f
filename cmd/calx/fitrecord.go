package main

import (
	"math"

	"calx/cmd/calx/inside"
	"calx/cmd/calx/summary"
	"calx/controller/identify"
	"calx/sensor"
	"calx/sim/kiln"
	"calx/sim/mould"
	"calx/storage/record"
)

// recordedOf is what a firing tells of its kiln.
func recordedOf(f *firing, p kiln.Params) identify.Recorded {
	out := identify.Recorded{Name: "firing " + formatID(f.head.ID), RoomC: roomOf(f), Samples: make([]identify.Sample, 0, len(f.readings))}
	boil := newBoil(f, p, out.RoomC)
	for _, r := range f.readings {
		s := identify.Sample{At: r.Since, HotC: summary.ChamberC(f.head, r), On: onOf(f.head, r), Air: r.Air, Door: math.NaN()}
		switch sensor.Door(r.Door) {
		case sensor.DoorOpen:
			s.Door = 1
		case sensor.DoorShut:
			s.Door = 0
		}
		s.LoadHeatW = boil.heatW(r.Since.Seconds(), s.HotC, r.Air)
		out.Samples = append(out.Samples, s)
	}
	return out
}

// onOf is the share of the time until the next reading in which the relay is
// closed. A table from elsewhere knows the duty at best.
func onOf(h record.Firing, r record.Reading) float64 {
	switch {
	case h.Imported != "" && r.Duty == r.Duty:
		return r.Duty
	case r.Relay:
		return 1
	}
	return 0
}

// roomOf is the temperature of the room: what a cold chamber reads at the
// start, or the cold junction, which sits a little warm beside the kiln.
func roomOf(f *firing) float64 {
	const besideTheKilnK, coldC = 3, 35
	for _, r := range f.readings {
		if len(r.Channels) == 0 || r.Channels[0].Fault != 0 {
			continue
		}
		hot, cold := summary.ChamberC(f.head, r), r.Channels[0].ColdC
		switch {
		case hot < coldC && !(cold < hot-besideTheKilnK):
			return hot
		case cold > 0 && cold < coldC+besideTheKilnK:
			return cold - besideTheKilnK
		case hot == hot:
			return roomC
		}
	}
	return roomC
}

// boil follows the moulds that stood in a firing, for the heat that their water
// takes as it boils off.
type boil struct {
	model *mould.Model
	state mould.State
	lastS float64
	hotC  float64
	read  mould.Reading
}

// newBoil is nil when nobody said what stood in the kiln, or its files can no
// longer be read; the fit then gives such stretches less weight by itself.
func newBoil(f *firing, p kiln.Params, room float64) *boil {
	files, err := inside.ReadAll(f.head.Moulds)
	if err != nil || len(files) == 0 {
		return nil
	}
	params := make([]mould.Params, len(files))
	for i := range files {
		params[i] = files[i].Params
	}
	m, err := mould.New(params, mould.Env{Air: inside.Air(p, room)})
	if err != nil {
		return nil
	}
	return &boil{model: m, state: m.Start(room), hotC: room}
}

// heatW is the heat set free in the load, W: negative while water boils off.
func (b *boil) heatW(atS, hotC float64, air bool) float64 {
	const evaporationJ = 2.257e6 // per kg of water at 100 °C, steam tables
	if b == nil {
		return 0
	}
	if hotC == hotC {
		b.hotC = hotC
	}
	if dt := atS - b.lastS; dt > 0 {
		b.model.Step(&b.state, dt, b.hotC, air)
		b.lastS = atS
	}
	b.model.ReadInto(&b.state, &b.read)
	sum := 0.0
	for i, f := range b.read.Flasks {
		sum += f.SteamKgS * float64(max(1, b.model.Params()[i].Count))
	}
	return -sum * evaporationJ
}

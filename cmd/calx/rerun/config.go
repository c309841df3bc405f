package rerun

import (
	"fmt"
	"time"

	"calx/cmd/calx/inside"
	"calx/controller"
	"calx/controller/identify"
	"calx/controller/relay"
	"calx/profile"
	"calx/sim/kiln"
	"calx/storage/record"
)

// usualNoiseC is what board takes for each chip, °C.
var usualNoiseC = map[string]float64{"max31855": 0.25, "max31856": 0.1, "max6675": 0.3}

// roomC is the room a kiln is worked out for, °C.
const roomC = 20

// Config is the controller of a firing as its head tells it. Errors say which
// part of the head cannot be used.
func Config(head record.Firing) (controller.Config, Settings, error) {
	var c controller.Config
	p, err := profile.Parse(head.Profile)
	if err != nil {
		return c, Settings{}, fmt.Errorf("the profile in the log cannot be read: %w", err)
	}
	k, err := kiln.Load("kiln file in the log", []byte(head.Kiln))
	if err != nil {
		return c, Settings{}, err
	}
	s, err := recall(head, func() Settings { return guess(head, k) })
	if err != nil {
		return c, s, err
	}
	c = controller.Config{Profile: p, Period: time.Duration(head.PeriodMS) * time.Millisecond, NoiseC: s.NoiseC, Zone: s.zone()}
	if head.Imported != "" {
		c.Period = 0 // its rows are as far apart as somebody chose
	}
	if c.Relay, err = s.Relay.config(); err != nil {
		return c, s, err
	}
	c.Plant = identify.Plant(k, s.AmbientC)
	c.Guard = identify.Guard(k, c.Plant)
	if !s.Guessed {
		c.Guard.Doubt = s.Doubt
	}
	c.DoorSwitch = s.Door
	c.Checks = inside.Checks(roles(head))
	c.Mould, err = moulds(head, k, p)
	return c, s, err
}

// roles are those of the thermocouples beside the chamber's.
func roles(head record.Firing) (rs []string) {
	for _, c := range head.Channels[min(1, len(head.Channels)):] {
		rs = append(rs, c.Role)
	}
	return rs
}

// guess is for logs from before settings were kept.
func guess(head record.Firing, k kiln.Params) Settings {
	s := Settings{AmbientC: roomC}
	if len(head.Channels) > 0 {
		s.NoiseC = usualNoiseC[head.Channels[0].Chip]
	}
	kind, err := relay.ParseKind(k.Relay.Kind)
	if err != nil {
		kind = relay.SolidState
	}
	s.Relay = relayOf(relay.DefaultConfig(kind))
	return s
}

// moulds are what stood in the kiln, with what was believed of them; nil when
// nobody said.
func moulds(head record.Firing, k kiln.Params, p *profile.Profile) (*controller.Mould, error) {
	if len(head.Moulds) == 0 {
		return nil, nil
	}
	files, err := inside.ReadAll(head.Moulds)
	if err != nil {
		return nil, err
	}
	m, err := inside.Build(files, k, p, roles(head))
	if err != nil {
		return nil, err
	}
	return m, inside.Recall(m, head.Beliefs)
}

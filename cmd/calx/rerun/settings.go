package rerun

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"runtime"
	"time"

	"calx/controller"
	"calx/controller/guard"
	"calx/controller/law"
	"calx/controller/relay"
	"calx/storage/record"
)

// Settings are what a controller is given beside what the head of a firing has
// fields for. They are kept in record.Firing.Control, as JSON.
type Settings struct {
	Relay    Relay   `json:"relay"`
	NoiseC   float64 `json:"noise_c"`          // standard deviation of one reading, °C; 0: the controller's usual
	AmbientC float64 `json:"ambient_c"`        // of the room that the plant was worked out for, °C
	Doubt    float64 `json:"doubt"`            // of the heat that the kiln file says a firing needs, as a share
	Door     bool    `json:"door,omitzero"`    // there is a switch at the door
	Zone     string  `json:"zone"`             // name of the time zone, for "hold until 14:00"; "" for none
	OffsetS  int     `json:"utc_offset_s"`     // of that zone when the firing began, s east of Greenwich
	Arch     string  `json:"arch"`             // architecture that did the arithmetic, as Go names it
	Figures  string  `json:"figures"`          // fingerprint of what law and guards made of the kiln file
	Guessed  bool    `json:"guessed,omitzero"` // true: the log is from before settings were kept
}

// Relay is relay.Config by the names of its kinds.
type Relay struct {
	Kind       string  `json:"kind"` // "ssr" or "contactor"
	LeastOnS   float64 `json:"least_on_s"`
	LeastOffS  float64 `json:"least_off_s"`
	CyclesPerH float64 `json:"cycles_per_h"`
}

func (r Relay) config() (relay.Config, error) {
	k, err := relay.ParseKind(r.Kind)
	return relay.Config{Kind: k, LeastOnS: r.LeastOnS, LeastOffS: r.LeastOffS, CyclesPerH: r.CyclesPerH}, err
}

func relayOf(c relay.Config) Relay {
	return Relay{Kind: c.Kind.String(), LeastOnS: c.LeastOnS, LeastOffS: c.LeastOffS, CyclesPerH: c.CyclesPerH}
}

// Of are the settings of a firing that begins at a time.
func Of(c controller.Config, at time.Time) Settings {
	s := Settings{Relay: relayOf(c.Relay), NoiseC: c.NoiseC, AmbientC: c.Plant.AmbientC, Doubt: c.Guard.Doubt, Door: c.DoorSwitch, Arch: runtime.GOARCH, Figures: fingerprint(c.Plant, c.Guard)}
	if c.Zone != nil {
		s.Zone = c.Zone.String()
		_, s.OffsetS = at.In(c.Zone).Zone()
	}
	return s
}

// Keep writes the settings as text for the head of a firing: lossless.
func (s Settings) Keep() string {
	text, err := json.Marshal(s)
	if err != nil {
		panic("BUG: settings that are no numbers: " + err.Error()) // see controller.New
	}
	return string(text)
}

// fingerprint tells apart what two releases of calx make of one kiln file.
func fingerprint(p law.Plant, g guard.Limits) string {
	h := fnv.New64a()
	fmt.Fprintf(h, "%v %v %v %v %v", p, g.MarginC, g.MaxC, g.NoReadingS, g.Response)
	return fmt.Sprintf("%016x", h.Sum64())
}

// recall reads the settings of a head. Without any they are guessed from the
// kiln file and the chip.
func recall(head record.Firing, guess func() Settings) (Settings, error) {
	if head.Control == "" {
		s := guess()
		s.Guessed = true
		return s, nil
	}
	var s Settings
	if err := json.Unmarshal([]byte(head.Control), &s); err != nil {
		return s, fmt.Errorf("the settings in the head of the firing cannot be read: %w", err)
	}
	return s, nil
}

// zone finds a time zone again. One that this machine does not know keeps the
// offset that it had when the firing began.
func (s Settings) zone() *time.Location {
	if s.Zone == "" {
		return nil
	}
	if s.Zone != time.Local.String() {
		if z, err := time.LoadLocation(s.Zone); err == nil {
			return z
		}
	}
	return time.FixedZone(s.Zone, s.OffsetS)
}

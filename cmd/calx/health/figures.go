package health

import (
	"encoding/json"
	"fmt"
	"hash/fnv"

	"calx/cmd/calx/summary"
)

// figuresVersion goes up when the same readings would give other figures.
const figuresVersion = 1

// Estimate is a value with its standard error; both unknown where the firing
// does not tell.
type Estimate struct {
	Value summary.Number `json:"value"`
	SE    summary.Number `json:"se"`
}

func unknown() Estimate { return Estimate{summary.Unknown(), summary.Unknown()} }

// Figures are what is kept of one firing.
type Figures struct {
	Version   int            `json:"v"`
	Readings  int            `json:"readings"`
	DurationS float64        `json:"duration_s"`
	PeakC     summary.Number `json:"peak_c"`
	EnergyJ   float64        `json:"energy_j"` // from rated power and relay time
	Cycles    uint64         `json:"relay_cycles"`
	Kiln      string         `json:"kiln"` // fingerprint of the kiln file that the balance is against; "" without a balance
	// Power is what the elements gave over what the kiln file says; Loss the
	// heat that went to the room, likewise.
	Power Estimate `json:"power"`
	Loss  Estimate `json:"loss"`
	// Second is chamber less second thermocouple in the chamber, hot, °C.
	Second Estimate `json:"second_c"`
	// Inversion is where the thermocouple in a core showed the inversion of
	// quartz, °C.
	Inversion Estimate `json:"inversion_c"`
}

// Encode writes figures as bytes for storage.Log.KeepFigures.
func (f Figures) Encode() []byte {
	b, err := json.Marshal(f)
	if err != nil {
		panic("BUG: figures that are no numbers: " + err.Error())
	}
	return b
}

// Decode reads them; ok is false for those of another version, which are to be
// worked out again.
func Decode(b []byte) (f Figures, ok bool) {
	if err := json.Unmarshal(b, &f); err != nil {
		return Figures{}, false
	}
	return f, f.Version == figuresVersion
}

// Fingerprint tells kiln files apart.
func Fingerprint(kilnText string) string {
	h := fnv.New64a()
	h.Write([]byte(kilnText))
	return fmt.Sprintf("%016x", h.Sum64())
}

package mould

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/invopop/jsonschema"
)

// Moisture is water over oven-dry mass: 0.12 is air-dry wood. Unlike a
// fraction it may pass 1: a green stem holds up to twice its dry mass.
type Moisture float64

const mostMoisture = 3

// UnmarshalText reads "12 %" or "0.12"; it refuses below 0 and above 300 %.
func (m *Moisture) UnmarshalText(text []byte) error {
	s := strings.TrimSpace(string(text))
	number, percent := strings.CutSuffix(s, "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil {
		return fmt.Errorf("%s: moisture is water over dry mass, for example 12 %% or 0.12", s)
	}
	if percent {
		v /= 100
	}
	if !(v >= 0 && v <= mostMoisture) {
		return fmt.Errorf("%s: moisture is water over dry mass, 0 %% to %d %%, for example 12 %%", s, mostMoisture*100)
	}
	*m = Moisture(v)
	return nil
}

// MarshalText writes the plain number.
func (m Moisture) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// String writes the plain number.
func (m Moisture) String() string { return strconv.FormatFloat(float64(m), 'g', -1, 64) }

// JSONSchema describes the accepted text.
func (Moisture) JSONSchema() *jsonschema.Schema {
	return &jsonschema.Schema{
		Description: "water over dry mass, as a percentage or a plain number",
		AnyOf: []*jsonschema.Schema{
			{Type: "number", Minimum: "0", Maximum: "3"},
			{Type: "string", Pattern: `^\s*[0-9.]+\s*%?\s*$`, Examples: []any{"12 %"}},
		},
	}
}

package inside

import (
	"encoding/json"
	"fmt"
	"strings"

	"calx/controller"
)

// kept is a belief as the head of a firing keeps it.
type kept struct {
	MedianMin     float64 `json:"median_min"`
	SigmaLn       float64 `json:"sigma_ln"`
	EnergyJPerMol float64 `json:"energy_j_mol"`
	Basis         string  `json:"basis"`
}

// Keep writes the beliefs of m as text for the head of a firing: lossless.
func Keep(m *controller.Mould) string {
	all := make([]kept, len(m.Clear))
	for i, b := range m.Clear {
		all[i] = kept(b)
	}
	text, err := json.Marshal(all)
	if err != nil {
		panic("BUG: beliefs that are no numbers: " + err.Error()) // see controller.New
	}
	return string(text)
}

// Recall gives m the beliefs that a firing began with. Text "" is from before
// they were kept, and leaves those of the physics.
func Recall(m *controller.Mould, text string) error {
	all, err := readKept(text)
	if err != nil || all == nil {
		return err
	}
	if len(all) != len(m.Clear) {
		return fmt.Errorf("the head of the firing holds %d beliefs about %d pieces", len(all), len(m.Clear))
	}
	for i, b := range all {
		m.Clear[i] = controller.Belief(b)
	}
	return nil
}

func readKept(text string) (all []kept, err error) {
	if text == "" {
		return nil, nil
	}
	if err := json.Unmarshal([]byte(text), &all); err != nil {
		return nil, fmt.Errorf("the beliefs in the head of the firing cannot be read: %w", err)
	}
	return all, nil
}

// KeptBasis is what the beliefs in the head of a firing rest on, for people.
func KeptBasis(text string) string {
	all, err := readKept(text)
	if err != nil || len(all) == 0 {
		return Physics
	}
	var out []string
	seen := map[string]bool{}
	for _, b := range all {
		if !seen[b.Basis] {
			seen[b.Basis] = true
			out = append(out, b.Basis)
		}
	}
	return strings.Join(out, "; ")
}

package plan

import (
	"fmt"
	"time"

	"calx/sim/mould"
)

// Common is what common practice would take for the largest flask: by diameter
// alone, whatever is inside.
type Common struct {
	Flask           string // the class: "65 to 100 mm"
	Low, High       time.Duration
	ExtraLow, Extra time.Duration // for organic patterns, at the top hold
	Source          string
}

// commonRows are totals by flask diameter, h.
var commonRows = []struct {
	upToM     float64
	flask     string
	low, high float64
}{
	{0.065, "to 65 mm", 8, 12},
	{0.100, "65 to 100 mm", 14, 18},
	{0.150, "100 to 150 mm", 22, 30},
	{1e9, "over 150 mm", 40, 48},
}

const commonSource = "common practice, no source"

func commonFor(moulds []mould.Params) Common {
	most, organic := 0.0, false
	for _, p := range moulds {
		most = max(most, float64(p.Flask.Diameter))
		organic = organic || len(p.Patterns) > 0
	}
	const rounding = 1e-9 // 100 mm is "to 100 mm"
	for _, r := range commonRows {
		if most > r.upToM+rounding {
			continue
		}
		c := Common{Flask: r.flask, Low: hours(r.low), High: hours(r.high), Source: commonSource}
		if organic {
			c.ExtraLow, c.Extra = 2*time.Hour, 6*time.Hour
		}
		return c
	}
	panic("BUG: a flask beyond every row of the common-practice table")
}

// String is a sentence.
func (c Common) String() string {
	s := fmt.Sprintf("a schedule by flask size (%s) takes %.0f to %.0f h", c.Flask, c.Low.Hours(), c.High.Hours())
	if c.Extra > 0 {
		s += fmt.Sprintf(", and %.0f to %.0f h more for organic patterns", c.ExtraLow.Hours(), c.Extra.Hours())
	}
	return s + "; " + c.Source
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

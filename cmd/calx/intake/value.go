package intake

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// nothing are the words for a value that is not there.
var nothing = map[string]bool{"": true, "nan": true, "n/a": true, "na": true, "-": true, "--": true, "---": true, "null": true}

// Beyond these, °C, no kiln has been: the unit or the column is wrong.
const leastC, mostC = -60, 1800

// temperature reads one; NaN for none.
func (r *reader) temperature(rec []string, column int, what string) float64 {
	v, ok := r.number(rec, column, what)
	if !ok {
		return math.NaN()
	}
	c := v
	if r.o.Fahrenheit {
		c = (v - 32) * 5 / 9
	}
	if !(c >= leastC && c <= mostC) {
		r.bad(column, "%s: read %q, which is %.0f °C; it must be from %d to %d °C; is --unit right?", what, clip(strings.TrimSpace(rec[column])), c, leastC, mostC)
		return math.NaN()
	}
	return c
}

// duty reads one, as it stands: whether it is a share or per cent is known at
// the end.
func (r *reader) duty(rec []string) float64 {
	v, ok := r.number(rec, r.at.duty, "duty")
	if !ok {
		return math.NaN()
	}
	const perCent = 1.5 // a share of more than that is none
	if !(v >= 0 && v <= 100) {
		r.bad(r.at.duty, "duty: read %q; it must be from 0 to 1, or from 0 to 100 per cent", clip(strings.TrimSpace(rec[r.at.duty])))
		return math.NaN()
	}
	r.fracs = r.fracs || v > perCent
	return v
}

// number reads a field; ok is false for none, and after an error.
func (r *reader) number(rec []string, column int, what string) (v float64, ok bool) {
	if column < 0 || column >= len(rec) {
		return 0, false
	}
	text := strings.TrimSpace(rec[column])
	if nothing[strings.ToLower(text)] {
		return 0, false
	}
	v, err := decimal(text, r.o.Decimal)
	if err != nil {
		r.bad(column, "%s: %v", what, err)
		return 0, false
	}
	return v, true
}

// decimal reads a number with a point or a comma.
func decimal(text string, mark rune) (float64, error) {
	point, comma := strings.Contains(text, "."), strings.Contains(text, ",")
	plain := text
	switch {
	case point && comma:
		return 0, fmt.Errorf("read %q, with a point and a comma; write numbers without separators of thousands", clip(text))
	case comma && mark == '.':
		return 0, fmt.Errorf("read %q; a comma is not a decimal point", clip(text))
	case point && mark == ',':
		return 0, fmt.Errorf("read %q; a point is not a decimal comma", clip(text))
	case comma && mark == 0 && thousands(text):
		return 0, fmt.Errorf("read %q, which may be a thousand or a number with three decimals; say which with --decimal , or write it without", clip(text))
	case comma:
		plain = strings.Replace(text, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(plain, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("read %q; it must be a number without a unit", clip(text))
	}
	return v, nil
}

// thousands reports whether a comma may be one of thousands: 1,234.
func thousands(text string) bool {
	whole, rest, _ := strings.Cut(strings.TrimLeft(text, "+-"), ",")
	return len(rest) == 3 && len(whole) >= 1 && len(whole) <= 3 && whole != "0"
}

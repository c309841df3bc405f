// Package quantity reads and writes physical quantities as a person writes
// them in a file: a number with its unit in one value, such as 90 mm,
// 3 1/2 in, 2.4 kW, 1350 F or 2 h 30 min. It exists so that no file calx reads
// ever holds a bare number whose unit has to be guessed.
//
// Every quantity is a float64 in one fixed unit, named in its doc comment: SI,
// except that temperatures are in °C and heating rates in °C/h, the units used
// everywhere inside calx. Start with [Length] or [Temperature] for a single
// value and with [Decode] for a whole file.
//
// Two quantities are easily confused: a [Temperature] of 9 F is -12.8 °C, a
// [TemperatureDifference] of 9 F is 5 °C.
//
// Accepted spellings only grow; a file that was read once is read always.
package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/invopop/jsonschema"
)

// Of is a quantity of the dimension D, as a float64 in that dimension's fixed
// unit. Use the named forms such as [Length]; Of is exported only because they
// are aliases of it.
type Of[D dimension] float64

// Parse sets q from text such as "90 mm". The error says what was read and
// what would be right, and q then keeps its old value.
func (q *Of[D]) Parse(text string) error {
	var d D
	v, err := d.kind().parse(text)
	if err != nil {
		return err
	}
	*q = Of[D](v)
	return nil
}

// String writes q in the most readable unit that still reads back to exactly
// the same number.
func (q Of[D]) String() string {
	var d D
	return d.kind().format(float64(q))
}

// UnmarshalYAML sets q from the source of one YAML scalar, quoted or not.
func (q *Of[D]) UnmarshalYAML(source []byte) error {
	text := strings.TrimSpace(string(source))
	if strings.HasPrefix(text, `"`) || strings.HasPrefix(text, "'") {
		if err := yaml.Unmarshal(source, &text); err != nil {
			return fmt.Errorf("%s: not a readable value: %w", text, err)
		}
	}
	return q.Parse(text)
}

// MarshalYAML writes q as String does. It refuses a number that is not finite.
func (q Of[D]) MarshalYAML() ([]byte, error) { return q.MarshalText() }

// UnmarshalText is Parse, for JSON objects and command line flags.
func (q *Of[D]) UnmarshalText(text []byte) error { return q.Parse(string(text)) }

// MarshalText writes q as String does. It refuses a number that is not finite.
func (q Of[D]) MarshalText() ([]byte, error) {
	if v := float64(q); math.IsNaN(v) || math.IsInf(v, 0) {
		var d D
		return nil, fmt.Errorf("%v is not a %s; a finite number is needed", v, d.kind().name)
	}
	return []byte(q.String()), nil
}

// JSONSchema describes the accepted text: type, pattern and examples.
func (q Of[D]) JSONSchema() *jsonschema.Schema {
	var d D
	return d.kind().schema()
}

// Std converts d to a time.Duration, rounded to the nanosecond. The longest
// duration that fits is about 292 years; a longer one becomes that.
func Std(d Duration) time.Duration {
	ns := math.Round(float64(d) * float64(time.Second))
	if ns >= math.MaxInt64 {
		return math.MaxInt64
	}
	if ns <= math.MinInt64 {
		return math.MinInt64
	}
	return time.Duration(ns)
}

// clean is v in the unit u, without the last bits of the conversion where they
// do not matter: 37.73 % and not 37.730000000000004 %.
func (k *kind) clean(u unit, v float64) float64 {
	n := u.fromFixed(v)
	const digits = 15 // that every float64 of so many decimals survives
	if short, err := strconv.ParseFloat(strconv.FormatFloat(n, 'g', digits, 64), 64); err == nil && u.toFixed(short) == v {
		return short
	}
	return n
}

// format writes v in the unit, of those meant for display, that gives a number
// from 1 to 1000 and then the shortest text. Where none reads back exactly it
// falls back on the fixed unit, which always does.
func (k *kind) format(v float64) string {
	best, bestFits := "", false
	for _, u := range k.units {
		if !u.display {
			continue
		}
		n := k.clean(u, v)
		text := strconv.FormatFloat(n, 'f', -1, 64) + u.suffix()
		fits := math.Abs(n) >= 1 && math.Abs(n) < 1000
		better := best == "" || fits && !bestFits || fits == bestFits && len(text) < len(best)
		if !better {
			continue
		}
		if back, err := k.parse(text); err == nil && back == v {
			best, bestFits = text, fits
		}
	}
	if best != "" {
		return best
	}
	return strconv.FormatFloat(v, 'g', -1, 64) + k.units[0].suffix()
}

package quantity

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"github.com/invopop/jsonschema"
)

// maxText bounds what is looked at; no honest quantity is longer.
const maxText = 80

// tidy folds spellings that look alike on paper.
var tidy = strings.NewReplacer("²", "2", "³", "3", "^", "", "\u00a0", " ", "\u202f", " ", "\u2212", "-", "½", " 1/2", "¼", " 1/4", "¾", " 3/4")

// parse reads text as one quantity of the kind and returns it in the fixed
// unit.
func (k *kind) parse(text string) (float64, error) {
	shown := strings.TrimSpace(text)
	if len(shown) > maxText {
		return 0, fmt.Errorf("%.20s…: too long for %s %s, %s", shown, k.article, k.name, k.hint())
	}
	rest := strings.TrimSpace(tidy.Replace(shown))
	if rest == "" {
		return 0, fmt.Errorf("empty: %s", k.need())
	}
	total, last := 0.0, math.Inf(1)
	for first := true; rest != ""; first = false {
		number, after, ok := cutNumber(rest, first)
		if !ok {
			return 0, fmt.Errorf("%s: %s", shown, k.whyNotNumber(rest))
		}
		u, after, ok := k.cutUnit(after)
		if !ok {
			return 0, fmt.Errorf("%s: %s", shown, k.whyNotUnit(after))
		}
		size := u.mul / u.div
		if !first && (!k.compound || size >= last || total < 0) {
			return 0, fmt.Errorf("%s: %s is one number and one unit, %s", shown, k.article+" "+k.name, k.hint())
		}
		total, last, rest = total+u.toFixed(number), size, strings.TrimSpace(after)
	}
	return k.bounded(total, shown)
}

// bounded refuses what cannot exist.
func (k *kind) bounded(v float64, shown string) (float64, error) {
	switch {
	case math.IsInf(v, 0) || math.IsNaN(v):
		return 0, fmt.Errorf("%s: too large, %s must be a finite number", shown, k.article+" "+k.name)
	case v < k.least && k.least == absZeroC:
		return 0, fmt.Errorf("%s: below absolute zero, -273.15 C or -459.67 F", shown)
	case v < k.least:
		return 0, fmt.Errorf("%s: %s cannot be negative, %s", shown, k.article+" "+k.name, k.hint())
	case v > k.most:
		return 0, fmt.Errorf("%s: %s is at most %g, %s", shown, k.article+" "+k.name, k.most, k.hint())
	}
	return v + 0, nil // turns -0 into 0
}

// numberPattern is a decimal with an optional exponent, or a fraction with an
// optional whole number before it.
var (
	mixedNumber   = regexp.MustCompile(`^([-+]?)(?:(\d{1,6})[ -]+)?(\d{1,6})/(\d{1,6})`)
	decimalNumber = regexp.MustCompile(`^[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?`)
)

// cutNumber splits the leading number off s. Only the first number of a
// quantity may carry a sign.
func cutNumber(s string, signed bool) (float64, string, bool) {
	if !signed && (s[0] == '-' || s[0] == '+') {
		return 0, s, false
	}
	if m := mixedNumber.FindStringSubmatch(s); m != nil {
		whole, _ := strconv.ParseFloat("0"+m[2], 64)
		over, _ := strconv.ParseFloat(m[3], 64)
		under, _ := strconv.ParseFloat(m[4], 64)
		if under == 0 {
			return 0, s, false
		}
		v := whole + over/under
		if m[1] == "-" {
			v = -v
		}
		return v, s[len(m[0]):], true
	}
	m := decimalNumber.FindString(s)
	v, err := strconv.ParseFloat(m, 64)
	if m == "" || err != nil && !math.IsInf(v, 0) {
		return 0, s, false
	}
	return v, s[len(m):], true
}

// cutUnit splits the longest known unit off the front of s. What follows it
// must be the end, a space or, for kinds such as 2h30min, a digit.
func (k *kind) cutUnit(s string) (unit, string, bool) {
	s = strings.TrimLeft(s, " ")
	var found unit
	length := -1
	for _, u := range k.units {
		for _, name := range u.names {
			if len(name) <= length || !strings.HasPrefix(s, name) {
				continue
			}
			after := s[len(name):]
			digit := after != "" && after[0] >= '0' && after[0] <= '9'
			if after == "" || after[0] == ' ' && name != "" || digit && k.compound {
				found, length = u, len(name)
			}
		}
	}
	if length < 0 {
		return unit{}, s, false
	}
	return found, s[length:], true
}

func (k *kind) hint() string {
	return "for example " + strings.Join(k.examples, " or ")
}

func (k *kind) need() string {
	if k == fractionKind {
		return "a fraction is a percentage or a number from 0 to 1, " + k.hint()
	}
	if k == ratioKind {
		return "a ratio is a percentage or a number, " + k.hint()
	}
	return k.article + " " + k.name + " needs a number and a unit, " + k.hint()
}

func (k *kind) whyNotNumber(rest string) string {
	return fmt.Sprintf("%q is not a number; %s", firstWord(rest), k.need())
}

func (k *kind) whyNotUnit(rest string) string {
	word := firstWord(rest)
	switch {
	case word == "":
		return k.article + " " + k.name + " needs a unit, " + k.hint()
	case strings.HasPrefix(word, ","):
		return "write a decimal point and no comma, " + k.hint()
	}
	var names []string
	for _, u := range k.units {
		if u.names[0] != "" {
			names = append(names, u.names[0])
		}
	}
	return fmt.Sprintf("%q is not a unit of %s; use %s, %s", word, k.name, strings.Join(names, ", "), k.hint())
}

func firstWord(s string) string {
	word, _, _ := strings.Cut(strings.TrimSpace(s), " ")
	return word
}

// schema is the JSON Schema of the kind: a string, or for a fraction or a ratio
// also a number.
func (k *kind) schema() *jsonschema.Schema {
	var names []string
	for _, u := range k.units {
		for _, name := range u.names {
			if name != "" {
				names = append(names, regexp.QuoteMeta(name))
			}
		}
	}
	number := `(\d{1,6}[ -]+)?(\d+(\.\d*)?|\.\d+|\d+/\d+)([eE][-+]?\d+)?`
	term := number + ` *(` + strings.Join(names, "|") + `)`
	sign := `[-+]?`
	if k.least == 0 {
		sign = `\+?`
	}
	pattern := `^ *` + sign + term + ` *$`
	if k.compound {
		pattern = `^ *` + sign + term + `( *` + term + `)* *$`
	}
	text := &jsonschema.Schema{Type: "string", Pattern: pattern}
	for _, e := range k.examples {
		text.Examples = append(text.Examples, e)
	}
	bare := jsonschema.Schema{Type: "number", Minimum: "0"}
	switch k {
	default:
		return text
	case fractionKind:
		bare.Maximum = "1"
	case ratioKind:
	}
	return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{&bare, text}, Examples: text.Examples}
}
